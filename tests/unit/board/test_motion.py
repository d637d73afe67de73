import itertools
from array import array
from math import sqrt
from random import Random
from typing import Any

import pytest

from bridge.board.bench import TimedOutput
from bridge.board.motion import StepPlan, Track, root16
from tests.board_rig import Rig


class Stand:
    """A track, an output and a clock that moves by itself."""

    def __init__(self, place: int = 0) -> None:
        self.now_us = 0
        self.pulses: list[tuple[int, int]] = []
        self.output = TimedOutput(lambda: self.now_us, lambda sign, at: self.pulses.append((at, sign)))
        self.track = Track(self.output, place, lambda count: array("i", [0] * count))

    def wait(self, seconds: float, feed_us: int = 5000) -> None:
        end = self.now_us + round(seconds * 1e6)
        while self.now_us < end:
            self.now_us += feed_us
            self.output.sent()
            self.track.feed()

    def settle(self) -> None:
        while not self.track.done:
            self.wait(0.005)

    @property
    def net(self) -> int:
        return sum(sign for _, sign in self.pulses)


# The time of each step by the closed form of constant acceleration: v**2 = 2 a s, t = v / a.


def when(step: int, *, steps: int, pps: int, ramp: int) -> float:
    peak = min(pps, sqrt(ramp * steps))
    ramped = peak * peak / (2 * ramp)
    even_s = (steps - 2 * ramped) / peak
    if step <= ramped:
        return sqrt(2 * step / ramp)
    if step <= steps - ramped:
        return peak / ramp + (step - ramped) / peak
    return 2 * peak / ramp + even_s - sqrt(2 * (steps - step) / ramp)


@pytest.mark.parametrize(
    ("steps", "pps", "ramp"),
    [
        (2000, 800, 1600),
        (20000, 3200, 4000),
        (3000, 8000, 40000),
        (900, 2600, 800),
        (601, 50, 200),
        (7, 800, 1600),
    ],
)
@pytest.mark.parametrize("sign", [1, -1])
def test_a_trace_has_the_exact_steps_and_its_ramps_within_two_percent(
    steps: int, pps: int, ramp: int, sign: int
) -> None:
    stand = Stand()
    stand.track.go(sign * steps, pps, ramp)
    stand.settle()
    assert {each for _, each in stand.pulses} == {sign}
    assert len(stand.pulses) == steps
    total = when(steps, steps=steps, pps=pps, ramp=ramp)
    for number, (at_us, _) in enumerate(stand.pulses, start=1):
        due = when(number, steps=steps, pps=pps, ramp=ramp)
        # A ramp of whole steps has its peak on one: short moves are that much off.
        assert at_us / 1e6 == pytest.approx(due, rel=0.02, abs=0.005 + 0.5 / pps), number
    assert stand.pulses[-1][0] / 1e6 == pytest.approx(total, rel=0.02, abs=0.01)
    assert stand.output.starved == 0


