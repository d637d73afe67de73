"""A finger on the button at a board: a person's request with a hold for the whole house, and no fault."""

from __future__ import annotations

import asyncio
import contextlib
import threading
import time
from collections.abc import Iterator
from concurrent.futures import Future
from pathlib import Path

import pytest

from bridge.simulate.client import LiveBoard, SimulatedHouse
from bridge.simulate.demo_house import DEMO_HOUSE
from tests.mosquitto import Mosquitto
from tests.running import Bridge, Ear, opened, settings_for

pytestmark = pytest.mark.broker
LANDING = "homie/5/hembar-landing"


class Landing:
    """The landing's board in a thread of its own, with its button at hand."""

    def __init__(self, house: SimulatedHouse, loop: asyncio.AbstractEventLoop) -> None:
        self._house, self._loop = house, loop

    @property
    def board(self) -> LiveBoard:
        return self._house.boards["stair-board"]

    def press(self, button: str) -> None:
        self._loop.call_soon_threadsafe(self.board.press, 0, button)

    def release(self) -> None:
        self._loop.call_soon_threadsafe(self.board.release, 0)

    def percent(self) -> float:
        found: Future[float] = Future()
        self._loop.call_soon_threadsafe(lambda: found.set_result(self.board.truth(0).drop_mm))
        return 100 * (1 - found.result(5) / 2300.0)


@contextlib.contextmanager
def landing_on(broker: Mosquitto, state: Path) -> Iterator[Landing]:
    loop = asyncio.new_event_loop()
    thread = threading.Thread(target=loop.run_forever)
    thread.start()
    house = SimulatedHouse(DEMO_HOUSE, state, host=broker.host, port=broker.port, only=["stair-board"])
    asyncio.run_coroutine_threadsafe(house.__aenter__(), loop).result(10)
    try:
        yield Landing(house, loop)
    finally:
        asyncio.run_coroutine_threadsafe(house.__aexit__(None, None, None), loop).result(10)
        loop.call_soon_threadsafe(loop.stop)
        thread.join(10)
        loop.close()


def shown(ear: Ear, levels: str) -> str:
    return (ear.latest(f"{LANDING}/{levels}") or b"").decode()


def referenced_at_the_top(ear: Ear, landing: Landing) -> None:
    """Hold the button until the hem bar is at its mark, and confirm it."""
    ear.wait(lambda: shown(ear, "$state") == "ready", "its board answers", within_s=20)
    landing.press("up")
    ear.wait(lambda: landing.percent() > 98.5, "it has risen", within_s=60)
    landing.release()
    while landing.percent() < 99.95:  # short presses to the mark, as a person does
        landing.press("up")
        time.sleep(0.05)
        landing.release()
        time.sleep(0.1)
    ear.wait(lambda: shown(ear, "opening/motion") == "still", "it stands still")
    ear.say(f"{LANDING}/knowledge/confirm/set", "upper")
    ear.wait(lambda: shown(ear, "knowledge/grade") == "referenced", "it is referenced")


def test_a_button_at_the_board_is_a_request_by_hand_with_a_hold_and_no_fault(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    settings = settings_for(mosquitto.port, tmp_path / "house.toml")
    bridge = Bridge(settings, tmp_path / "state", tmp_path / "bridge.log")
    with (
        opened(mosquitto.host, mosquitto.port) as ear,
        landing_on(mosquitto, tmp_path / "truth") as landing,
    ):
        bridge.start()
        try:
            referenced_at_the_top(ear, landing)
            ear.say(f"{LANDING}/opening/position/set", "80")
            ear.wait(lambda: shown(ear, "opening/motion") == "lowering", "it goes down")
            landing.press("up")
            ear.wait(
                lambda: shown(ear, "reason/text") == "moved by the button at its board", "the hand is told"
            )
            landing.press("stop")
            landing.release()
            ear.wait(lambda: shown(ear, "opening/motion") == "still", "it stands still")
            assert shown(ear, "reason/until") > "2026"
            told = [each for each in ear.messages if each.topic.startswith(f"{LANDING}/$alert/")]
            pressed = [each for each in told if each.payload and not each.retained]
            assert [each for each in pressed if each.topic.endswith(("/request", "/board", "/drive"))] == []
            fates = [each["fate"] for each in bridge.logged("request.ended") if each["shade"] == "landing"]
            assert fates == ["superseded"]
            low, high = float(shown(ear, "knowledge/low")), float(shown(ear, "knowledge/high"))
            assert low <= landing.percent() <= high
        finally:
            bridge.stop()
