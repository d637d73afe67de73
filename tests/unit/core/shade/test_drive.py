from fractions import Fraction

import pytest

from bridge.core.errors import RequestError
from bridge.core.shade.drive import Drive, parse_gear


@pytest.mark.parametrize(
    ("text", "ratio"),
    [("57/11", Fraction(57, 11)), ("5", Fraction(5)), ("5.25", Fraction(21, 4)), ("1/2", Fraction(1, 2))],
)
def test_a_gear_ratio_is_read_exactly(text: str, ratio: Fraction) -> None:
    assert parse_gear(text) == ratio


@pytest.mark.parametrize(
    "text",
    [
        "",
        "0",
        "0/5",
        "5/0",
        "5/00",
        "-5",
        "57:11",
        "1e3",
        "nan",
        "5.",
        ".5",
        "57/11/2",
        "١٢",
        "1_0",
        " 5",
        "9" * 500,
    ],
)
def test_anything_else_is_refused_with_the_text(text: str) -> None:
    with pytest.raises(RequestError) as refused:
        parse_gear(text)
    assert refused.value.problem == f"{text[:40]!r} is not a ratio of motor turns to tube turns"
    assert "57/11" in refused.value.remedy


def test_the_pulses_of_a_tube_turn_stay_a_fraction() -> None:
    drive = Drive(pulses_per_rev=800, gear=Fraction(57, 11))
    assert drive.pulses_per_turn == Fraction(45600, 11)
    assert drive.full_step_pulses == 4
    assert drive.cycle_pulses == 16
    assert drive.step_angle_deg == Fraction(360 * 11, 200 * 57)
    assert drive.full_steps_per_turn == Fraction(200 * 57, 11)


def test_steps_and_turns_are_exact_inverses() -> None:
    drive = Drive(pulses_per_rev=1600, gear=Fraction(57, 11))
    assert drive.steps_for_turns(11) == 91200
    assert drive.turns_for_steps(drive.steps_for_turns(Fraction(-3, 7))) == Fraction(-3, 7)


@pytest.mark.parametrize(
    ("pulses", "gear", "full_steps", "message"),
    [
        (0, 1, 200, "pulses_per_rev: 0 is not greater than 0"),
        (200, 1, 0, "full_steps_per_rev: 0 is not greater than 0"),
        (200, 0, 200, "gear: 0 is not greater than 0"),
        (100, 1, 200, "100 pulses are less than the motor's 200 full steps in a turn"),
    ],
)
def test_an_impossible_drive_is_refused(pulses: int, gear: int, full_steps: int, message: str) -> None:
    with pytest.raises(RequestError, match=message):
        Drive(pulses_per_rev=pulses, gear=Fraction(gear), full_steps_per_rev=full_steps)
