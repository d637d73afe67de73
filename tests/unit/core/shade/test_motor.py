import cmath
import math
from fractions import Fraction
from typing import Any

import pytest

from bridge.core.errors import RequestError
from bridge.core.shade.lifting import Lifting
from bridge.core.shade.motor import Motor, size
from bridge.core.shade.roll import Roll


def motor(**changes: Any) -> Motor:
    values: dict[str, Any] = {
        "holding_torque_nm": 0.4,
        "detent_torque_nm": 0.02,
        "phase_a": 1.7,
        "phase_ohm": 1.5,
        "phase_mh": 2.8,
    }
    return Motor(**values | changes)


def test_with_both_phases_full_the_torque_is_the_holding_torque() -> None:
    # Torque of two phases a quarter cycle apart, teeth*psi*(-ia*sin + ib*cos), largest with both at I.
    part = motor()
    curve = [
        part.rotor_teeth * part.flux_linkage_wb * 1.7 * (-math.sin(angle) + math.cos(angle))
        for angle in (index * math.pi / 1800 for index in range(3600))
    ]
    assert max(curve) == pytest.approx(0.4, rel=1e-6)


def test_microstepping_starts_at_the_holding_torque_over_the_root_of_two() -> None:
    assert motor().torque_at_speed_nm(0, supply_v=24) == pytest.approx(0.4 / math.sqrt(2))


def test_up_to_the_back_emf_limit_the_full_current_flows_and_beyond_it_less() -> None:
    part = motor()
    limit = part.top_speed_emf_full_pps(24)
    assert part.current_at_speed_a(limit, supply_v=24) == pytest.approx(1.7)
    assert part.current_at_speed_a(limit * 0.9, supply_v=24) == 1.7
    assert part.current_at_speed_a(limit * 1.1, supply_v=24) < 1.7
    assert part.current_at_speed_a(1e6, supply_v=24) == 0


def test_a_supply_that_cannot_overcome_the_resistance_gives_no_full_speed_and_less_torque() -> None:
    part = motor(phase_ohm=30)
    assert part.top_speed_emf_full_pps(24) == 0
    assert part.current_at_speed_a(0, supply_v=24) == pytest.approx(24 / 30)


@pytest.mark.parametrize("full_pps", [500, 2460, 3500])
def test_a_winding_integrated_over_time_gives_the_current_and_torque_of_the_phasors(full_pps: float) -> None:
    """Drive both windings' differential equation with the phasor's voltage and look at what flows."""
    part, supply_v = motor(), 24.0
    w, psi, inductance = full_pps * math.pi / 2, part.flux_linkage_wb, 2.8e-3
    current_a = part.current_at_speed_a(full_pps, supply_v=supply_v)
    voltage = (1.5 * current_a + w * psi) + 1j * w * inductance * current_a
    assert abs(voltage) <= supply_v * (1 + 1e-9)
    flows_a, step_s, torques, peak_a = [0.0, 0.0], 2 * math.pi / w / 2000, [], 0.0
    for index in range(40 * 2000):
        for phase in (0, 1):
            turn = cmath.exp(1j * (w * (index + 0.5) * step_s - phase * math.pi / 2))
            rise = (voltage * turn).real - 1.5 * flows_a[phase] - w * psi * turn.real
            flows_a[phase] += rise / inductance * step_s
        if index >= 39 * 2000:
            angle = w * (index + 1) * step_s
            torques.append(
                part.rotor_teeth * psi * (flows_a[0] * math.cos(angle) + flows_a[1] * math.sin(angle))
            )
            peak_a = max(peak_a, abs(flows_a[0]))
    mean_nm = sum(torques) / len(torques)
    assert peak_a == pytest.approx(current_a, rel=0.01)
    assert mean_nm == pytest.approx(part.torque_at_speed_nm(full_pps, supply_v=supply_v), rel=0.01)


