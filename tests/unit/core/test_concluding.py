"""What the end of a motion means for its request, and how often it is tried when nobody tells that end."""

from bridge.core.contract import Do, Why
from bridge.core.events import Button
from bridge.core.position.claims import grade_of
from bridge.core.position.estimate import Grade
from bridge.core.spec import Reference
from tests.unit.core.bench import SPEC, Bench

STALL = Reference(at_mm=-20.0, repeatability_mm=0.5)


def late(bench: Bench, *, count: int, stalls: int) -> None:
    """The board acts on its order, falls silent, tells its stall too late to be believed, and answers."""
    bench.report(count=count, moving=True, why=Why.STARTED, stalls=stalls - 1, senses=("stall",))
    bench.tick(3.0)
    assert bench.dos == [Do.TELL]
    bench.report(count=count, why=Why.STALLED, seq=bench.shade.seq - 1, stalls=stalls, senses=("stall",))
    bench.tick(3.0)
    bench.answer(count=count, stalls=stalls, senses=("stall",))


def test_a_stall_that_is_told_too_late_does_not_make_a_seek_repeat_without_end() -> None:
    bench = Bench(upper_switch=None, upper_stall=STALL).in_conversation(senses=("stall",))
    bench.press(Button.UP)
    seeks = 0
    while bench.dos == [Do.SEEK]:
        seeks += 1
        assert seeks < 4, "it seeks without end"
        late(bench, count=-9000, stalls=seeks)
    assert seeks == 2
    assert bench.fates == ["failed"]
    assert bench.why == (
        "its board has not told how it ended, twice; see where it hangs, and look at the board's network and "
        "program"
    )
    assert bench.shade.knowledge.mark is None, "an end that nobody told is no reference"


def test_a_blocked_move_whose_stall_is_told_too_late_is_not_pushed_again_and_again() -> None:
    bench = Bench().known_at_top()
    bench.ask(50)
    moves = 0
    while bench.dos == [Do.GO]:
        moves += 1
        assert moves < 4, "it is pushed without end"
        late(bench, count=8000, stalls=moves)
    assert moves == 2
    assert bench.fates == ["failed"]


def test_an_order_that_was_lost_on_its_way_is_sent_again_as_long_as_the_request_waits() -> None:
    bench = Bench(upper_switch=None, upper_stall=STALL).in_conversation(senses=("stall",))
    bench.press(Button.UP)
    for _ in range(4):
        assert bench.dos == [Do.SEEK]
        bench.tick(3.0)
        bench.answer(senses=("stall",))
    assert bench.dos == [Do.SEEK]


def test_a_switch_short_of_the_goal_is_told() -> None:
    bench = Bench(lower_switch=Reference(at_mm=900.0, repeatability_mm=1.0)).known_at_top()
    bench.report(count=0, awake=False)
    bench.ask(0)
    bench.report(count=25_000, to=25_000, why=Why.LOWER_SWITCH, seq=bench.order.seq)
    assert bench.fates == ["failed"]
    assert "lower-switch stops it" in bench.why


def test_a_switch_at_the_goal_is_as_good_as_reached() -> None:
    bench = Bench(lower_switch=Reference(at_mm=1797.0, repeatability_mm=1.0)).known_at_top()
    bench.report(count=0, awake=False)
    bench.ask(0)
    order = bench.order
    assert order.to is not None
    bench.report(count=order.to - 20, to=order.to - 20, why=Why.LOWER_SWITCH, seq=order.seq)
    assert bench.fates == ["reached"]


def test_a_seek_that_finds_nothing_leaves_the_position_unknown_and_says_what_to_do() -> None:
    bench = Bench().in_conversation()
    bench.press(Button.UP)
    bench.report(count=-90_000, why=Why.NOT_FOUND, seq=bench.order.seq)
    assert bench.fates == ["failed"]
    assert "look at the switch" in bench.why
    assert grade_of(SPEC, bench.shade.knowledge.hull) is Grade.UNKNOWN
