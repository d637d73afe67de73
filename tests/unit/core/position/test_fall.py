from dataclasses import replace

import pytest

from bridge.core.position.allowance import physical_range, snap
from bridge.core.position.fall import after_power_cut, holds
from bridge.core.values import Interval
from tests.unit.core.bench import SPEC

ENDS = physical_range(SPEC)


def test_a_range_that_touches_a_limit_reaches_to_the_physical_end() -> None:
    assert SPEC.held == (ENDS,)


def test_held_ranges_come_from_the_top_down() -> None:
    spec = replace(SPEC, unpowered_holds=((0.0, 10.0), (70.0, 90.0)))
    upper, lower = spec.held
    assert upper.low == pytest.approx(spec.travel.steps_at_percent(90), abs=1)
    assert lower.high == ENDS.high


def test_held_cloth_snaps_and_stays() -> None:
    where = Interval(low=1000, high=1010)
    assert holds(SPEC, where)
    assert after_power_cut(SPEC, where) == where.widened(snap(SPEC))


def test_cloth_that_falls_is_caught_by_the_next_stretch_that_holds() -> None:
    spec = replace(SPEC, unpowered_holds=((0.0, 40.0),))
    fallen = after_power_cut(spec, Interval(low=1000, high=1010))
    assert fallen.high == ENDS.high
    mid = replace(SPEC, unpowered_holds=((20.0, 50.0), (90.0, 100.0)))
    caught = after_power_cut(mid, Interval(low=10_000, high=10_010))
    assert caught.high == pytest.approx(float(mid.travel.steps_at_percent(20)) + snap(mid), abs=1)
    assert caught.low == 10_000 - snap(mid)


def test_a_stretch_shorter_than_a_turn_does_not_catch() -> None:
    spec = replace(SPEC, unpowered_holds=((48.0, 50.0),))
    assert after_power_cut(spec, Interval(low=1000, high=1010)).high == ENDS.high
