import math
from typing import TypedDict

import pytest

from bridge.core.errors import RequestError
from bridge.core.shade.roll import Roll, length_of_turns, solve_roll, turns_for_length, wound_diameter_mm


class Measures(TypedDict):
    tube_mm: float
    cloth_mm: float
    drop_mm: float
    wraps_left: float


STUDY: Measures = {"tube_mm": 40, "cloth_mm": 0.5, "drop_mm": 2000, "wraps_left": 1.5}


def test_the_limits_are_zero_and_the_whole_drop() -> None:
    roll = Roll(**STUDY)
    assert roll.drop_at_turns(0) == 0
    assert roll.turns_at_drop(0) == 0
    assert roll.drop_at_turns(roll.total_turns) == pytest.approx(2000, abs=1e-9)
    assert roll.turns_at_drop(2000) == pytest.approx(roll.total_turns, abs=1e-12)
    assert roll.wound_turns == roll.total_turns + 1.5


def test_cloth_without_thickness_unrolls_in_proportion_to_the_turns() -> None:
    roll = Roll(tube_mm=40, cloth_mm=0, drop_mm=1000, wraps_left=1)
    assert roll.total_turns == pytest.approx(1000 / (math.pi * 40))
    assert roll.drop_at_turns(roll.total_turns / 2) == pytest.approx(500)
    assert roll.turns_at_drop(500) == pytest.approx(roll.total_turns / 2)
    assert roll.largest_linear_error_mm == 0


def test_above_the_upper_limit_the_drop_is_negative() -> None:
    roll = Roll(**STUDY)
    assert roll.drop_at_turns(-0.5) < -math.pi * 40 / 2
    assert roll.turns_at_drop(roll.drop_at_turns(-0.5)) == pytest.approx(-0.5, abs=1e-12)


def test_the_cloth_ends_where_the_bare_tube_shows() -> None:
    roll = Roll(**STUDY)
    assert roll.drop_at_turns(roll.wound_turns) == pytest.approx(roll.end_drop_mm)
    assert roll.turns_at_drop(roll.end_drop_mm) == pytest.approx(roll.wound_turns, abs=1e-9)
    assert roll.diameter_at_turns(roll.wound_turns) == pytest.approx(40)
    assert roll.diameter_at_turns(0) == pytest.approx(roll.rolled_diameter_mm)
    assert roll.diameter_at_turns(roll.total_turns) == pytest.approx(40 + 2 * 1.5 * 0.5)


def test_past_the_end_of_the_cloth_is_refused_with_both_numbers() -> None:
    roll = Roll(**STUDY)
    with pytest.raises(
        RequestError, match=r"15 turns below the upper limit is past the end of the cloth at 14.7"
    ):
        roll.drop_at_turns(15)
    with pytest.raises(RequestError, match=r"2500 mm below .* at 2192.03 mm; stay above"):
        roll.turns_at_drop(2500)
    with pytest.raises(RequestError, match="15 turns"):
        roll.diameter_at_turns(15)
    with pytest.raises(RequestError, match="nan turns"):
        roll.drop_at_turns(math.nan)


def test_percent_open_is_proportional_to_the_drop_and_not_clamped() -> None:
    roll = Roll(**STUDY)
    assert roll.percent_at_drop(500) == 75
    assert roll.drop_at_percent(75) == 500
    assert roll.percent_at_drop(-20) == 101
    assert roll.drop_at_percent(-10) == pytest.approx(2200)


def test_linear_turns_hang_the_bar_too_low_and_most_so_half_way() -> None:
    # Source: 38 mm tube, 0.5 mm cloth, 2 m drop, no wraps left: 78 mm by the area balance.
    roll = Roll(tube_mm=38, cloth_mm=0.5, drop_mm=2000, wraps_left=0)
    assert roll.largest_linear_error_mm == pytest.approx(78, abs=0.5)
    assert roll.linear_error_at_percent(50) == pytest.approx(roll.largest_linear_error_mm)
    assert roll.linear_error_at_percent(0) == 0
    wanted = roll.drop_at_turns(roll.total_turns * 0.3)
    assert wanted - 0.3 * 2000 == pytest.approx(roll.linear_error_at_turns(0.3 * roll.total_turns))


