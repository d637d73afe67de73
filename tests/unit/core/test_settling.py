import pytest

from bridge.core.contract import Do, Link, Why
from bridge.core.events import Button
from bridge.core.position.allowance import reference_interval, snap
from bridge.core.position.claims import grade_of
from bridge.core.position.estimate import Grade
from bridge.core.spec import Reference
from bridge.core.state import Purpose
from tests.unit.core.bench import SPEC, Bench


def gone_to(bench: Bench, pct: int) -> Bench:
    bench.ask(pct)
    order = bench.order
    bench.report(count=0, to=order.to, moving=True, why=Why.STARTED, seq=order.seq)
    bench.now_s += 10
    bench.report(count=order.to, to=order.to, why=Why.ARRIVED, seq=order.seq, awake=False)
    return bench


def test_a_move_that_arrives_is_reached_and_known_to_its_allowances() -> None:
    bench = gone_to(Bench().known_at_top(), 50)
    assert bench.fates == ["reached"]
    low, high = bench.hull_mm
    assert low < 900 < high
    assert high - low < 10


def test_while_moving_the_claim_reaches_from_here_to_the_target_and_back_a_braking_distance() -> None:
    bench = Bench().known_at_top()
    bench.ask(50)
    order = bench.order
    bench.report(count=10_000, to=order.to, moving=True, why=Why.PROGRESS, seq=order.seq)
    hull = bench.shade.knowledge.hull
    assert hull.low == pytest.approx(10_000 - 1280, abs=120)
    assert hull.high == pytest.approx(order.to, abs=200)


def test_an_old_report_at_rest_leaves_room_for_the_order_on_its_way() -> None:
    bench = Bench().known_at_top()
    bench.ask(50)
    first = bench.order
    bench.now_s += 1
    bench.ask(20)
    second = bench.order
    bench.report(count=first.to, to=first.to, why=Why.ARRIVED, seq=first.seq)
    assert second.to is not None
    assert bench.shade.knowledge.hull.high >= second.to
    assert bench.shade.outstanding is not None


def test_a_reference_met_while_an_order_was_on_its_way_leaves_room_for_that_order() -> None:
    """The order was built on the old link; its way begins where the switch has just put the hem bar."""
    switch = Reference(at_mm=1700.0, repeatability_mm=1.0)
    bench = Bench(lower_switch=switch, drive_confirmed=False).known_at_top()
    bench.ask(10)
    first = bench.order
    bench.now_s += 1
    bench.ask(0)
    second = bench.order
    assert first.to is not None
    assert second.to is not None
    bench.report(count=first.to, to=first.to, why=Why.LOWER_SWITCH, seq=first.seq)
    known = bench.shade.knowledge
    assert known.base is not None
    assert known.base.width > reference_interval(SPEC, switch).widened(snap(SPEC)).width
    assert known.hull.high >= known.base.high + second.to
    bench.report(count=first.to, to=second.to, moving=True, why=Why.STARTED, seq=second.seq)
    assert bench.shade.knowledge.hull.high >= known.base.high + second.to


def test_a_count_told_while_a_seek_is_on_its_way_stays_unlinked() -> None:
    bench = Bench().in_conversation()
    bench.press(Button.UP)
    seek = bench.order
    bench.report(count=0, why=Why.TOLD, seq=seek.seq - 1)
    assert bench.shade.knowledge.base is None
    assert bench.shade.outstanding is not None


def test_a_seek_of_somebody_else_that_found_nothing_may_have_lost_steps() -> None:
    bench = Bench().known_at_top()
    before = bench.shade.knowledge
    bench.report(count=-400, to=-400, why=Why.NOT_FOUND, seq=bench.shade.seq + 5)
    known = bench.shade.knowledge
    assert known.chain > before.chain
    assert known.hull.low <= before.hull.low - 400
    assert known.hull.high == before.hull.high


def test_orders_of_another_bridge_leave_no_bounds_to_rely_on() -> None:
    bench = Bench(local_button=True).known_at_top()
    bench.ask(50)
    order = bench.order
    bench.report(count=order.to, to=order.to, why=Why.ARRIVED, seq=order.seq)
    ours = bench.shade.channel.bounds
    bench.report(count=order.to, to=order.to, why=Why.ARRIVED, seq=bench.shade.seq + 3)
    assert (ours is None, bench.shade.channel.bounds) == (False, None)
    bench.link(Link.LOST)
    assert bench.shade.knowledge.hull == SPEC.ends


def test_a_report_that_goes_against_the_order_keeps_waiting_for_its_end() -> None:
    bench = Bench().known_at_top()
    bench.ask(50)
    order = bench.order
    bench.report(count=900, to=900, moving=True, why=Why.UPPER_SWITCH, seq=order.seq)
    assert bench.last.orders == ()
    assert bench.shade.outstanding is not None


def test_a_foreign_order_takes_over() -> None:
    bench = Bench().known_at_top()
    bench.ask(50)
    bench.now_s += 1
    bench.report(count=900, to=100, moving=True, why=Why.STARTED, seq=bench.shade.seq + 5)
    assert bench.order.do is Do.GO


def test_the_upper_switch_pins_the_position_and_the_move_goes_on() -> None:
    bench = Bench().in_conversation()
    bench.press(Button.UP)
    seek = bench.order
    assert (seek.do, bench.shade.knowledge.base) == (Do.SEEK, None)
    bench.now_s += 20
    bench.report(count=-9000, to=-9000, why=Why.UPPER_SWITCH, seq=seek.seq)
    assert "shade.reference.met" in bench.noted
    assert bench.order.do is Do.GO
    at_mm = SPEC.travel.drop_at_steps(bench.shade.knowledge.base.middle - 9000)  # type: ignore[union-attr]
    assert at_mm == pytest.approx(-4.0, abs=0.3)


