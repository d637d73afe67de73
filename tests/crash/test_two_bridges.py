"""Two bridges for one house, as real processes with a cut between: boards obey the one in charge."""

from __future__ import annotations

import json
import os
import signal
import time
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.house_process import House, running_house
from tests.mosquitto import Mosquitto
from tests.proxy import Proxy, relayed
from tests.running import Bridge, settings_for

ALERT = "homie/5/hembar/$alert/second-bridge"
FIRST_ID = 'client_id = "hembar-demo"'


@dataclass
class Pair:
    """The house with its first bridge behind a wire that can be cut, and a second one, not started yet."""

    house: House
    wire: Proxy
    second: Bridge

    @property
    def first(self) -> Bridge:
        return self.house.bridge

    def claim(self) -> tuple[str, int]:
        said = json.loads(self.house.ear.latest("shade-boards/claim") or b"{}")
        return str(said.get("bridge", "")), int(said.get("term", 0))

    def wait_in_charge(self, stem: str) -> None:
        self.house.ear.wait(lambda: self.claim()[0].startswith(stem), f"{stem} claims the house", within_s=20)

    def wait_stood_down(self, bridge: Bridge, *, times: int = 1) -> None:
        self.house.ear.wait(
            lambda: len(bridge.logged("house.charge.lost")) >= times, "it stands down", within_s=40
        )


