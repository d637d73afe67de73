from dataclasses import replace

import pytest

from bridge.core.contract import Do, Why
from bridge.core.events import Button
from bridge.core.position.stall import held_below
from bridge.core.spec import Reference
from bridge.core.values import Interval
from tests.unit.core.bench import SPEC, Bench

BEGAN = Interval(low=30_000, high=30_100)
STOP = Interval(low=-700, high=-600)


@pytest.mark.parametrize(("gone", "held"), [(0, True), (29_000, True), (30_600, False), (31_000, False)])
def test_a_rise_that_is_shorter_than_the_way_to_the_stop_was_held(gone: int, held: bool) -> None:
    highest = held_below(SPEC, began=BEGAN, gone=gone, stop=STOP)
    assert (highest is not None) is held
    if highest is not None:
        assert BEGAN.low - gone - 120 < highest < BEGAN.low - gone


def test_a_drive_that_nobody_has_measured_may_rise_further_than_it_counts() -> None:
    guessed = replace(SPEC, drive_confirmed=False)
    assert held_below(SPEC, began=BEGAN, gone=29_500, stop=STOP) is not None
    assert held_below(guessed, began=BEGAN, gone=29_500, stop=STOP) is None


def seeking() -> Bench:
    """Half a metre down, known to some mm, and looking for its stop."""
    stall = Reference(at_mm=-20.0, repeatability_mm=0.5)
    bench = Bench(upper_switch=None, upper_stall=stall, tolerance_mm=3.0).known_at_top(senses=("stall",))
    bench.ask(70)
    down = bench.order
    bench.report(count=down.to, to=down.to, why=Why.ARRIVED, seq=down.seq, senses=("stall",), awake=False)
    bench.now_s += 20
    bench.press(Button.UP)
    assert bench.order.do is Do.SEEK
    return bench


def test_a_stall_far_below_the_stop_is_not_taken_for_it() -> None:
    bench = seeking()
    seek, before = bench.order, bench.shade.knowledge.hull
    bench.report(count=10_000, to=10_000, why=Why.STALLED, seq=seek.seq, senses=("stall",))
    assert bench.fates == ["failed"]
    assert "look at what held it" in bench.why
    assert not bench.shade.knowledge.meetings[1:], "only the person's own confirmation"
    hull = bench.shade.knowledge.hull
    assert hull.high == before.high
    assert SPEC.travel.drop_at_steps(hull.low) > 250


def test_a_stall_where_the_stop_may_be_is_the_reference() -> None:
    bench = seeking()
    bench.report(count=-600, to=-600, why=Why.STALLED, seq=bench.order.seq, senses=("stall",))
    assert "shade.reference.met" in bench.noted