@pytest.mark.parametrize(("pps", "ramp"), [(800, 1600), (3200, 4000), (8000, 40000)])
def test_the_acceleration_of_every_ramp_is_within_two_percent(pps: int, ramp: int) -> None:
    stand = Stand()
    stand.track.go(30000, pps, ramp)
    stand.settle()
    times = [at / 1e6 for at, _ in stand.pulses]
    up = [number for number in range(20, pps * pps // (2 * ramp)) if number % 10 == 0]
    for number in up:
        assert 2 * number / times[number - 1] ** 2 == pytest.approx(ramp, rel=0.02)
    gaps = [after - before for before, after in itertools.pairwise(times)]
    assert 1 / (sum(gaps[15000:15100]) / 100) == pytest.approx(pps, rel=0.002)


def test_one_step_takes_the_time_of_its_triangle() -> None:
    stand = Stand()
    stand.track.go(1, 800, 1600)
    stand.settle()
    assert [sign for _, sign in stand.pulses] == [1]
    assert stand.pulses[0][0] / 1e6 == pytest.approx(2 * sqrt(1 / 1600), rel=0.02)


@pytest.mark.parametrize("seed", range(25))
def test_any_string_of_orders_keeps_the_count_and_never_accelerates_harder_than_told(seed: int) -> None:
    rng, stand = Random(seed), Stand(1600)
    hardest = 0
    for _ in range(25):
        ramp = rng.randint(200, 9000)
        hardest = max(hardest, ramp)
        if rng.random() < 0.2:
            stand.track.stop(ramp)
        else:
            stand.track.go(rng.randint(-9000, 9000), rng.randint(20, 6000), ramp)
        stand.wait(rng.uniform(0, 2.0), rng.choice([1000, 2000, 5000]))
        assert stand.track.place == 1600 + stand.net
    stand.track.go(777, 3000, 4000)
    stand.settle()
    assert (1600 + stand.net, stand.track.place, stand.output.starved) == (777, 777, 0)
    times = [at / 1e6 for at, _ in stand.pulses]
    signs = [sign for _, sign in stand.pulses]
    for at in range(2, len(times)):
        if signs[at - 2] == signs[at - 1] == signs[at]:
            before, after = times[at - 1] - times[at - 2], times[at] - times[at - 1]
            # Microseconds are whole, and a first step out of rest has the mean speed of half its end.
            slack = 2e-6 * (1 / before**2 + 1 / after**2) + sqrt(2 * hardest)
            assert abs(1 / after - 1 / before) <= hardest * (before + after) / 2 * 1.02 + slack


def test_a_retarget_ahead_does_not_slow_down_on_the_way() -> None:
    stand = Stand()
    stand.track.go(6000, 800, 1600)
    stand.wait(2)
    stand.track.go(5000, 800, 1600)
    stand.settle()
    assert len(stand.pulses) == 5000


def test_a_retarget_behind_brakes_on_the_ramp_and_comes_back() -> None:
    stand = Stand()
    stand.track.go(9000, 800, 1600)
    stand.wait(2)
    here = stand.track.place
    stand.track.go(100, 800, 100)
    stand.settle()
    places = list(itertools.accumulate(sign for _, sign in stand.pulses))
    # 200 steps by v**2 / 2a, and what cannot be taken back any more.
    assert here + 200 <= max(places) <= here + 200 + 20
    assert places[-1] == 100


def test_a_stop_comes_to_rest_on_the_ramp() -> None:
    stand = Stand()
    stand.track.go(9000, 800, 1600)
    stand.wait(2)
    here = stand.track.place
    rest = stand.track.stop(1)
    stand.settle()
    assert stand.track.place == rest
    assert here + 200 <= rest <= here + 220


def test_a_halt_leaves_the_exact_count() -> None:
    stand = Stand()
    stand.track.go(9000, 800, 1600)
    stand.wait(2)
    place = stand.track.halt()
    stand.wait(1)
    assert place == stand.net == stand.track.place
    stand.track.go(10, 800, 1600)
    stand.settle()
    assert stand.net == 10


def test_steps_go_on_unchanged_while_the_program_is_blocked() -> None:
    def trace(blocked: bool) -> list[tuple[int, int]]:
        rig = Rig()
        rig.go(9600, pps=3200, ramp=4000)
        rig.wait(0.4)
        rig.wait(1.5, blocked=blocked)
        rig.settle()
        assert rig.hands.output.starved == 0
        return rig.hands.trace

    assert trace(blocked=True) == trace(blocked=False)


def test_without_its_interrupt_the_output_has_a_quarter_of_a_second_in_store() -> None:
    stand = Stand()
    stand.track.go(20000, 3200, 4000)
    stand.wait(2)
    stand.now_us += 250_000
    stand.track.feed()
    assert stand.output.starved == 0
    stand.now_us += 600_000
    stand.track.feed()
    assert stand.output.starved == 1


# Small integers of a 32-bit board have 31 bits; anything larger asks for memory.


class Small(int):
    """Fails where a result leaves 31 bits."""


def _checked(name: str) -> Any:
    plain = getattr(int, name)

    def operate(self: Small, *others: int) -> Any:
        result = plain(self, *(int(other) for other in others))
        assert -(2**30) <= result < 2**30, (name, int(self), others)
        return Small(result)

    return operate


for _name in ("add", "sub", "mul", "floordiv", "lshift", "rshift"):
    setattr(Small, f"__{_name}__", _checked(f"__{_name}__"))
    if _name in ("add", "sub", "mul", "floordiv"):
        setattr(Small, f"__r{_name}__", _checked(f"__r{_name}__"))
Small.__neg__ = _checked("__neg__")  # type: ignore[method-assign]  # it returns a Small, which is an int


@pytest.mark.parametrize(("pps", "ramp"), [(1, 1), (8000, 100000), (8000, 1), (8000, 40000), (1, 100000)])
@pytest.mark.parametrize("far", [400_000_000, 3000])
def test_planning_stays_within_small_integers(pps: int, ramp: int, far: int) -> None:
    plan = StepPlan(Small(-far))
    for name in ("target", "sign", "square", "root", "carry", "gain", "limit", "brake_steps"):
        setattr(plan, name, Small(getattr(plan, name)))
    plan.aim(Small(far), Small(pps), Small(ramp))
    for _ in range(4000):
        if plan.step() == 0:
            break
    plan.aim(Small(-far), Small(min(pps, 100)), Small(ramp))
    for _ in range(4000):
        plan.step()


@pytest.mark.parametrize("square", [0, 1, 2, 3, 255, 2**21 - 1, 2**21, 2**21 + 1, 64_000_000, 256_000_000])
@pytest.mark.parametrize("guess", [0, 1, 16, 128_000, 256_000])
def test_roots_are_rounded_down(square: int, guess: int) -> None:
    root = root16(square, guess)
    grain = 1 if square < 2**21 else 16
    assert root <= 16 * sqrt(square) < root + grain
