"""The self-test of a real daemon on real brokers: what it finds is told, and gone once it is mended."""

from __future__ import annotations

import asyncio
import signal
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from bridge.core.checkup import Finding, Grade, findings, to_put_right
from bridge.settings.load import load
from bridge.shell.checkup import look_from_within, look_over
from tests.broker.test_session import proxy
from tests.house_process import House, running_house
from tests.mosquitto import Mosquitto
from tests.running import Bridge, settings_for
from tests.secured import CONFIG, Secured, secured_settings

pytestmark = pytest.mark.broker

ALERT = "homie/5/hembar/$alert/self-test"
WITHIN_S = 40.0


def test_a_retained_order_is_told_with_its_remedy_and_the_alert_goes_when_it_is_mended(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    with running_house(mosquitto, tmp_path) as house:
        topic = "shade-boards/attic-board/0/order"
        house.ear.say(topic, b"{}", retain=True)
        house.find_top("study")
        house.ear.wait(lambda: bool(house.ear.latest(ALERT)), "it is found", within_s=WITHIN_S)
        said = (house.ear.latest(ALERT) or b"").decode()
        assert said.startswith(f"retained order on {topic}: ")
        assert f"mosquitto_pub -r -n -t {topic}" in said
        (found,) = [
            each for each in house.bridge.logged("house.selftest.found") if "order" in each["subject"]
        ]
        assert found["level"] == "error"
        _boards_took_no_notice(house)
        house.ear.say(topic, b"", retain=True)
        assert house.bridge.process is not None
        house.bridge.process.send_signal(signal.SIGHUP)  # a reload looks again
        house.ear.wait(lambda: house.ear.latest(ALERT) == b"", "the alert goes", within_s=WITHIN_S)


def _boards_took_no_notice(house: House) -> None:
    reports = [each.said for each in house.ear.messages if each.topic.endswith("/report")]
    assert not [each for each in reports if each["why"] == "refused"]
    assert not house.bridge.logged("request.refused"), "what tests whether it hears is no request"
    assert not house.bridge.logged("board.message.refused")


def test_ready_does_not_wait_for_it_and_stopping_does_not_either(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    bridge = Bridge(
        settings_for(mosquitto.port, tmp_path / "house.toml"), tmp_path / "state", tmp_path / "bridge.log"
    )
    bridge.start()
    until_s = time.monotonic() + 10
    while not bridge.logged("broker.session.up"):
        assert time.monotonic() < until_s, bridge.log.read_text()
        time.sleep(0.05)
    assert not bridge.logged("house.selftest.passed") + bridge.logged("house.selftest.found")
    began_s = time.monotonic()
    assert bridge.stop() == 0
    assert time.monotonic() - began_s < 3


def faults(found: tuple[Finding, ...]) -> dict[str, str]:
    return {each.subject: each.text for each in found if each.grade is Grade.FAULT}


def test_rights_that_are_denied_in_silence_are_told_by_the_daemon(
    secured_by: Callable[[str], Secured], tmp_path: Path
) -> None:
    acl = (CONFIG / "mosquitto.acl").read_text()
    deaf = acl.replace("topic readwrite homie/5/#", "topic write homie/5/#")
    mute = deaf.replace("topic readwrite shade-boards/+/+/order", "topic read shade-boards/+/+/order")
    assert acl != deaf != mute
    bridge = Bridge(
        secured_settings(secured_by(mute), tmp_path / "house.toml"),
        tmp_path / "state",
        tmp_path / "bridge.log",
    )
    bridge.start()
    try:
        until_s = time.monotonic() + WITHIN_S
        while not (told := bridge.logged("house.selftest.found")):
            assert time.monotonic() < until_s, bridge.log.read_text()[-2000:]
            time.sleep(0.05)
    finally:
        bridge.stop()
    subjects = {each["subject"] for each in told if each["level"] == "error"}
    assert "right to hear homie/5/hembar-study/+/+/set" in subjects
    assert "right to publish shade-boards/attic-board/0/order" in subjects


def test_the_example_of_an_access_list_passes(secured_by: Callable[[str], Secured], tmp_path: Path) -> None:
    settings = secured_settings(secured_by((CONFIG / "mosquitto.acl").read_text()), tmp_path / "house.toml")
    assert faults(to_put_right(look_from_within(load(settings)))) == {}


async def test_before_mqtt_5_each_right_is_found_by_what_comes_back(
    brokers: Callable[..., Mosquitto], tmp_path: Path
) -> None:
    acl = tmp_path / "acl"
    acl.write_text(
        "topic readwrite homie/5/#\ntopic readwrite shade-boards/doctor\ntopic read shade-boards/#\n"
    )
    async with proxy(brokers(f"acl_file {acl}"), versions=(4,)) as (port, _):
        settings = load(settings_for(port, tmp_path / "house.toml"))
        found = findings(await asyncio.to_thread(look_over, settings))
    denied = faults(found)
    orders = [f"right to publish shade-boards/{board}/order" for board in ("attic-board/0", "attic-board/1")]
    assert set(orders) < denied.keys()
    assert not [subject for subject in denied if "homie" in subject]
    assert not [each for each in found if each.subject == "rights at the broker"], "all could be told"
