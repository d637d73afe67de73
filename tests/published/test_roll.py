"""Roll lengths, turns and percent against figures computed by other means.

Sources stand with each entry of values/build.json: the sum of mid-layer circles, the area integral,
quadrature of the exact spiral, and root search on them. Tolerances are those of the entries.
"""

import json
import math
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from bridge.core.shade.drive import Drive, parse_gear
from bridge.core.shade.roll import Roll, length_of_turns, turns_for_length, wound_diameter_mm
from bridge.core.shade.travel import Travel

Entry = dict[str, Any]
ENTRIES: list[Entry] = json.loads((Path(__file__).parent / "values" / "build.json").read_text())["entries"]


def of_kind(kind: str) -> pytest.MarkDecorator:
    entries = [entry for entry in ENTRIES if entry["kind"] == kind]
    assert entries
    return pytest.mark.parametrize("entry", entries, ids=[entry["id"] for entry in entries])


def tube_and_cloth(entry: Entry) -> dict[str, float]:
    given = entry["inputs"]
    return {"tube_mm": given["tube_outer_diameter_mm"], "cloth_mm": given["fabric_thickness_mm"]}


def roll_of(entry: Entry) -> Roll:
    given = entry["inputs"]
    return Roll(
        **tube_and_cloth(entry), drop_mm=given["drop_mm"], wraps_left=given["residual_turns_at_bottom"]
    )


@of_kind("roll_length")
def test_the_length_of_wound_turns_agrees_with_the_exact_spiral(entry: Entry) -> None:
    turns, want, within = entry["inputs"]["turns"], entry["expected"], entry["tolerance"]
    length_mm = length_of_turns(turns, **tube_and_cloth(entry))
    assert length_mm == pytest.approx(want["length_mm"], abs=within["length_mm"])
    assert length_mm == pytest.approx(want["discrete_layers_mm"], abs=within["discrete_layers_mm"])
    assert length_mm == pytest.approx(want["spiral_from_tube_surface_mm"], abs=within["length_mm"])
    diameter = wound_diameter_mm(turns, **tube_and_cloth(entry))
    assert diameter == pytest.approx(want["outer_diameter_mm"], abs=1e-9)


@of_kind("roll_turns_for_length")
def test_the_turns_for_a_length_agree_with_a_root_search(entry: Entry) -> None:
    turns = turns_for_length(entry["inputs"]["length_mm"], **tube_and_cloth(entry))
    assert turns == pytest.approx(entry["expected"]["turns"], abs=entry["tolerance"]["turns"])


@of_kind("percent_vs_turns")
def test_percent_open_follows_the_drop_and_not_the_turns(entry: Entry) -> None:
    roll, want, within = roll_of(entry), entry["expected"], entry["tolerance"]
    turns = entry["inputs"]["turns_lowered_from_top"]
    lowered_mm = roll.drop_at_turns(turns)
    half_way = roll.percent_at_drop(roll.drop_at_turns(roll.total_turns / 2))
    assert roll.total_turns == pytest.approx(want["total_turns"], abs=within["turns"])
    assert lowered_mm == pytest.approx(want["lowered_mm"], abs=within["mm"])
    assert roll.percent_at_drop(lowered_mm) == pytest.approx(want["percent_open"], abs=within["percent"])
    assert 100 - half_way == pytest.approx(want["percent_lowered_at_half_turns"], abs=within["percent"])
    assert roll.largest_linear_error_mm == pytest.approx(want["max_linear_error_mm"], abs=within["mm"])
    linear_mm = roll.drop_mm * want["linear_percent_lowered"] / 100
    assert roll.linear_error_at_turns(turns) == pytest.approx(lowered_mm - linear_mm, abs=within["mm"])


@of_kind("percent_open_to_steps")
def test_percent_open_becomes_the_steps_of_a_root_search(entry: Entry) -> None:
    given, want, within = entry["inputs"], entry["expected"], entry["tolerance"]
    drive = Drive(pulses_per_rev=given["pulses_per_motor_rev"], gear=parse_gear(given["gear_ratio"]))
    travel = Travel(roll=roll_of(entry), drive=drive)
    steps = travel.steps_at_percent(given["percent_open"])
    turns = drive.turns_for_steps(steps)
    error_mm = travel.roll.linear_error_at_percent(given["percent_open"])
    assert float(turns) == pytest.approx(want["turns_from_top"], abs=within["turns"])
    assert float(steps) == pytest.approx(want["steps_from_top"], abs=within["steps"])
    assert round(steps) == want["steps_rounded"]
    assert travel.lower_steps == pytest.approx(want["full_travel_steps"], abs=within["steps"])
    assert error_mm == pytest.approx(want["hem_error_if_linear_mm"], abs=within["mm"])


@of_kind("gear_steps")
def test_a_planetary_gear_is_counted_by_its_teeth(entry: Entry) -> None:
    given, want = entry["inputs"], entry["expected"]
    gear = 1 + Fraction(given["ring_teeth"], given["sun_teeth"])
    drive = Drive(
        pulses_per_rev=given["pulses_per_motor_rev"],
        gear=gear,
        full_steps_per_rev=given["full_steps_per_rev"],
    )
    pulses = drive.steps_for_turns(given["output_turns"])
    by_five = given["output_turns"] * given["pulses_per_motor_rev"] * 5
    assert gear == parse_gear(want["ratio"])
    for value, name in [
        (drive.step_angle_deg, "output_step_angle_deg"),
        (drive.full_steps_per_turn, "full_steps_per_output_turn"),
        (drive.pulses_per_turn, "pulses_per_output_turn"),
        (pulses, "pulses_for_turns"),
        (pulses - by_five, "pulse_error_if_ratio_5"),
    ]:
        assert float(value) == pytest.approx(want[name], rel=entry["tolerance"]["relative"])


def test_ten_layers_drawn_as_circles_hold_what_the_formula_says() -> None:
    # Source: the circumference of each layer's middle, added up; 25 mm tube, 0.4 mm cloth.
    circles = sum(math.pi * (25 + (2 * layer - 1) * 0.4) for layer in range(1, 11))
    assert length_of_turns(10, tube_mm=25, cloth_mm=0.4) == pytest.approx(circles, abs=1e-9)