@pytest.fixture
def pair(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[Pair]:
    with ExitStack() as stack:
        wire = stack.enter_context(relayed(mosquitto.port))
        house = stack.enter_context(running_house(mosquitto, tmp_path))
        house.find_top("study")
        house.bridge.stop()
        settings_for(wire.port, house.bridge.settings)
        seen = len(house.bridge.logged("broker.session.up"))
        since = len(house.ear.messages)
        house.bridge.start()
        house.ear.wait(
            lambda: len(house.bridge.logged("broker.session.up")) > seen, "it is back", within_s=15
        )
        house.ear.wait(lambda: b'"term": 2' in (house.ear.latest("shade-boards/claim") or b""), "it claims")
        house.wait_answered_anew("study", since)
        time.sleep(1)
        text = settings_for(mosquitto.port, tmp_path / "second.toml").read_text()
        (tmp_path / "second.toml").write_text(text.replace(FIRST_ID, 'client_id = "hembar-two"'))
        second = Bridge(tmp_path / "second.toml", tmp_path / "second-state", tmp_path / "second.log")
        try:
            yield Pair(house, wire, second)
        finally:
            if second.process is not None:
                second.stop()


def start_second(pair: Pair) -> None:
    pair.second.start()
    pair.wait_in_charge("hembar-two")
    pair.house.ear.wait(lambda: pair.claim()[1] > 1, "the old claim is outbid", within_s=10)


def obeyed_terms(pair: Pair, since: int) -> list[int]:
    """Return the terms under which the study's board says that it has set off or arrived."""
    topic = "shade-boards/attic-board/0/report"
    said = [each.said for each in pair.house.ear.messages[since:] if each.topic == topic and each.payload]
    return [int(each["term"]) for each in said if each["why"] in ("started", "arrived")]


def test_a_second_bridge_takes_charge_and_the_first_says_that_it_has_stood_down(pair: Pair) -> None:
    before = pair.claim()
    start_second(pair)
    pair.wait_stood_down(pair.first)
    assert pair.claim()[1] > before[1]
    pair.house.ear.wait(
        lambda: b"hembar-demo has stood down" in (pair.house.ear.latest(ALERT) or b""), "the tree says so"
    )
    pair.house.ear.wait(
        lambda: pair.house.ear.latest("homie/5/hembar/$state") == b"ready", "the tree is the second's now"
    )
    assert pair.second.logged("house.charge.lost") == []


def test_the_first_orders_nothing_once_it_has_stood_down(pair: Pair) -> None:
    start_second(pair)
    pair.wait_stood_down(pair.first)
    ear, term = pair.house.ear, pair.claim()[1]
    ear.wait(
        lambda: bool(pair.second.logged("shade.memory.recalled")), "the second has its memory", within_s=15
    )
    since = len(ear.messages)
    pair.house.press("study", "up")
    ear.wait(lambda: bool(ear.motion_orders("attic-board", 0, since=since)), "it is ordered up", within_s=10)
    ear.say("homie/5/hembar-study/opening/position/set", "70")
    ear.wait(lambda: pair.house.value("study", "opening/position") == "70", "it gets there", within_s=60)
    assert {each["term"] for each in ear.motion_orders("attic-board", 0, since=since)} == {term}


def test_a_bridge_that_was_cut_off_finds_the_other_in_charge_when_it_comes_back(pair: Pair) -> None:
    ear = pair.house.ear
    pair.wire.cut()
    since = len(ear.messages)
    start_second(pair)
    pair.house.wait_answered_anew("study", since)
    assert pair.first.logged("house.charge.lost") == []
    since = len(ear.messages)
    pair.house.press("study", "up")
    time.sleep(14)  # past the keepalive: the broker has given the first up
    pair.wire.mend()
    pair.wait_stood_down(pair.first)
    time.sleep(1)
    term = pair.claim()[1]
    assert pair.claim()[0].startswith("hembar-two")
    assert {each["term"] for each in ear.motion_orders("attic-board", 0, since=since)} <= {term}
    assert pair.second.logged("house.charge.lost") == []


def test_an_order_that_was_held_up_in_a_cut_is_refused_by_the_board(pair: Pair) -> None:
    """What the first sent into the cut arrives after the second has taken over."""
    ear = pair.house.ear
    pair.house.ask("study", "50")
    pair.house.wait_at_rest("study", "50")
    first_term = pair.claim()[1]
    ear.say("homie/5/hembar-study/opening/position/set", "20")
    ear.wait(lambda: pair.house.motion("study") == "lowering", "it sets off")
    pair.wire.cut()
    start_second(pair)
    ear.wait(
        lambda: bool(ear.orders("attic-board", 0)) and _told(ear, pair.claim()[1]),
        "the boards know",
        within_s=15,
    )
    since = len(ear.messages)
    pair.wire.mend()
    pair.wait_stood_down(pair.first)
    time.sleep(1)
    late = [each for each in ear.motion_orders("attic-board", 0, since=since) if each["term"] == first_term]
    started = [term for term in obeyed_terms(pair, since) if term <= first_term]
    assert started == [], late


def _told(ear: object, term: int) -> bool:
    orders = ear.orders("attic-board", 0)  # type: ignore[attr-defined]  # the ear of the house
    return any(each.said["term"] == term for each in orders)


def test_a_bridge_that_was_frozen_meanwhile_stands_down_when_it_wakes(pair: Pair) -> None:
    assert pair.first.process is not None
    os.kill(pair.first.process.pid, signal.SIGSTOP)
    try:
        start_second(pair)
    finally:
        os.kill(pair.first.process.pid, signal.SIGCONT)
    pair.wait_stood_down(pair.first)
    assert pair.second.logged("house.charge.lost") == []
    assert pair.claim()[0].startswith("hembar-two")


def test_a_restart_puts_the_first_in_charge_again(pair: Pair) -> None:
    start_second(pair)
    pair.wait_stood_down(pair.first)
    pair.house.ear.wait(lambda: bool(pair.house.ear.latest(ALERT)), "the tree says so")
    pair.first.stop()
    pair.house.ear.wait(lambda: pair.house.ear.latest(ALERT) == b"", "its alert is gone")
    pair.first.start()
    pair.wait_in_charge("hembar-demo")
    pair.wait_stood_down(pair.second)
    assert len(pair.first.logged("house.charge.lost")) == 1
    assert pair.first.logged("shade.journal.outdated"), "the second may have moved the shades"
    pair.house.ear.wait(lambda: pair.house.value("study", "$state") == "ready", "it answers", within_s=20)
    assert pair.house.claim_holds("study")


def test_two_bridges_with_one_client_id_end_with_one_in_charge_and_at_peace(pair: Pair) -> None:
    text = pair.second.settings.read_text().replace('client_id = "hembar-two"', FIRST_ID)
    pair.second.settings.write_text(text)
    before = pair.claim()
    pair.second.start()
    lost = [pair.first, pair.second]
    pair.house.ear.wait(
        lambda: any(each.logged("house.charge.lost") for each in lost), "one of them stands down", within_s=40
    )
    time.sleep(8)
    assert sum(bool(each.logged("house.charge.lost")) for each in lost) == 1
    name, term = pair.claim()
    assert term > before[1] or name == before[0]
    sessions = [len(each.logged("broker.session.up")) for each in lost]
    time.sleep(4)
    assert [len(each.logged("broker.session.up")) for each in lost] == sessions
    pair.house.ear.wait(lambda: pair.house.value("study", "$state") == "ready", "it is served", within_s=20)
    assert pair.house.ear.latest("homie/5/hembar/$state") == b"ready"