@pytest.mark.parametrize("full_pps", [100, 2000, 3000, 4500])
def test_the_model_never_promises_more_than_the_best_phase_angle_could_give(full_pps: float) -> None:
    part, supply_v = motor(), 24.0
    w, psi = full_pps * math.pi / 2, part.flux_linkage_wb
    best_nm = 0.0
    for size_index in range(201):
        for angle_index in range(181):
            current = cmath.rect(1.7 * size_index / 200, math.radians(angle_index - 90))
            if abs((1.5 + 1j * w * 2.8e-3) * current + w * psi) <= supply_v:
                best_nm = max(best_nm, part.rotor_teeth * psi * current.real)
    assert part.torque_at_speed_nm(full_pps, supply_v=supply_v) <= best_nm * 1.01


def test_torque_never_rises_with_speed() -> None:
    torques = [motor().torque_at_speed_nm(pps, supply_v=12) for pps in range(0, 9000, 50)]
    assert torques == sorted(torques, reverse=True)
    assert torques[-1] == 0


def test_the_winding_reverses_in_two_l_i_over_v() -> None:
    assert motor().top_speed_lr_full_pps(24) == pytest.approx(24 / (2 * 0.0028 * 1.7))


def test_full_standstill_current_heats_both_windings() -> None:
    assert motor().standstill_w == pytest.approx(1.7 * 1.7 * 1.5)


def test_the_fastest_speed_for_a_torque_gives_just_that_torque() -> None:
    part = motor()
    fastest = part.fastest_full_pps(0.15, supply_v=24)
    assert part.torque_at_speed_nm(fastest, supply_v=24) == pytest.approx(0.15)
    assert part.fastest_full_pps(0.3, supply_v=24) == 0


@pytest.mark.parametrize(
    ("hem_bar_kg", "verdict"),
    [(0.75, "lifts"), (3.5, "lifts without the usual margin"), (9, "does not lift")],
)
def test_the_verdict_compares_the_worst_place_with_what_the_motor_gives(
    hem_bar_kg: float, verdict: str
) -> None:
    load = Lifting(
        roll=Roll(tube_mm=40, cloth_mm=0.5, drop_mm=2000, wraps_left=1.5),
        width_mm=1500,
        cloth_kgpm2=0.45,
        hem_bar_kg=hem_bar_kg,
        gear=Fraction(57, 11),
        gear_efficiency=0.9,
        friction_nm=0.05,
    )
    result = size(load, motor(), full_pps=600, supply_v=24)
    assert result.verdict == verdict
    assert result.peak_motor_torque_nm == load.peak_motor_torque_nm()
    assert result.margin == result.torque_at_speed_nm / result.peak_motor_torque_nm
    assert (result.fastest_full_pps > 600) == (verdict == "lifts")


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"holding_torque_nm": 0}, "holding_torque_nm: 0 N m is not greater than 0"),
        ({"detent_torque_nm": -1}, "detent_torque_nm: -1 N m is less than 0"),
        ({"phase_a": 0}, "phase_a: 0 A is not greater than 0"),
        ({"phase_ohm": 0}, "phase_ohm: 0 ohm is not greater than 0"),
        ({"phase_mh": math.nan}, "phase_mh: nan is not a finite number"),
        ({"full_steps_per_rev": 0}, "full_steps_per_rev: 0 is less than 4"),
    ],
)
def test_an_impossible_data_sheet_is_refused(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(RequestError, match=message):
        motor(**changes)


def test_an_impossible_supply_speed_or_torque_is_refused() -> None:
    for ask in (motor().top_speed_lr_full_pps, motor().top_speed_emf_full_pps):
        with pytest.raises(RequestError, match="supply_v: 0 V is not greater than 0"):
            ask(0)
    with pytest.raises(RequestError, match="full_pps: -1 full steps/s is less than 0"):
        motor().torque_at_speed_nm(-1, supply_v=24)
    with pytest.raises(RequestError, match="torque_nm: 0 N m is not greater than 0"):
        motor().fastest_full_pps(0, supply_v=24)
