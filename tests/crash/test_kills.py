"""SIGKILL on the way, of real processes: every band then holds the truth and nothing moves unasked."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.house_process import House, running_house
from tests.mosquitto import Mosquitto

SHADES = ("study", "kitchen", "landing")


@pytest.fixture
def house(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[House]:
    with running_house(mosquitto, tmp_path) as running:
        running.find_top("study")
        yield running


def set_off(house: House) -> None:
    """Send the study far down and return while it is well on its way."""
    house.ask("study", "15")
    house.ear.wait(lambda: house.motion("study") == "lowering", "it sets off")
    time.sleep(1.5)
    assert 20 < house.true_percent("study") < 95


def assert_honest(house: House) -> None:
    for shade in SHADES:
        assert house.claim_holds(shade), shade


def assert_still(house: House, since: int) -> None:
    """Nothing is ordered and nothing moves for a while."""
    drops = [house.true_drop_mm(shade) for shade in SHADES]
    time.sleep(2.0)
    assert [house.true_drop_mm(shade) for shade in SHADES] == drops
    for board, channel in (("attic-board", 0), ("attic-board", 1), ("stair-board", 0)):
        assert house.ear.motion_orders(board, channel, since=since) == []


def test_a_killed_daemon_takes_the_move_up_again_and_asks_for_none_of_its_own(house: House) -> None:
    set_off(house)
    house.bridge.kill()
    time.sleep(0.5)
    before = len(house.ear.messages)
    house.bridge.start()
    house.wait_at_rest("study", "15")
    assert_honest(house)
    # The board never stopped obeying the first order, so no second one is due.
    assert house.ear.motion_orders("attic-board", 0, since=before) == []
    ends = [line for line in house.bridge.logged("request.ended") if line["want"] == "15 %"]
    assert [line["fate"] for line in ends] == ["reached"]


def test_a_board_killed_on_its_way_comes_back_in_doubt_and_stays_where_it_is(house: House) -> None:
    set_off(house)
    house.boards["attic-board"].kill()
    house.ear.wait(lambda: house.value("study", "$state") == "lost", "the board is missed", within_s=15)
    assert_honest(house)
    before = len(house.ear.messages)
    house.boards["attic-board"].start()
    house.ear.wait(lambda: house.value("study", "$state") == "ready", "the board is back", within_s=15)
    house.ear.wait(lambda: house.value("study", "knowledge/grade") == "doubtful", "the doubt is said")
    assert_honest(house)
    assert_still(house, before)
    assert "take a reference" in house.value("study", "$alert/reference")
    assert "lost its power" in house.value("study", "$alert/request")
    house.press("study", "up")
    house.ear.wait(lambda: house.value("study", "opening/position") == "100", "it goes up", within_s=40)
    assert_honest(house)


def test_a_board_killed_at_rest_keeps_its_count(house: House) -> None:
    house.ask("study", "60")
    house.wait_at_rest("study", "60")
    house.boards["attic-board"].kill()
    house.ear.wait(lambda: house.value("study", "$state") == "lost", "the board is missed", within_s=15)
    before = len(house.ear.messages)
    house.boards["attic-board"].start()
    house.ear.wait(lambda: house.value("study", "$state") == "ready", "the board is back", within_s=15)
    assert house.value("study", "knowledge/grade") in ("referenced", "reckoned")
    assert_honest(house)
    assert_still(house, before)


def test_a_killed_broker_loses_what_it_retained_and_nothing_else(house: House) -> None:
    set_off(house)
    house.mosquitto.kill()
    time.sleep(1.0)
    house.mosquitto.restart()
    house.ear.wait(lambda: house.ear.connected, "the test hears the new broker", within_s=15)
    house.ear.wait(
        lambda: house.value("study", "opening/position") == "15" and house.motion("study") == "still",
        "the move ends as asked",
        within_s=40,
    )
    # The broker was gone for this test too: whether the board was asked anew shows in the tree only.
    house.ear.wait(lambda: house.value("study", "$state") == "ready", "the board answers", within_s=30)
    assert_honest(house)
    assert abs(house.true_percent("study") - 15) < 1


def test_all_three_killed_at_once_leave_doubt_and_no_motion(house: House) -> None:
    set_off(house)
    house.boards["attic-board"].kill()
    house.bridge.kill()
    house.mosquitto.kill()
    time.sleep(0.5)
    house.mosquitto.restart()
    house.ear.wait(lambda: house.ear.connected, "the test hears the new broker", within_s=15)
    before = len(house.ear.messages)
    house.bridge.start()
    house.boards["attic-board"].start()
    house.ear.wait(lambda: house.value("study", "$state") == "ready", "all are back", within_s=20)
    house.ear.wait(lambda: house.value("study", "knowledge/grade") == "doubtful", "the doubt is said")
    assert_honest(house)
    assert_still(house, before)
