"""Torque, motor speed limits and cable against figures computed by other means.

Sources stand with each entry of values/build.json: the torque is a finite difference of potential
energy, the L/R limit the trade's rule of thumb, the cable from a printed wire table. The back-EMF
limit comes from the same phasor model solved by root search: no published worked example was seen.
"""

import json
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from bridge.core.shade.cable import drop_v, loop_ohm, ohm_per_km
from bridge.core.shade.lifting import Lifting
from bridge.core.shade.motor import Motor
from bridge.core.shade.roll import Roll

Entry = dict[str, Any]
ENTRIES: list[Entry] = json.loads((Path(__file__).parent / "values" / "build.json").read_text())["entries"]


def of_kind(kind: str) -> pytest.MarkDecorator:
    entries = [entry for entry in ENTRIES if entry["kind"] == kind]
    assert entries
    return pytest.mark.parametrize("entry", entries, ids=[entry["id"] for entry in entries])


def lifting_of(given: Entry) -> Lifting:
    return Lifting(
        roll=Roll(
            tube_mm=given["tube_outer_diameter_mm"],
            cloth_mm=given["fabric_thickness_mm"],
            drop_mm=given["drop_m"] * 1000,
            wraps_left=given["residual_turns_at_bottom"],
        ),
        width_mm=given["width_m"] * 1000,
        cloth_kgpm2=given["fabric_kg_m2"],
        hem_bar_kg=given["hem_bar_kg"],
        gear=Fraction(given.get("gear_ratio", 1)),
        gear_efficiency=given.get("gear_efficiency", 1.0),
        friction_nm=given.get("friction_Nm_at_tube", 0.0),
    )


@of_kind("lift_torque")
def test_the_torque_is_the_slope_of_the_potential_energy(entry: Entry) -> None:
    lifting, want, within = lifting_of(entry["inputs"]), entry["expected"], entry["tolerance"]["relative"]
    lowered_mm = entry["inputs"]["lowered_m"] * 1000
    for value, name in [
        (lifting.radius_mm(lowered_mm), "effective_radius_mm"),
        (lifting.hanging_kg(lowered_mm), "hanging_mass_kg"),
        (lifting.tube_torque_nm(lowered_mm), "tube_torque_static_Nm"),
        (lifting.tube_torque_lifting_nm(lowered_mm), "tube_torque_lifting_Nm"),
        (lifting.motor_torque_nm(lowered_mm), "motor_torque_lifting_Nm"),
        (lifting.back_driving_torque_nm(lowered_mm), "motor_torque_holding_unpowered_worst_Nm"),
    ]:
        assert value == pytest.approx(want[name], rel=within), name


@of_kind("lift_torque_peak")
def test_the_worst_place_of_the_travel_agrees_with_a_scan(entry: Entry) -> None:
    lifting, want, within = lifting_of(entry["inputs"]), entry["expected"], entry["tolerance"]
    peak = lifting.peak()
    assert peak.tube_torque_nm == pytest.approx(want["peak_tube_torque_Nm"], rel=within["relative"])
    assert peak.at_lowered_mm / 1000 == pytest.approx(want["at_lowered_m"], abs=within["at_lowered_m"])
    lowered, raised = lifting.tube_torque_nm(lifting.roll.drop_mm), lifting.tube_torque_nm(0)
    assert lowered == pytest.approx(want["torque_fully_lowered_Nm"], rel=within["relative"])
    assert raised == pytest.approx(want["torque_fully_raised_Nm"], rel=within["relative"])


@of_kind("stepper_LR_limit")
def test_the_winding_reverses_its_current_as_fast_as_the_rule_of_thumb_says(entry: Entry) -> None:
    given = entry["inputs"]
    motor = Motor(
        holding_torque_nm=0.4,
        detent_torque_nm=0.02,
        phase_a=given["phase_current_A"],
        phase_ohm=1.5,
        phase_mh=given["phase_inductance_H"] * 1000,
        full_steps_per_rev=given["full_steps_per_rev"],
    )
    limit = motor.top_speed_lr_full_pps(given["supply_V"])
    assert limit == pytest.approx(
        entry["expected"]["max_full_steps_per_s"], rel=entry["tolerance"]["relative"]
    )


@of_kind("stepper_backemf_limit")
def test_the_back_emf_limit_is_the_root_of_the_phasor_equation(entry: Entry) -> None:
    given, want, within = entry["inputs"], entry["expected"], entry["tolerance"]["relative"]
    motor = Motor(
        holding_torque_nm=given["holding_torque_Nm"],
        detent_torque_nm=0.02,
        phase_a=given["phase_current_peak_A"],
        phase_ohm=given["phase_R_ohm"],
        phase_mh=given["phase_L_H"] * 1000,
        full_steps_per_rev=4 * given["rotor_teeth"],
    )
    limit = motor.top_speed_emf_full_pps(given["supply_V"])
    assert motor.flux_linkage_wb == pytest.approx(want["flux_linkage_Wb"], rel=within)
    assert limit == pytest.approx(want["full_steps_per_s"], rel=within)
    assert limit / motor.full_steps_per_rev * 60 == pytest.approx(want["rpm"], rel=within)


@of_kind("cable_drop")
def test_the_cable_agrees_with_a_printed_wire_table(entry: Entry) -> None:
    given, want, within = entry["inputs"], entry["expected"], entry["tolerance"]["relative"]
    awg, length_m = given["awg"], given["one_way_length_m"]
    parallel = given["parallel_conductors_each_way"]
    drop = drop_v(awg, length_m=length_m, amps=given["current_A"], parallel=parallel)
    assert ohm_per_km(awg) == pytest.approx(want["ohm_per_km"], rel=within)
    assert loop_ohm(awg, length_m=length_m, parallel=parallel) == pytest.approx(
        want["loop_resistance_ohm"], rel=within
    )
    assert drop == pytest.approx(want["voltage_drop_V"], rel=within)
