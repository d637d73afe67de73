from dataclasses import replace
from random import Random

import pytest

from bridge.core.contract import Link
from bridge.core.spec import PowerUp, Unit
from bridge.simulate.fitting import OneWayPlan
from bridge.simulate.one_way_board import OneWayBoard
from bridge.simulate.wire import Publish
from tests.one_way_world import ALIVE, BEATS, STOP, given_link, given_plan

PLAN = given_plan(given_link(alive=ALIVE, stop=STOP), start_mm=500.0, delay_s=0.0)


def given_board(plan: OneWayPlan = PLAN) -> OneWayBoard:
    board = OneWayBoard(plan, Random(1))
    board.power_up(0.0)
    board.connected(0.0)
    return board


def told(board: OneWayBoard, payload: bytes, now_s: float, *, retained: bool = False) -> None:
    assert board.on_message("porch/target", payload, retained, now_s) == []


def test_it_goes_where_it_is_told_and_says_nothing() -> None:
    board = given_board()
    told(board, b"1000", 1.0)
    assert board.moving
    assert board.advance(10.0) == []
    assert (board.motor.count, board.moving) == (1000, False)


def test_after_power_up_it_takes_itself_to_be_at_its_retained_target() -> None:
    board = given_board()
    before = board.motor.tube.drop_mm
    told(board, b"7000", 1.0, retained=True)
    board.advance(10.0)
    assert board.motor.count == 7000
    assert board.motor.tube.drop_mm == before


def test_one_that_starts_from_zero_obeys_a_retained_target_too() -> None:
    board = given_board(replace(PLAN, power_up=PowerUp.ZERO))
    told(board, b"700", 1.0, retained=True)
    board.advance(10.0)
    assert board.motor.count == 700
    assert board.motor.tube.drop_mm > 501


def test_a_retained_target_that_is_heard_again_is_an_order() -> None:
    board = given_board()
    told(board, b"100", 1.0, retained=True)
    told(board, b"900", 2.0, retained=True)
    board.advance(10.0)
    assert board.motor.count == 900


def test_its_topics_are_those_on_which_it_obeys() -> None:
    assert given_board().topics == ["porch/target", "porch/halt"]
    assert given_board(replace(PLAN, stop_topic=None)).topics == ["porch/target"]


def test_without_power_a_cut_changes_nothing() -> None:
    board = OneWayBoard(PLAN, Random(1))
    board.power_cut(1.0)
    assert board.boot == 0


def test_a_power_cut_loses_the_count_and_what_was_still_to_do() -> None:
    board = given_board(replace(PLAN, delay_s=0.5))
    told(board, b"1000", 1.0)
    assert board.next_event_s == 1.5
    board.power_cut(1.2)
    assert not board.moving
    assert board.advance(5.0) == []
    assert board.on_message("porch/target", b"5", False, 5.0) == []
    board.power_up(6.0)
    assert (board.motor.count, board.boot) == (0, 2)


@pytest.mark.parametrize("payload", [b"", b"open", b"nan", b"inf", b"1e12", b"\xff"])
def test_what_is_no_number_moves_nothing(payload: bytes) -> None:
    board = given_board()
    told(board, payload, 1.0)
    assert not board.moving


@pytest.mark.parametrize(
    ("unit", "payload", "count"),
    [
        (Unit.STEPS, b"12.6", 13),
        (Unit.TURNS, b"0.25", 1036),
        (Unit.PERCENT_CLOSED, b"2", 1038),
        (Unit.PERCENT_OPEN, b"99", 519),
    ],
)
def test_it_reads_its_own_unit(unit: Unit, payload: bytes, count: int) -> None:
    board = given_board(replace(PLAN, unit=unit, full_steps=51_900))
    told(board, payload, 1.0)
    board.advance(20.0)
    assert board.motor.count == count


def test_it_halts_at_its_word_and_not_at_an_old_one() -> None:
    board = given_board()
    told(board, b"20000", 1.0)
    board.on_message("porch/halt", b"halt", True, 2.0)
    board.on_message("porch/halt", b"other", False, 2.0)
    assert board.motor.moving
    board.on_message("porch/halt", b"halt", False, 2.0)
    board.advance(5.0)
    assert board.next_event_s is None
    assert 0 < (board.motor.count or 0) < 5000
    board.on_message("porch/halt", b"halt", False, 6.0)
    assert board.next_event_s is None


def test_its_alive_topic_says_here_and_its_will_gone() -> None:
    board = OneWayBoard(PLAN, Random(1))
    board.power_up(0.0)
    assert board.connected(0.0) == [Publish(topic="porch/alive", payload=b"here", retain=True)]
    assert board.link(Link.LOST) == Publish(topic="porch/alive", payload=b"gone", retain=True)
    silent = given_board(replace(PLAN, alive_topic=None))
    assert silent.link(Link.UP) is None
    assert silent.connected(1.0) == []


def test_signs_of_life_come_in_their_rhythm_and_leave_no_will() -> None:
    board = given_board(given_plan(given_link(alive=BEATS)))
    assert board.link(Link.LOST) is None
    assert board.advance(3.9) == []
    assert board.advance(4.0) == [Publish(topic="porch/alive", payload=b"alive", retain=False)]


def test_it_has_no_button_and_no_wind_contact() -> None:
    board = given_board()
    for sent in (board.press(0, "up", 1.0), board.release(0, 2.0), board.wind(3.0)):
        assert sent == []
    assert not board.moving


def test_how_often_it_was_powered_up_outlives_it() -> None:
    board = OneWayBoard(PLAN, Random(1), flash={"boot": 4})
    board.power_up(0.0)
    assert board.boot == 5
    assert board.dump() == '{"boot": 5}'
    assert OneWayBoard(PLAN, Random(1), flash={"boot": "x"}).boot == 0


def test_the_motor_sleeps_or_stays_awake_at_rest_as_built() -> None:
    for rest_current in (True, False):
        board = given_board(replace(PLAN, rest_current=rest_current))
        told(board, b"500", 1.0)
        board.advance(9.0)
        assert board.motor.tube.state.energised is rest_current


@pytest.mark.parametrize("change", [{"full_steps": 0}, {"pps": 0}, {"ramp": -1}, {"beat_s": 0.0}])
def test_a_plan_that_cannot_be_built_is_refused(change: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="must be greater than 0"):
        replace(PLAN, **change)  # type: ignore[arg-type]  # the fields are named above