def test_a_seek_whose_end_was_not_heard_is_no_reference() -> None:
    bench = Bench().in_conversation()
    bench.press(Button.UP)
    bench.tick(3.0)
    bench.answer(count=-9000)
    assert grade_of(SPEC, bench.shade.knowledge.hull) is Grade.UNKNOWN


def test_a_stall_pins_to_its_repeatability_and_half_a_cycle() -> None:
    stall = Reference(at_mm=-20.0, repeatability_mm=0.5)
    bench = Bench(upper_switch=None, upper_stall=stall).in_conversation(senses=("stall",))
    bench.press(Button.UP)
    bench.report(count=-9000, why=Why.STALLED, seq=bench.order.seq)
    base = bench.shade.knowledge.base
    assert base is not None
    per_mm = float(SPEC.travel.drive.pulses_per_turn) / (3.14159 * 53)
    assert base.width == pytest.approx(per_mm + 2 * 8 + 2, abs=4)


def test_a_stall_away_from_a_reference_leaves_the_way_in_doubt() -> None:
    bench = Bench().known_at_top()
    bench.ask(50)
    order = bench.order
    bench.report(count=8000, why=Why.STALLED, stalls=1, seq=order.seq)
    assert bench.fates == ["failed"]
    low, high = bench.hull_mm
    assert low < 5
    assert high > 890


def test_the_button_supersedes_a_request_and_begins_a_hold() -> None:
    bench = Bench(local_button=True).known_at_top()
    bench.ask(50)
    bench.report(count=100, to=-50, moving=True, why=Why.BUTTON)
    assert bench.fates == ["superseded"]
    bench.report(count=-50, to=-50, why=Why.BUTTON)
    assert "shade.moved.locally" in bench.noted
    assert bench.shade.hold_until is not None
    assert bench.shade.reason == "moved by the button at its board"


def test_power_that_goes_on_the_way_fails_the_request() -> None:
    bench = Bench().known_at_top()
    bench.ask(50)
    bench.report(count=500, to=bench.shade.outstanding.order.to, moving=True, why=Why.STARTED)  # type: ignore[union-attr]
    bench.link(boot=2)
    bench.answer(boot=2, count=0, kept=False, kept_since=2)
    assert "failed" in bench.fates
    assert bench.why == "board attic-board lost its power on the way; ask again"
    assert bench.hull_mm[1] > 895


def test_a_request_made_while_the_board_was_gone_does_not_pay_for_the_move_before_it() -> None:
    bench = Bench().known_at_top()
    bench.ask(50)
    bench.report(count=500, to=bench.shade.outstanding.order.to, moving=True, why=Why.STARTED)  # type: ignore[union-attr]
    bench.link(Link.LOST)
    bench.press(Button.UP)
    bench.link(boot=2)
    bench.answer(boot=2, count=0, kept=False, kept_since=2)
    assert bench.fates == []
    assert bench.shade.request is not None
    bench.tick(1.1)
    assert bench.order.do is Do.SEEK


def test_a_motor_that_sleeps_where_nothing_holds_it_may_have_let_the_cloth_fall() -> None:
    bench = Bench(unpowered_holds=()).in_conversation()
    bench.confirm()
    bench.report(count=0, awake=False)
    assert bench.hull_mm[1] > 1800


def test_a_motor_awake_where_it_would_hold_is_put_to_sleep() -> None:
    bench = Bench().in_conversation()
    assert bench.dos == [Do.SLEEP]
    assert bench.shade.outstanding is not None
    assert bench.shade.outstanding.purpose is Purpose.SLEEP
    bench.report(count=0, awake=False)
    assert bench.shade.outstanding is None


@pytest.mark.parametrize("because", ["boot", "seq", "stale", "term"])
def test_an_order_addressed_wrongly_is_sent_again_after_asking(because: str) -> None:
    bench = Bench().known_at_top()
    bench.report(count=0, awake=False)
    bench.ask(50)
    refused = bench.order
    bench.report(count=0, why=Why.REFUSED, because=because, seq=refused.seq - 1)
    assert bench.dos == [Do.TELL]
    bench.now_s += 1
    bench.answer(count=0)
    assert bench.order.do is Do.GO
    assert bench.order.seq > refused.seq


def test_an_order_that_the_board_cannot_obey_fails() -> None:
    bench = Bench().known_at_top()
    bench.report(count=0, awake=False)
    bench.ask(50)
    bench.report(count=0, why=Why.REFUSED, because="speed", seq=bench.order.seq - 1)
    assert bench.fates == ["failed"]
    assert bench.why == "board attic-board refused: speed; check its settings"


def test_an_order_on_its_way_past_a_reference_is_aimed_anew() -> None:
    switch = Reference(at_mm=1790.0, repeatability_mm=1.0)
    bench = Bench(lower_switch=switch, drive_confirmed=False).known_at_top()
    bench.report(count=0, awake=False)
    bench.ask(0)
    first = bench.order
    bench.report(count=900, to=first.to, moving=True, why=Why.STARTED, seq=first.seq)
    bench.now_s += 1
    bench.ask(1)
    late = bench.order
    assert late.to is not None
    bench.now_s += 0.3
    bench.report(count=late.to - 1500, to=late.to - 1500, why=Why.LOWER_SWITCH, seq=first.seq)
    known = bench.shade.knowledge
    assert known.base is not None
    aimed = bench.order
    assert aimed.to is not None
    assert aimed.to < late.to - 1000
    wanted = SPEC.travel.steps_at_percent(1)
    assert known.base.middle + aimed.to == pytest.approx(wanted, abs=20)
