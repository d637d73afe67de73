import pytest

from bridge.core.contract import Do, Link, Why
from bridge.core.events import Button
from bridge.core.values import Interval
from tests.unit.core.bench import Bench


def asked(pct: int = 50) -> Bench:
    bench = Bench().known_at_top()
    bench.ask(pct)
    return bench


def test_a_question_without_an_answer_is_asked_again_ever_more_slowly() -> None:
    bench = Bench()
    bench.reach()
    bench.link(boot=1)
    waits = []
    for _ in range(7):
        wait_s = bench.due_s
        assert wait_s is not None
        waits.append(round(wait_s))
        bench.tick(wait_s)
        assert bench.dos == [Do.TELL]
    assert waits == [2, 4, 8, 16, 30, 30, 30]


def test_a_dragged_slider_reaches_the_board_four_times_a_second_and_its_last_value_always() -> None:
    bench = asked()
    sent = 0
    for pct in range(51, 71):
        bench.now_s += 0.05
        bench.ask(pct)
        sent += len(bench.last.orders)
    assert sent == 4
    wait_s = bench.due_s
    assert wait_s is not None
    bench.tick(max(wait_s, 0.0))
    assert bench.shade.outstanding is not None
    assert bench.shade.request is not None
    assert bench.shade.outstanding.request == bench.shade.request.id


def test_silence_on_the_way_is_asked_about_after_three_seconds() -> None:
    bench = asked()
    assert bench.due_s == pytest.approx(3.0)
    bench.tick(3.0)
    assert bench.dos == [Do.TELL]
    assert not bench.shade.channel.answered


def test_an_order_that_was_lost_is_sent_again_under_a_new_number() -> None:
    bench = asked()
    lost = bench.order
    bench.tick(3.0)
    bench.answer(count=0, awake=False)
    assert bench.order.do is Do.GO
    assert bench.order.seq > lost.seq


def test_a_request_that_expires_with_its_order_on_the_way_is_followed_by_a_stop() -> None:
    bench = asked()
    bench.tick(30.0)
    assert bench.fates == ["expired"]
    assert Do.STOP in bench.dos


def test_a_move_that_never_ends_fails_in_time_and_says_what_to_look_at() -> None:
    bench = asked()
    order = bench.order
    bench.report(count=10, to=order.to, moving=True, why=Why.STARTED, seq=order.seq)
    bench.tick(60.0)
    assert bench.fates == ["failed"]
    assert "check its power and network" in bench.why


def test_where_it_is_already_is_reached_without_an_order() -> None:
    bench = Bench().known_at_top()
    bench.ask(100)
    assert bench.fates in (["reached"], [])
    assert Do.SEEK not in bench.dos


def test_nothing_is_sent_to_a_board_that_is_off() -> None:
    bench = Bench().known_at_top()
    bench.link(Link.OFF)
    bench.ask(50)
    assert bench.last.orders == ()
    assert bench.due_s == pytest.approx(30.0)


def test_a_seek_forgets_the_bounds_of_the_button_as_the_board_does() -> None:
    bench = asked()
    order = bench.order
    bench.report(count=order.to, to=order.to, why=Why.ARRIVED, seq=order.seq, awake=False)
    assert bench.shade.channel.bounds == Interval(low=order.low or 0, high=order.high or 0)
    bench.link(boot=2)
    bench.answer(boot=2, count=0, kept=False, kept_since=2, awake=False)
    assert bench.shade.channel.bounds_boot == 1
    other = Bench().in_conversation(awake=False)
    other.press(Button.UP)
    assert other.order.do is Do.SEEK
    assert (other.shade.channel.bounds, other.shade.channel.bounds_boot) == (None, None)


def test_until_a_board_has_the_new_bounds_its_button_may_still_keep_to_the_old_ones() -> None:
    """The order is lost on the way to a deaf board, and somebody uses the button there."""
    bench = Bench(local_button=True).known_at_top()
    bench.ask(50)
    first = bench.order
    bench.report(count=first.to, to=first.to, why=Why.ARRIVED, seq=first.seq, awake=False)
    old = bench.shade.channel.bounds
    assert old is not None
    bench.now_s += 60
    bench.ask(49)
    second = bench.order
    both = bench.shade.channel.bounds
    assert both is not None
    assert both.contains(old)
    assert both.contains(Interval(low=second.low or 0, high=second.high or 0))
    bench.report(count=first.to, to=second.to, moving=True, why=Why.STARTED, seq=second.seq)
    assert bench.shade.channel.bounds == Interval(low=second.low or 0, high=second.high or 0)


def test_a_board_without_bounds_that_stands_where_it_was_sent_has_acted_on_that_order() -> None:
    bench = asked()
    order = bench.order
    bench.tick(3.0)
    bench.answer(count=order.to, to=order.to, awake=False)
    assert bench.shade.channel.bounds == Interval(low=order.low or 0, high=order.high or 0)
