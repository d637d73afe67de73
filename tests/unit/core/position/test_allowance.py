from dataclasses import replace
from math import pi

import pytest

from bridge.core.position.allowance import (
    braking,
    nearest_cycle,
    physical_range,
    reference_interval,
    room_above,
    scale_allowance,
    slip_of_path,
    snap,
    steps_for_mm,
)
from bridge.core.spec import Reference
from bridge.core.values import Interval
from tests.unit.core.bench import SPEC

OPEN = replace(SPEC, drive_confirmed=False)


def test_mm_become_steps_where_a_step_moves_the_hem_bar_least() -> None:
    assert steps_for_mm(SPEC, 1.0) == pytest.approx(800 * 57 / 11 / (pi * (38 + 2 * 1.5 * 0.5)))


def test_a_reference_takes_in_its_repeatability_and_the_last_step() -> None:
    at = reference_interval(SPEC, Reference(at_mm=0.0, repeatability_mm=1.0))
    low, high = SPEC.travel.drop_at_steps(at.low), SPEC.travel.drop_at_steps(at.high)
    a_step = SPEC.travel.drop_at_steps(1)
    assert -1 - 2 * a_step <= low <= -1 - a_step
    assert 1 + a_step <= high <= 1 + 2 * a_step


def test_slip_grows_with_moves_and_turns_and_is_rounded_up() -> None:
    assert slip_of_path(SPEC, moves=0, distance=0) == 0
    assert slip_of_path(SPEC, moves=1, distance=0) == 4
    assert slip_of_path(SPEC, moves=1, distance=4146) == 6


def test_scale_is_large_until_two_ways_have_confirmed_the_drive() -> None:
    assert scale_allowance(SPEC, bound=None) == 0.002
    assert scale_allowance(OPEN, bound=None) == 0.04
    assert scale_allowance(OPEN, bound=0.01) == pytest.approx(0.014)
    assert scale_allowance(OPEN, bound=0.2) == 0.04


def test_a_rotor_snaps_by_half_a_cycle_and_rests_at_whole_ones() -> None:
    assert snap(SPEC) == 8
    assert [nearest_cycle(SPEC, count) for count in (0, 7, 9, -9, 20514)] == [0, 0, 16, -16, 20512]


def test_braking_follows_from_speed_and_ramp() -> None:
    assert braking(SPEC) == 1280
    assert braking(SPEC, 1600) == 320


def test_half_of_the_room_above_a_switch_is_taken_to_be_free() -> None:
    top = physical_range(SPEC).low
    assert room_above(SPEC, Interval(low=top + 500, high=top + 600)) == 250
    assert room_above(SPEC, Interval(low=top - 5, high=top)) == 0
