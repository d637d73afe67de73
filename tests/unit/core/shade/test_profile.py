import math

import pytest

from bridge.core.errors import RequestError
from bridge.core.shade.profile import move_profile


def test_a_long_move_reaches_the_top_speed() -> None:
    profile = move_profile(steps=10_000, top_pps=800, ramp_pps2=400)
    assert (profile.shape, profile.peak_pps, profile.ramp_steps) == ("trapezoid", 800, 800)
    assert profile.duration_s == pytest.approx(14.5)


def test_a_short_move_turns_round_below_the_top_speed() -> None:
    profile = move_profile(steps=500, top_pps=800, ramp_pps2=400)
    assert (profile.shape, profile.ramp_steps) == ("triangle", 250)
    assert profile.peak_pps == pytest.approx(math.sqrt(400 * 500))


def test_a_move_of_exactly_two_ramps_is_a_trapezoid_without_a_cruise() -> None:
    profile = move_profile(steps=1600, top_pps=800, ramp_pps2=400)
    assert (profile.shape, profile.peak_pps, profile.duration_s) == ("trapezoid", 800, 4)


def test_a_move_a_little_shorter_than_two_ramps_is_a_triangle() -> None:
    profile = move_profile(steps=1599, top_pps=800, ramp_pps2=400)
    assert (profile.shape, profile.ramp_steps) == ("triangle", 799.5)
    assert profile.peak_pps == pytest.approx(math.sqrt(400 * 1599))


def test_no_steps_take_no_time() -> None:
    profile = move_profile(steps=0, top_pps=800, ramp_pps2=400)
    assert (profile.duration_s, profile.peak_pps, profile.steps_after(1)) == (0, 0, 0)


def test_a_start_speed_shortens_both_ramps() -> None:
    profile = move_profile(steps=10_000, top_pps=800, ramp_pps2=400, start_pps=200)
    assert profile.ramp_steps == (800**2 - 200**2) / 800
    assert profile.duration_s == pytest.approx(2 * 1.5 + (10_000 - 1500) / 800)
    whole = move_profile(steps=400, top_pps=200, ramp_pps2=400, start_pps=200)
    assert (whole.duration_s, whole.ramp_steps, whole.shape) == (2, 0, "trapezoid")


@pytest.mark.parametrize("start_pps", [0, 150])
@pytest.mark.parametrize("steps", [300, 10_000])
def test_the_way_made_is_the_integral_of_the_speed(steps: int, start_pps: float) -> None:
    profile = move_profile(steps=steps, top_pps=800, ramp_pps2=400, start_pps=start_pps)
    slices = 20_000
    width_s = profile.duration_s / slices
    way = 0.0
    for index in range(slices):
        at_s = (index + 0.5) * width_s
        way += width_s * min(
            profile.peak_pps, start_pps + 400 * at_s, start_pps + 400 * (profile.duration_s - at_s)
        )
        if index % 997 == 0:
            assert profile.steps_after((index + 1) * width_s) == pytest.approx(way, abs=0.2)
    assert profile.steps_after(profile.duration_s) == steps == pytest.approx(way, abs=0.2)


def test_before_the_start_and_after_the_end_nothing_moves() -> None:
    profile = move_profile(steps=500, top_pps=800, ramp_pps2=400)
    assert profile.steps_after(-1) == 0
    assert profile.steps_after(1e9) == 500


@pytest.mark.parametrize(
    ("steps", "top", "ramp", "start", "message"),
    [
        (-1, 800, 400, 0, "steps: -1 is less than 0"),
        (math.inf, 800, 400, 0, "steps: inf is not a finite number"),
        (500, 0, 400, 0, "top_pps: 0 steps/s is not greater than 0"),
        (500, 800, 0, 0, "ramp_pps2: 0 steps/s\\^2 is not greater than 0"),
        (500, 800, 400, -1, "start_pps: -1 steps/s is less than 0"),
        (500, 800, 400, 900, "top_pps: 800 steps/s is less than 900"),
    ],
)
def test_an_impossible_move_is_refused(
    steps: float, top: float, ramp: float, start: float, message: str
) -> None:
    with pytest.raises(RequestError, match=message):
        move_profile(steps=steps, top_pps=top, ramp_pps2=ramp, start_pps=start)