@pytest.mark.parametrize(
    ("name", "value", "message"),
    [
        ("tube_mm", 0, "tube_mm: 0 mm is not greater than 0"),
        ("tube_mm", math.nan, "tube_mm: nan is not a finite number"),
        ("tube_mm", 1e13, r"tube_mm: 1e\+13 mm is beyond anything that can be built"),
        ("cloth_mm", -0.1, "cloth_mm: -0.1 mm is less than 0"),
        ("drop_mm", 0, "drop_mm: 0 mm is not greater than 0"),
        ("wraps_left", -1, "wraps_left: -1 is less than 0"),
    ],
)
def test_an_impossible_measure_is_refused(name: str, value: float, message: str) -> None:
    measures = {"tube_mm": 40, "cloth_mm": 0.5, "drop_mm": 2000, "wraps_left": 1.5, name: value}
    with pytest.raises(RequestError, match=message):
        Roll(**measures)


def test_a_tube_too_thin_to_count_turns_on_is_refused() -> None:
    with pytest.raises(RequestError, match=r"turns: .* is beyond anything that can be built"):
        Roll(tube_mm=1e-9, cloth_mm=0, drop_mm=1e6, wraps_left=1)


def test_lengths_and_turns_on_a_bare_tube_are_inverse() -> None:
    length_mm = length_of_turns(12.5, tube_mm=32, cloth_mm=0.5)
    assert turns_for_length(length_mm, tube_mm=32, cloth_mm=0.5) == pytest.approx(12.5, abs=1e-12)
    assert wound_diameter_mm(12.5, tube_mm=32, cloth_mm=0.5) == 44.5
    with pytest.raises(RequestError, match="turns: -1 is less than 0"):
        length_of_turns(-1, tube_mm=32, cloth_mm=0.5)
    with pytest.raises(RequestError, match="length_mm: -1 mm is less than 0"):
        turns_for_length(-1, tube_mm=32, cloth_mm=0.5)


@pytest.mark.parametrize("missing", ["tube_mm", "cloth_mm", "drop_mm", "turns", "wraps_left"])
def test_any_one_missing_measure_follows_from_the_others(missing: str) -> None:
    roll = Roll(**STUDY)
    given: dict[str, float] = {
        "tube_mm": 40,
        "cloth_mm": 0.5,
        "drop_mm": 2000,
        "wraps_left": 1.5,
        "turns": roll.total_turns,
    }
    given.pop(missing)
    solved = solve_roll(**given)
    assert (solved.tube_mm, solved.cloth_mm) == pytest.approx((40, 0.5))
    assert (solved.drop_mm, solved.wraps_left) == pytest.approx((2000, 1.5))


def test_a_measured_cloth_of_no_thickness_is_not_refused_for_a_rounding() -> None:
    bare = Roll(tube_mm=41.7, cloth_mm=0, drop_mm=1999, wraps_left=1.5)
    solved = solve_roll(tube_mm=41.7, drop_mm=1999, turns=bare.total_turns * (1 + 1e-14), wraps_left=1.5)
    assert solved.cloth_mm == 0


def test_two_missing_measures_are_refused() -> None:
    with pytest.raises(RequestError, match="cloth_mm and turns are missing and only one"):
        solve_roll(tube_mm=40, drop_mm=2000, wraps_left=1.5)


def test_measures_that_contradict_each_other_are_refused_with_the_numbers() -> None:
    assert solve_roll(**STUDY, turns=13.23).total_turns == pytest.approx(13.23107, abs=1e-5)
    with pytest.raises(RequestError) as refused:
        solve_roll(**STUDY, turns=10)
    assert refused.value.problem == (
        "tube 40 mm, cloth 0.5 mm and 1.5 wraps left give 1460.8 mm of drop for 10 turns, "
        "not 2000 mm (which takes 13.231 turns)"
    )


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"cloth_mm": 9, "drop_mm": 2000, "turns": 13, "wraps_left": 1}, "would need tube_mm -86"),
        ({"tube_mm": 80, "drop_mm": 2000, "turns": 13, "wraps_left": 1}, "would need cloth_mm -2"),
        ({"tube_mm": 40, "cloth_mm": 0.5, "drop_mm": 1700, "turns": 13}, "would need wraps_left -4.87"),
        ({"tube_mm": 40, "cloth_mm": 0, "drop_mm": 1700, "turns": 13}, "do not show in the drop"),
        ({"tube_mm": -1, "cloth_mm": 0, "drop_mm": 1700, "turns": 13}, "tube_mm: -1 is not greater than 0"),
    ],
)
def test_measures_that_leave_no_possible_value_are_refused(given: dict[str, float], message: str) -> None:
    with pytest.raises(RequestError, match=message):
        solve_roll(**given)
