"""`hembar doctor` on a real house: what is well, and what each broken thing looks like."""

import json
import subprocess
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from bridge.adapters.broker.examining import Examination
from tests.house_process import House, running_house
from tests.mosquitto import Mosquitto
from tests.running import HEMBAR, opened, settings_for
from tests.secured import CONFIG, Secured, secured_broker, secured_settings

pytestmark = pytest.mark.broker

ALERT = "homie/5/hembar/$alert/forgetful-broker"
# What a board says that leaves out the keys which came later.
REPORT = (
    b'{"v":1,"boot":1,"n":1,"count":0,"kept":true,"moving":false,"awake":false,"why":"boot","seq":0,'
    b'"to":null,"answers":null,"senses":[],"pulses_per_turn":[45600,11]}'
)


def looked_over(settings: Path) -> tuple[int, dict[str, dict[str, Any]]]:
    ran = subprocess.run(
        [str(HEMBAR), "doctor", str(settings), "--json"],
        check=False,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert ran.stdout, ran.stderr
    return ran.returncode, {each["subject"]: each for each in json.loads(ran.stdout)["findings"]}


@pytest.fixture
def house(brokers: Callable[..., Mosquitto], tmp_path: Path) -> Iterator[House]:
    with running_house(brokers("persistence true", "autosave_on_changes true"), tmp_path) as running:
        running.find_top("study")
        yield running


def test_a_house_in_order_has_no_fault_and_nobody_moves_or_answers(house: House) -> None:
    seen = len(house.ear.messages)
    code, found = looked_over(house.bridge.settings)
    faults = [each for each in found.values() if each["grade"] == "fault"]
    assert (code, faults) == (0, [])
    assert found["rights at the broker"]["grade"] == "fine"
    assert found["strangers"]["grade"] == "advice", "this broker lets everybody in"
    assert found["broker's memory"]["grade"] == "untold"
    later = house.ear.messages[seen:]
    reports = [each.said for each in later if each.topic.endswith("/report")]
    assert not [each for each in reports if each["why"] in ("told", "refused")], "boards took no notice"
    assert {each.payload for each in later if each.topic.endswith("/order")} == {b"{}"}, "nothing is ordered"
    assert not house.bridge.logged("board.message.refused")
    house.ask("study", "50")
    house.wait_at_rest("study", "50")


def test_a_broker_that_keeps_what_is_retained_is_known_after_its_restart(house: House) -> None:
    looked_over(house.bridge.settings)
    sessions = len(house.bridge.logged("broker.session.up"))
    time.sleep(2)  # the mark, and the broker's uptime, are told in whole seconds
    house.mosquitto.restart()
    house.ear.wait(
        lambda: len(house.bridge.logged("broker.session.up")) > sessions, "it is back", within_s=20
    )
    _, found = looked_over(house.bridge.settings)
    assert found["broker's memory"]["grade"] == "fine", found["broker's memory"]
    assert not house.bridge.logged("broker.memory.forgotten")


def test_a_broker_that_forgets_is_told_by_the_bridge_itself(mosquitto: Mosquitto, tmp_path: Path) -> None:
    with running_house(mosquitto, tmp_path) as house:
        house.find_top("study")
        mosquitto.kill()
        mosquitto.restart()
        house.ear.wait(
            lambda: bool(house.bridge.logged("broker.memory.forgotten")), "it is told", within_s=20
        )
        house.ear.wait(lambda: b"persistence" in (house.ear.latest(ALERT) or b""), "and shown")
        code, found = looked_over(house.bridge.settings)
        assert (code, found["broker's memory"]["grade"]) == (1, "fault")


@pytest.mark.parametrize("persistent", [True, False])
def test_after_a_restart_of_broker_and_bridge_a_broker_that_forgets_is_told(
    brokers: Callable[..., Mosquitto], tmp_path: Path, persistent: bool
) -> None:
    keeping = ("persistence true",) if persistent else ()
    with running_house(brokers(*keeping), tmp_path) as house:
        house.find_top("study")
        house.bridge.kill()
        house.mosquitto.restart()
        house.ear.wait(lambda: house.ear.connected, "the ear is back", within_s=20)
        seen, sessions = len(house.ear.messages), len(house.bridge.logged("broker.session.up"))
        house.bridge.start()
        house.ear.wait(
            lambda: len(house.bridge.logged("broker.session.up")) > sessions, "it is back", within_s=20
        )
        house.wait_answered_anew("study", seen)
        told = bool(house.bridge.logged("broker.memory.forgotten"))
        assert told is not persistent


def test_retained_orders_and_requests_and_a_strange_board_are_found(house: House) -> None:
    topic, wish = "shade-boards/attic-board/0/order", "homie/5/hembar-study/opening/position/set"
    house.ear.say(topic, b"{}", retain=True)
    house.ear.say(wish, b"40", retain=True)
    house.ear.say("shade-boards/shed/link", b'{"link":"up","boot":1}', retain=True)
    code, found = looked_over(house.bridge.settings)
    assert code == 1
    assert found[f"retained order on {topic}"]["grade"] == "fault"
    assert found[f"retained request on {wish}"]["grade"] == "advice"
    assert found["board shed"]["text"] == "it is on the broker and not in the settings"


def test_two_bridges_that_both_claim_the_house_are_found(mosquitto: Mosquitto, tmp_path: Path) -> None:
    settings, topic = settings_for(mosquitto.port, tmp_path / "house.toml"), "shade-boards/claim"
    with opened(mosquitto.host, mosquitto.port) as ear:
        ear.say(topic, b'{"bridge":"hembar-attic","term":4}', retain=True)
        looking = subprocess.Popen([str(HEMBAR), "doctor", str(settings), "--json"], stdout=subprocess.PIPE)
        while looking.poll() is None:  # the other one goes on claiming it, as a bridge does that is answered
            ear.say(topic, b'{"bridge":"hembar-cellar","term":4}')
            time.sleep(0.2)
        said, _ = looking.communicate()
    found = {each["subject"]: each for each in json.loads(said)["findings"]}
    assert looking.returncode == 1
    assert found["bridge in charge"]["text"] == "2 bridges claim this house: hembar-attic, hembar-cellar"


def test_boards_on_an_old_contract_or_a_later_one_are_found(mosquitto: Mosquitto, tmp_path: Path) -> None:
    settings = settings_for(mosquitto.port, tmp_path / "house.toml")
    with opened(mosquitto.host, mosquitto.port) as ear:
        ear.say("shade-boards/attic-board/0/report", REPORT, retain=True)
        ear.say("shade-boards/attic-board/1/report", REPORT.replace(b'"v":1', b'"v":2'), retain=True)
        ear.say("shade-boards/stair-board/0/report", REPORT.replace(b"[45600,11]", b"[4000,1]"), retain=True)
        code, found = looked_over(settings)
    assert code == 1
    older = found["board attic-board, channel 0"]
    assert (older["grade"], older["text"]) == (
        "advice",
        "its program is older: its reports leave out term, kept_since, stalls",
    )
    assert found["board attic-board, channel 1"]["text"] == "it speaks contract version 2, the bridge 1"
    assert "it counts 4000 pulses a turn" in found["board stair-board, channel 0"]["text"]


@pytest.mark.parametrize(("days", "grade"), [(5, "fault"), (20, "advice"), (90, "fine")])
def test_a_certificate_that_is_about_to_expire_is_found(days: int, grade: str, tmp_path: Path) -> None:
    until = datetime.now(UTC) + timedelta(days=days, hours=1)
    broker = secured_broker(tmp_path, boards=("attic-board",), until=until)
    try:
        _, found = looked_over(secured_settings(broker, tmp_path / "house.toml"))
    finally:
        broker.stop()
    for whose in ("the broker", "the bridge"):
        assert found[f"certificate of {whose}"]["grade"] == grade
        assert f"{until:%Y-%m-%d}" in found[f"certificate of {whose}"]["text"]


def test_a_bound_that_swallows_descriptions_is_found(
    brokers: Callable[..., Mosquitto], tmp_path: Path
) -> None:
    broker = brokers("max_packet_size 300")
    code, found = looked_over(settings_for(broker.port, tmp_path / "house.toml"))
    assert code == 1
    assert found["message size"]["grade"] == "fault"
    assert "it takes 300" in found["message size"]["text"]


def test_without_a_broker_it_says_so(tmp_path: Path) -> None:
    ran = subprocess.run(
        [str(HEMBAR), "doctor", str(settings_for(9, tmp_path / "house.toml"))],
        check=False,
        capture_output=True,
        text=True,
        timeout=30,
    )
    assert ran.returncode == 69
    assert "start the broker" in ran.stderr


def test_each_right_that_the_broker_denies_in_silence_is_named(
    secured_by: Callable[[str], Secured], tmp_path: Path
) -> None:
    whole = (CONFIG / "mosquitto.acl").read_text()
    for number, missing in enumerate(("order", "memory", "homie")):
        lines = [
            line
            for line in whole.splitlines()
            if not (line.startswith("topic readwrite") and f"/{missing}" in f"/{line.split()[-1]}")
        ]
        broker = secured_by("\n".join(lines))
        with Examination(broker.board_address("attic-board")) as board:
            assert board.allowed("shade-boards/attic-board/0/report", REPORT, retain=True)
        settings = secured_settings(broker, tmp_path / f"house-{number}.toml")
        code, found = looked_over(settings)
        denied = [subject for subject in found if subject.startswith("right to publish ")]
        assert code == 1
        assert denied, found
        assert all(f"/{missing}" in f"/{subject.split()[-1]}" for subject in denied), denied
        assert found["strangers"]["text"] == "not let in"
