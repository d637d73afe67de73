import pytest

from bridge.core.contract import Do, Why
from bridge.core.events import Button, Nudge, Place, Release
from bridge.core.values import Rank
from tests.unit.core.bench import SPEC, Bench


def settled_at_top() -> Bench:
    bench = Bench().known_at_top()
    bench.report(count=0, awake=False)
    return bench


def test_a_percent_request_becomes_one_order_within_the_limits() -> None:
    bench = settled_at_top()
    bench.ask(50)
    order = bench.order
    assert order.do is Do.GO
    assert order.to == pytest.approx(float(SPEC.travel.steps_at_percent(50)), abs=8)
    assert order.low is not None
    assert order.high is not None
    assert order.low < 0 < SPEC.travel.lower_steps < order.high < SPEC.travel.deepest_steps
    assert bench.last.grew


def test_an_unknown_shade_is_not_lowered() -> None:
    bench = Bench().in_conversation()
    bench.ask(50)
    assert bench.fates == ["refused"]
    assert "the position is unknown" in bench.why


def test_a_request_before_any_answer_waits_for_the_board() -> None:
    bench = settled_at_top()
    bench.link(boot=1)
    bench.ask(30)
    assert bench.shade.request is not None
    assert bench.last.orders == ()
    bench.answer(count=0, awake=False)
    assert bench.order.do is Do.GO


def test_a_newer_request_replaces_one_of_equal_rank_and_gives_way_to_a_higher() -> None:
    bench = settled_at_top()
    bench.ask(50)
    bench.ask(40)
    assert bench.fates == ["superseded"]
    bench.ask(80, Rank.WIND)
    bench.ask(10)
    assert bench.fates == ["refused"]
    assert "ranks higher" in bench.why


def test_a_stop_is_sent_at_once_and_a_request_may_follow_it_at_once() -> None:
    bench = settled_at_top()
    bench.ask(50)
    bench.press(Button.STOP)
    assert bench.dos == [Do.STOP]
    bench.ask(70)
    assert bench.fates == ["superseded"]
    bench.tick(0.25)
    assert bench.dos == [Do.GO]


def test_a_stop_that_is_obeyed_is_reached() -> None:
    bench = settled_at_top()
    bench.ask(50)
    bench.press(Button.STOP)
    bench.report(count=700, to=700, why=Why.STOPPED, seq=bench.order.seq)
    assert bench.fates == ["reached"]


def test_a_stop_is_sent_though_another_bridge_is_in_charge() -> None:
    bench = settled_at_top()
    bench.claim(9, retained=False)
    bench.ask(50)
    assert bench.fates == ["refused"]
    bench.press(Button.STOP)
    assert bench.order.do is Do.STOP


def test_release_ends_the_hold() -> None:
    bench = settled_at_top()
    bench.ask(50)
    bench.ask(Release())
    assert bench.shade.hold_until is None
    assert bench.why == "the hold ends"
    bench.ask(Release())
    assert bench.why == "there was no hold"


def test_a_nudge_goes_on_from_where_it_is_heading() -> None:
    bench = settled_at_top()
    bench.ask(50)
    bench.now_s += 1
    bench.ask(Nudge(by_pct=-10))
    assert bench.order.to == pytest.approx(float(SPEC.travel.steps_at_percent(40)), abs=8)


@pytest.mark.parametrize(("by_pct", "open_pct"), [(100, 100), (-100, 0)])
def test_a_nudge_past_a_limit_goes_to_the_limit(by_pct: int, open_pct: int) -> None:
    bench = settled_at_top()
    bench.ask(50)
    bench.now_s += 1
    bench.ask(Nudge(by_pct=by_pct))
    assert bench.shade.target_pct == open_pct


def test_a_board_of_another_drive_is_refused_orders() -> None:
    bench = settled_at_top()
    bench.report(count=0, awake=False, pulses_per_turn=4000)
    bench.ask(50)
    assert bench.fates == ["refused"]
    assert "pulses a turn" in bench.why


def test_a_confirmation_pins_the_position() -> None:
    bench = Bench().in_conversation(count=777)
    bench.confirm(Place.LOWER)
    low, high = bench.hull_mm
    assert low == pytest.approx(1798, abs=0.3)
    assert high == pytest.approx(1802, abs=0.3)


def test_a_confirmation_while_moving_is_refused() -> None:
    bench = settled_at_top()
    bench.ask(50)
    bench.confirm()
    assert bench.noted == ["shade.confirmation.refused"]


def test_a_request_during_a_reference_run_waits_for_its_end() -> None:
    bench = Bench().in_conversation()
    bench.press(Button.UP)
    seek = bench.order
    bench.now_s += 1
    bench.ask(40)
    assert bench.last.orders == ()
    assert bench.shade.request is not None
    bench.report(count=-9000, to=-9000, why=Why.UPPER_SWITCH, seq=seek.seq)
    assert (bench.order.do, bench.shade.target_pct) == (Do.GO, 40)
