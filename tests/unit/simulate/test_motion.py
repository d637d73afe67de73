from itertools import pairwise
from math import sqrt
from random import Random

import pytest

from bridge.simulate.motion import brake, reachable, run

# Constant-acceleration kinematics, S = (v^2 - v0^2) / (2 a): Eiderman, Real time stepper motor linear
# ramping, eqs 1-6; durations from numeric integration of ds/v.
PROFILES = [(10000, 800, 400, 14.5), (500, 800, 400, 2.236067977), (53890, 3000, 2000, 19.46333333)]


@pytest.mark.parametrize(("steps", "top", "ramp", "seconds"), PROFILES)
@pytest.mark.parametrize("sign", [1, -1])
def test_a_run_from_rest_takes_the_published_time(
    steps: int, top: float, ramp: float, seconds: float, sign: int
) -> None:
    leg = run(now_s=100.0, origin=7, end=7 + sign * steps, top=top, ramp=ramp)
    assert leg.end_s - 100.0 == pytest.approx(seconds, rel=1e-6)
    assert leg.count(100.0) == 7
    assert leg.count(leg.end_s) == 7 + sign * steps


def test_steps_come_one_by_one_and_never_turn_back() -> None:
    leg = run(now_s=0.0, origin=0, end=-400, top=800, ramp=1600)
    counts = [leg.count(i * leg.end_s / 20000) for i in range(20001)]
    assert counts[0] == 0
    assert counts[-1] == -400
    assert {a - b for a, b in pairwise(counts)} == {0, 1}


def test_a_step_is_out_at_its_time_and_not_before() -> None:
    leg = run(now_s=5.0, origin=0, end=3000, top=900, ramp=700)
    for count in (1, 2, 500, 1500, 2600, 2999, 3000):
        at_s = leg.time_of(count)
        assert leg.count(at_s) == count
        assert leg.count(at_s - 1e-4) == count - 1


def test_speed_never_passes_the_top_and_changes_by_the_ramp() -> None:
    leg = run(now_s=0.0, origin=0, end=5000, speed=300, top=1000, ramp=500)
    speeds = [leg.speed(i / 100) for i in range(int(leg.end_s * 100))]
    assert speeds[0] == 300
    assert max(speeds) == 1000
    assert max(abs(a - b) for a, b in pairwise(speeds)) <= 5 + 1e-9


def test_a_lower_top_is_reached_on_the_ramp() -> None:
    leg = run(now_s=0.0, origin=0, end=5000, speed=1000, top=200, ramp=500)
    assert leg.speed(0.8) == pytest.approx(600)
    assert leg.speed(3.0) == 200
    assert leg.count(leg.end_s) == 5000


@pytest.mark.parametrize("seed", range(200))
def test_a_brake_ends_on_a_whole_step_and_is_never_gentler_than_its_ramp(seed: int) -> None:
    rng = Random(seed)
    origin, speed, ramp = rng.uniform(-500, 500), rng.uniform(0, 4000), rng.uniform(100, 20000)
    sign = rng.choice([1, -1])
    leg = brake(now_s=0.0, origin=origin, sign=sign, speed=speed, ramp=ramp)
    assert sign * (leg.end - origin) <= speed**2 / (2 * ramp) + 1e-5
    assert sign * (leg.end - origin) > speed**2 / (2 * ramp) - 1
    assert leg.end_s <= speed / ramp + 1e-9
    assert leg.count(0.0) * sign <= leg.end * sign


def test_reachable_counts_the_last_step() -> None:
    assert reachable(distance=100, speed=sqrt(2 * 500 * 100), ramp=500)
    assert not reachable(distance=99, speed=sqrt(2 * 500 * 100), ramp=500)
