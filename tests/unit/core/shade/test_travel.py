import math
from fractions import Fraction

import pytest

from bridge.core.errors import RequestError
from bridge.core.shade.drive import Drive
from bridge.core.shade.roll import Roll
from bridge.core.shade.travel import Travel


def study(tube_mm: float = 40, pulses_per_rev: int = 800) -> Travel:
    roll = Roll(tube_mm=tube_mm, cloth_mm=0.5, drop_mm=2000, wraps_left=1.5)
    return Travel(roll=roll, drive=Drive(pulses_per_rev=pulses_per_rev, gear=Fraction(57, 11)))


def test_the_bounds_stand_where_the_cloth_says() -> None:
    travel = study()
    turn = Fraction(45600, 11)
    assert travel.lower_steps == 54849
    assert travel.end_steps == math.floor(Fraction(travel.roll.wound_turns) * turn)
    assert travel.deepest_steps == math.floor((Fraction(travel.roll.wound_turns) - Fraction(1, 2)) * turn)
    assert travel.lower_steps < travel.deepest_steps < travel.end_steps


def test_less_than_half_a_wrap_left_puts_the_bound_above_the_lower_limit() -> None:
    roll = Roll(tube_mm=40, cloth_mm=0.5, drop_mm=2000, wraps_left=0.25)
    travel = Travel(roll=roll, drive=Drive(pulses_per_rev=800, gear=Fraction(1)))
    assert travel.deepest_steps < travel.lower_steps < travel.end_steps


def test_percent_and_steps_meet_at_both_limits() -> None:
    travel = study()
    assert travel.steps_at_percent(100) == 0
    assert travel.percent_at_steps(0) == 100
    assert round(travel.steps_at_percent(0)) == travel.lower_steps
    assert travel.percent_at_steps(travel.lower_steps) == pytest.approx(0, abs=0.001)


def test_places_outside_the_limits_are_told_and_not_clamped() -> None:
    travel = study()
    assert travel.percent_at_steps(-1000) > 100
    assert travel.percent_at_steps(travel.end_steps) < 0
    assert travel.drop_at_steps(-1000) < 0
    assert travel.steps_at_percent(101) < 0


def test_positions_may_be_whole_fractions_or_floats() -> None:
    travel = study()
    exact = travel.steps_at_percent(50)
    assert isinstance(exact, Fraction)
    assert travel.percent_at_steps(exact) == pytest.approx(50, abs=1e-9)
    assert travel.percent_at_steps(float(exact)) == pytest.approx(50, abs=1e-9)


def test_a_step_interval_is_narrower_at_the_bottom_in_mm() -> None:
    travel = study()
    high_up = travel.mm_between(0, 1000)
    low_down = travel.mm_between(travel.lower_steps - 1000, travel.lower_steps)
    assert high_up > low_down > 0
    assert travel.mm_between(1000, 0) == -high_up


def test_past_the_end_of_the_cloth_is_refused() -> None:
    travel = study()
    assert travel.drop_at_steps(travel.end_steps) < travel.roll.end_drop_mm
    with pytest.raises(RequestError, match="past the end of the cloth"):
        travel.drop_at_steps(travel.end_steps + 1)
    with pytest.raises(RequestError, match="past the end of the cloth"):
        travel.steps_at_drop(travel.roll.end_drop_mm + 1)


def test_the_version_names_the_numbers_and_nothing_else() -> None:
    assert study().version == study(tube_mm=40.0).version == "af5e0287b5dd"
    assert study(tube_mm=40.1).version != study().version
    assert study(pulses_per_rev=1600).version != study().version
