"""What the broker remembers of the shades, with real processes: a new disk, an empty broker, rubbish."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.house_process import House, running_house
from tests.mosquitto import Mosquitto

TOPIC = "shade-boards/memory/hembar/study"


@pytest.fixture
def house(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[House]:
    with running_house(mosquitto, tmp_path) as running:
        running.find_top("study")
        running.ask("study", "60")
        running.wait_at_rest("study", "60")
        running.ear.wait(lambda: running.ear.latest(TOPIC) is not None, "it is remembered")
        yield running


def restart(house: House, *, new_disk: bool) -> None:
    house.bridge.stop()
    if new_disk:
        shutil.rmtree(house.bridge.state)
    up = len(house.bridge.logged("broker.session.up"))
    house.bridge.start()
    house.ear.wait(lambda: len(house.bridge.logged("broker.session.up")) > up, "it is back", within_s=15)
    house.ear.wait(lambda: house.value("study", "$state") == "ready", "the board answers", within_s=15)


def test_a_shade_at_rest_is_remembered_once(house: House) -> None:
    said = json.loads(house.ear.latest(TOPIC) or b"{}")
    assert said["low_mm"] <= house.true_drop_mm("study") <= said["high_mm"]
    moves = [each for each in house.ear.messages if each.topic == TOPIC]
    assert len(moves) <= 6, "one after each move, each question and each sleep at most"


def test_a_new_disk_starts_from_the_brokers_memory_in_doubt_and_a_reference_ends_it(house: House) -> None:
    restart(house, new_disk=True)
    house.ear.wait(lambda: house.value("study", "knowledge/grade") == "doubtful", "it is in doubt")
    assert house.claim_holds("study")
    assert abs(int(house.value("study", "opening/position")) - 60) <= 40
    house.press("study", "up")
    house.wait_at_rest("study", "100")
    house.ear.wait(lambda: house.value("study", "knowledge/grade") == "referenced", "it is known again")
    assert house.claim_holds("study")


def test_a_new_disk_without_a_memory_knows_nothing(house: House) -> None:
    house.bridge.stop()
    house.ear.say(TOPIC, b"", retain=True)
    restart(house, new_disk=True)
    house.ear.wait(lambda: house.value("study", "knowledge/grade") == "unknown", "nothing is known")
    assert house.value("study", "opening/position") == ""


@pytest.mark.parametrize(
    "payload",
    [
        b"null",
        b"[1]",
        b'{"v":1}',
        b"\xff\xfe",
        b"{" * 900,
        b'{"v":1,"term":1e999}',
        b"9" * 5000,
    ],
)
def test_a_hostile_memory_does_nothing(house: House, payload: bytes) -> None:
    house.bridge.stop()
    house.ear.say(TOPIC, payload, retain=True)
    restart(house, new_disk=True)
    house.ear.wait(lambda: bool(house.bridge.logged("broker.memory.refused")), "it is refused")
    house.ear.wait(lambda: house.value("study", "knowledge/grade") == "unknown", "nothing is known")


def test_a_memory_of_absurd_numbers_does_nothing(house: House) -> None:
    said = json.loads(house.ear.latest(TOPIC) or b"{}")
    house.bridge.stop()
    house.ear.say(TOPIC, json.dumps({**said, "base": [10**8, 10**8 + 1]}), retain=True)
    restart(house, new_disk=True)
    house.ear.wait(lambda: house.value("study", "knowledge/grade") == "unknown", "nothing is known")


def test_the_journal_is_the_authority_over_what_the_broker_says(house: House) -> None:
    before = house.value("study", "knowledge/low"), house.value("study", "knowledge/high")
    said = json.loads(house.ear.latest(TOPIC) or b"{}")
    house.bridge.stop()
    house.ear.say(
        TOPIC, json.dumps({**said, "seq": 10**6, "term": 10**6, "base": [-9000, -8000]}), retain=True
    )
    restart(house, new_disk=False)
    house.wait_at_rest("study", "60")
    now = (house.value("study", "knowledge/low"), house.value("study", "knowledge/high"))
    # A restart adds a shown tenth at most; what the broker said would have been anywhere.
    assert [float(each) for each in now] == pytest.approx([float(each) for each in before], abs=0.15)
    house.ear.wait(
        lambda: json.loads(house.ear.latest(TOPIC) or b"{}")["base"] == said["base"], "it is put right"
    )


def test_a_broker_that_lost_everything_is_filled_again(house: House) -> None:
    seen = len(house.ear.messages)
    house.mosquitto.kill()
    house.mosquitto.restart()
    house.ear.wait(
        lambda: any(each.topic == TOPIC and each.payload for each in house.ear.messages[seen:]),
        "it is remembered again",
        within_s=30,
    )
