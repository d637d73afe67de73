from dataclasses import replace

import pytest

from bridge.core.command.goals import Refusal
from bridge.core.command.orders import bounds_for, draft_go, draft_seek_up, plain_order, seek_pps
from bridge.core.contract import Do, Then, Toward
from bridge.core.position.allowance import physical_range
from bridge.core.spec import Reference
from tests.unit.core.bench import SPEC, Bench

LOWER = SPEC.travel.lower_steps


def draft(bench: Bench, goal: int) -> object:
    return draft_go(bench.shade, goal, term=1, seq=9)


def test_a_motor_that_will_sleep_is_sent_to_a_whole_cycle() -> None:
    made = draft(Bench().known_at_top(), 20_010)
    assert not isinstance(made, Refusal)
    order = made.order  # type: ignore[attr-defined]
    assert (order.to % 16, order.then) == (0, Then.SLEEP)


def test_a_motor_that_must_hold_the_cloth_stays_awake_at_the_very_step() -> None:
    bench = Bench(unpowered_holds=()).in_conversation()
    bench.confirm()
    made = draft(bench, 20_010)
    assert (made.order.to, made.order.then) == (20_010, Then.STAY)  # type: ignore[attr-defined]


def test_what_is_known_once_an_order_has_left_reaches_from_here_to_there() -> None:
    bench = Bench().known_at_top()
    made = draft(bench, 20_000)
    known = made.knowledge  # type: ignore[attr-defined]
    assert known.hull.contains(bench.shade.knowledge.hull)
    assert known.hull.high > 20_000


def test_no_order_leads_where_the_cloth_could_come_to_its_end() -> None:
    bench = Bench(hand_repeatability_mm=400.0).known_at_top()
    refusal = draft(bench, LOWER)
    assert isinstance(refusal, Refusal)
    assert "could unroll the cloth past its end" in refusal.why


def test_a_way_up_is_never_refused() -> None:
    bench = Bench(hand_repeatability_mm=150.0).known_at_top()
    bench.report(count=40_000, awake=False)
    assert not isinstance(draft(bench, 10_000), Refusal)


@pytest.mark.parametrize("half_mm", [2.0, 60.0])
def test_bounds_end_before_the_cloth_does_at_the_worst_end_of_the_estimate(half_mm: float) -> None:
    bench = Bench(hand_repeatability_mm=half_mm).known_at_top()
    known = bench.shade.knowledge
    assert known.base is not None
    bounds = bounds_for(bench.shade, known, 1000)
    assert bounds.high + known.base.high <= SPEC.travel.deepest_steps
    assert bounds.low + known.base.middle <= 0


def test_a_seek_goes_the_worst_distance_and_a_little_more_and_unlinks_the_count() -> None:
    bench = Bench().in_conversation()
    made = draft_seek_up(bench.shade, term=1, seq=9)
    ends = physical_range(SPEC)
    assert made.order.at_most is not None
    assert made.order.at_most > ends.high - ends.low
    assert (made.order.do, made.order.toward, made.knowledge.base) == (Do.SEEK, Toward.UPPER, None)


def test_a_seek_is_slow_enough_to_brake_before_the_stop() -> None:
    assert seek_pps(SPEC, by_switch=True) < SPEC.top_pps // 2
    assert seek_pps(SPEC, by_switch=False) == SPEC.top_pps // 2
    roomy = replace(SPEC, overrun_mm=400.0, upper_switch=Reference(at_mm=-1.0, repeatability_mm=1.0))
    assert seek_pps(roomy, by_switch=True) == SPEC.top_pps // 2


def test_a_stop_carries_the_ramp_and_a_question_nothing() -> None:
    shade = Bench().known_at_top().shade
    stop, tell = (plain_order(shade, do, term=2, seq=5) for do in (Do.STOP, Do.TELL))
    assert (stop.ramp, stop.term, stop.seq) == (SPEC.ramp_pps2, 2, 5)
    assert tell.ramp is None
