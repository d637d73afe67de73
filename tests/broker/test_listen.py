"""A dashboard's own topics move shades: real broker, daemon and boards, `mosquitto_pub` as the dashboard."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.house_process import House, running_house
from tests.mosquitto import Mosquitto
from tests.running import HEMBAR

TABLES = """
[groups.attic-pair]
members = ["study", "kitchen"]

[[listen]]
topic = "test/pair"
group = "attic-pair"
says = "percent open"

[[listen]]
topic = "test/slider"
shade = "study"
says = "percent open"
source = "kitchen panel"

[[listen]]
topic = "test/closed"
shade = "study"
says = "fraction closed"

[[listen]]
topic = "test/speaker"
shade = "study"
pointer = "/slots/0/said"
words = { "tea time" = 65, "halt" = "stop", "let the sun in" = "up" }

[[listen]]
topic = "test/kept"
shade = "study"
says = "byte open"
retained = true
"""

WARNINGS = "homie/5/hembar-study/$log/warn"


@pytest.fixture
def house(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[House]:
    with running_house(mosquitto, tmp_path, more=TABLES) as running:
        running.find_top("study")
        yield running


def publish(house: House, topic: str, message: str, *options: str) -> None:
    """Publish as any dashboard would, with the broker's own tool."""
    program = shutil.which("mosquitto_pub")
    assert program is not None, "mosquitto_pub comes with mosquitto-clients"
    where = ["-h", house.mosquitto.host, "-p", str(house.mosquitto.port)]
    subprocess.run([program, *where, "-q", "1", "-t", topic, "-m", message, *options], check=True, timeout=10)


def target(house: House) -> str:
    return house.value("study", "opening/position/$target")


def come_back(house: House) -> int:
    """Start the bridge again, and wait until it hears; return how many messages had come before."""
    since = len(house.ear.messages)
    seen = len(house.bridge.logged("broker.session.up"))
    house.bridge.start()
    house.ear.wait(
        lambda: len(house.bridge.logged("broker.session.up")) > seen, "its session stands", within_s=20
    )
    return since


def refusals(house: House, count: int) -> list[dict[str, Any]]:
    house.ear.wait(lambda: len(house.bridge.logged("listen.message.refused")) >= count, "it is refused")
    return house.bridge.logged("listen.message.refused")


def test_a_slider_moves_the_shade_and_is_named_in_the_reason(house: House) -> None:
    publish(house, "test/slider", "40")
    house.wait_at_rest("study", "40")
    assert abs(house.true_percent("study") - 40) < 1
    assert house.value("study", "reason/text") == "40 % asked by kitchen panel"


def test_a_slider_for_a_group_moves_each_of_its_shades(house: House) -> None:
    house.find_top("kitchen")
    publish(house, "test/pair", "70")
    house.wait_at_rest("study", "70")
    house.wait_at_rest("kitchen", "70")


def test_a_fraction_that_grows_downwards_is_turned_round(house: House) -> None:
    publish(house, "test/closed", "0.25")
    house.wait_at_rest("study", "75")


def test_a_word_at_a_json_pointer_moves_and_another_stops_it(house: House) -> None:
    publish(house, "test/speaker", json.dumps({"slots": [{"said": "tea time"}]}))
    house.ear.wait(lambda: house.motion("study") == "lowering", "it sets off")
    publish(house, "test/speaker", json.dumps({"slots": [{"said": "halt"}]}))
    house.ear.wait(lambda: house.motion("study") == "still", "it stands still", within_s=5)
    assert house.true_percent("study") > 66


def test_rubbish_moves_nothing_and_is_logged(house: House) -> None:
    before = len(house.ear.motion_orders("attic-board", 0))
    for rubbish in ("NaN", "101", "-1", "0x28", "١٢", "", "4" * 100_000, '{"a": 1}'):
        publish(house, "test/slider", rubbish)
    publish(house, "test/closed", "40")
    publish(house, "test/speaker", json.dumps({"slots": [{"said": "open"}]}))
    told = refusals(house, 3)
    assert [each["problem"] for each in told] == [
        "'NaN' is not a number",
        "'40' is not between 0 and 1",
        "'open' is none of tea time, halt, let the sun in",
    ]
    line = b"a message on test/slider was refused: 'NaN' is not a number"
    house.ear.wait(
        lambda: any((each.topic, each.payload) == (WARNINGS, line) for each in house.ear.messages),
        "whoever watches the shade is told",
    )
    publish(house, "test/slider", "90")
    house.wait_at_rest("study", "90")
    assert len(house.ear.motion_orders("attic-board", 0)) == before + 1


def test_a_retained_message_is_refused_unless_the_owner_accepts_it(house: House) -> None:
    publish(house, "test/slider", "30", "-r")
    told = refusals(house, 1)
    assert told[0]["problem"] == "it is retained: a wish of unknown age moves no shade"
    assert house.true_percent("study") > 99
    publish(house, "test/kept", "204", "-r")
    house.wait_at_rest("study", "80")


def test_a_retained_message_moves_the_shade_once_whatever_restarts(house: House) -> None:
    publish(house, "test/kept", "204", "-r")
    house.wait_at_rest("study", "80")
    house.ask("study", "50")
    house.wait_at_rest("study", "50")
    assert house.bridge.stop() == 0
    before = len(house.ear.motion_orders("attic-board", 0))
    house.wait_answered_anew("study", come_back(house))
    publish(house, "test/kept", "178")
    house.wait_at_rest("study", "70")
    assert [order["do"] for order in house.ear.motion_orders("attic-board", 0)[before:]] == ["go"]


def test_a_retained_message_of_the_time_of_absence_counts_where_accepted(house: House) -> None:
    assert house.bridge.stop() == 0
    publish(house, "test/kept", "153", "-r")
    publish(house, "test/slider", "10", "-r")
    come_back(house)
    house.wait_at_rest("study", "60")


def test_listening_in_proposes_what_then_works(house: House) -> None:
    words = ["listen-in", "panel/json", "--shade", "study", "--seconds", "2", "--json"]
    with subprocess.Popen(
        [str(HEMBAR), *words, "--broker", f"{house.mosquitto.host}:{house.mosquitto.port}"],
        stdout=subprocess.PIPE,
    ) as process:
        house.ear.wait(lambda: _subscribed(house, "panel/json"), "it listens")
        for level in (0, 80, 255):
            publish(house, "panel/json", json.dumps({"battery": 90, "level": level}))
        out, _ = process.communicate(timeout=20)
    assert process.returncode == 0
    said = json.loads(out)
    assert (said["heard"], said["says"], said["pointer"]) == (3, "byte open", "/level")
    assert house.bridge.stop() == 0
    with house.bridge.settings.open("a", encoding="utf-8") as settings:
        settings.write(f"\n{said['toml']}\n")
    house.wait_answered_anew("study", come_back(house))
    publish(house, "panel/json", json.dumps({"battery": 90, "level": 102}))
    house.wait_at_rest("study", "40")


def _subscribed(house: House, topic: str) -> bool:
    return f"\t{topic} (QoS 1)" in house.mosquitto.log
