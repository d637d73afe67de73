"""The device tree as an outside controller sees it: npm's node-homie 5.0.0, which is not ours.

It needs Node.js and the packages of `tests/broker/homie` in a folder that NODE_PATH names:
`cp tests/broker/homie/package*.json DIR && npm ci --prefix DIR && NODE_PATH=DIR/node_modules`.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from tests.homie_rules import tree_faults
from tests.house_process import House, running_house
from tests.mosquitto import Mosquitto

CONTROLLER = Path(__file__).parent / "homie" / "controller.js"
SHADES, GROUPS = ("study", "kitchen", "landing"), ("attic", "house")
MORE = """
[groups.attic]
name = "Attic"
members = ["study", "kitchen"]
[groups.house]
members = ["study", "kitchen", "landing"]
"""
# What a house shows, written down apart from the program: name, datatype, settable, kept by the broker.
OPENING = {
    "opening/position": ("integer", True, True),
    "opening/motion": ("enum", False, True),
    "opening/button": ("enum", True, False),
    "opening/nudge": ("integer", True, False),
}
SHADE = {
    **OPENING,
    "knowledge/grade": ("enum", False, True),
    "knowledge/low": ("float", False, True),
    "knowledge/high": ("float", False, True),
    "knowledge/width": ("float", False, True),
    "knowledge/approach": ("enum", True, False),
    "knowledge/confirm": ("enum", True, False),
    "knowledge/refer": ("enum", True, False),
    "reason/text": ("string", False, True),
    "reason/until": ("datetime", False, True),
    "reason/release": ("enum", True, False),
    "service/active": ("boolean", False, True),
}
GROUP = {
    **OPENING,
    "reason/text": ("string", False, True),
    "reason/release": ("enum", True, False),
    "members/devices": ("string", False, True),
}
BRIDGE = {
    "rules/pause": ("boolean", True, True),
    "service/lock": ("boolean", True, True),
    "service/charge": ("boolean", False, True),
    "service/term": ("integer", False, True),
    "software/version": ("string", False, True),
}


def node() -> str:
    """Return where Node.js is, or skip the test when it or the packages are missing; with CI set, fail it."""
    found = shutil.which("node")
    command = [found or "node", "-e", "require('node-homie')"]
    if found and subprocess.run(command, capture_output=True, check=False).returncode == 0:
        return found
    missing = "Node.js or its package node-homie is not there (see the head of this file)"
    if os.environ.get("CI"):
        pytest.fail(missing)
    pytest.skip(missing)


def visit(port: int, *sets: tuple[str, str, str, str, str | None]) -> dict[str, Any]:
    """Let the controller read everything and set something; it fails on whatever it can't accept."""
    command = [node(), str(CONTROLLER), str(port), "hembar", "6", json.dumps(sets)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=180, check=False)
    assert done.returncode == 0, done.stderr
    assert "reject" not in done.stderr.lower(), done.stderr
    said: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return said


@pytest.fixture
def house(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[House]:
    node()
    with running_house(mosquitto, tmp_path, more=MORE) as running:
        for shade in SHADES:
            running.ear.wait(partial(running.answered, shade), f"{shade} answers", within_s=30)
        yield running


def told(device: dict[str, Any]) -> dict[str, tuple[str, bool, bool]]:
    return {
        path: (said["datatype"], bool(said["settable"]), said["retained"] is not False)
        for path, said in device["properties"].items()
    }


def test_it_finds_every_device_node_and_property_and_sets_them(house: House) -> None:
    house.find_top("study")
    house.find_top("kitchen")
    said = visit(
        house.mosquitto.port,
        ("hembar-study", "opening", "position", "60", "60"),
        ("hembar-attic", "opening", "position", "50", "50"),
        ("hembar-kitchen", "opening", "button", "stop", None),
        ("hembar", "service", "lock", "true", "true"),
        ("hembar", "service", "lock", "false", "false"),
    )
    found = said["found"]
    expected = {"hembar": BRIDGE}
    expected |= {f"hembar-{shade}": SHADE for shade in SHADES} | {
        f"hembar-{group}": GROUP for group in GROUPS
    }
    assert {device: told(found[device]) for device in found} == expected
    assert found["hembar"]["children"] == [device for device in expected if device != "hembar"]
    for device in found["hembar"]["children"]:
        kind = "group" if device.removeprefix("hembar-") in GROUPS else "shade"
        assert (found[device]["type"], found[device]["parent"], found[device]["root"]) == (
            kind,
            "hembar",
            "hembar",
        )
        assert found[device]["state"] == "ready"
    invalid = {
        f"{device}/{path}": each["invalid"]
        for device, content in found.items()
        for path, each in content["properties"].items()
        if each["invalid"]
    }
    assert invalid == {}
    values = {path: each["value"] for path, each in found["hembar-study"]["properties"].items()}
    assert (values["opening/position"], values["opening/motion"]) == ("100", "still")
    assert values["knowledge/grade"] == "referenced"
    assert found["hembar-house"]["properties"]["opening/position"]["value"] is None
    assert "take a reference" in found["hembar-landing"]["alerts"]["reference"]
    assert said["reached"][:2] == [{"value": "60", "target": "60"}, {"value": "50", "target": "50"}]
    assert abs(house.true_percent("study") - 50) < 1
    assert abs(house.true_percent("kitchen") - 50) < 1


def test_whatever_it_would_let_through_is_held_to_the_convention_too(house: House) -> None:
    house.ear.say("homie/5/hembar/rules/pause/set", "true")
    house.ear.say("homie/5/hembar-landing/opening/position/set", "40")
    house.ear.wait(lambda: house.ear.latest("homie/5/hembar/rules/pause") == b"true", "it is paused")
    sets = {each.topic for each in house.ear.messages if each.topic.endswith("/set")}
    passing = {"button", "nudge", "approach", "refer", "confirm", "release"}
    retained = {
        each.topic: each.payload
        for each in house.ear.messages
        if each.topic not in sets
        and each.topic.rsplit("/", 1)[1] not in passing
        and "/$log/" not in each.topic
    }
    assert len(retained) > 60
    assert list(tree_faults(retained)) == []
