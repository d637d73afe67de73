"""What people type, against the real daemon, broker and boards."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.house_process import House, running_house
from tests.mosquitto import Mosquitto
from tests.running import HEMBAR


@pytest.fixture
def house(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[House]:
    with running_house(mosquitto, tmp_path) as running:
        running.find_top("study")
        yield running


def typed(house: House, *words: str) -> subprocess.CompletedProcess[str]:
    """Type a command; it ends by itself."""
    broker = f"{house.mosquitto.host}:{house.mosquitto.port}"
    return subprocess.run(
        [str(HEMBAR), *words, "--broker", broker], capture_output=True, text=True, timeout=60, check=False
    )


def said(house: House, *words: str) -> Any:
    return json.loads(typed(house, *words, "--json").stdout)


def study(house: House) -> dict[str, Any]:
    shades: list[dict[str, Any]] = said(house, "status")["shades"]
    return next(each for each in shades if each["shade"] == "study")


def test_status_says_what_the_tree_says_in_lines_and_in_json(house: House) -> None:
    shown = typed(house, "status")
    assert shown.returncode == 0
    heading, first, *_ = shown.stdout.splitlines()
    assert heading.split() == ["shade", "open", "known", "to", "grade", "motion", "board", "why"]
    assert first.startswith("study    100 %")
    assert study(house)["grade"] == house.value("study", "knowledge/grade")
    assert study(house)["width_mm"] == float(house.value("study", "knowledge/width"))


def test_a_move_is_waited_for_and_release_ends_its_hold(house: House) -> None:
    moved = typed(house, "move", "study", "80", "--wait", "40")
    assert moved.returncode == 0
    assert moved.stdout.startswith("study   80 %")
    assert study(house)["hold_until"] is not None
    assert typed(house, "release", "study").stdout == "study: accepted\n"
    assert study(house)["hold_until"] is None


def test_a_refusal_of_the_house_reaches_the_terminal(house: House) -> None:
    refused = typed(house, "move", "landing", "50")
    assert refused.returncode == 1
    assert refused.stdout.startswith("landing: refused; the position is unknown")


def test_watching_tells_each_change_of_a_move(house: House) -> None:
    words = ["watch", "study", "--json", "--seconds", "8"]
    broker = f"{house.mosquitto.host}:{house.mosquitto.port}"
    with subprocess.Popen(
        [str(HEMBAR), *words, "--broker", broker], stdout=subprocess.PIPE, text=True
    ) as watching:
        assert watching.stdout is not None
        first = [json.loads(watching.stdout.readline()) for _ in range(2)]
        assert first[0]["bridge"] == "ready"
        assert first[1]["shade"] == "study"
        house.ask("study", "90")
        house.wait_at_rest("study", "90")
        out, _ = watching.communicate(timeout=20)
    assert watching.returncode == 0
    lines = [json.loads(line) for line in out.splitlines()]
    assert {each["shade"] for each in lines} == {"study"}
    assert "lowering" in {each["motion"] for each in lines}
    assert (lines[-1]["open_pct"], lines[-1]["motion"]) == (90, "still")


def test_the_service_lock_stops_what_moves_and_lets_nothing_start(house: House) -> None:
    house.ask("study", "20")
    house.ear.wait(lambda: house.motion("study") == "lowering", "it sets off")
    assert typed(house, "lock", "on").stdout == "the service lock is on: no order leaves\n"
    house.ear.wait(lambda: house.motion("study") == "still", "it stands still", within_s=5)
    assert house.true_percent("study") > 25
    before = len(house.ear.motion_orders("attic-board", 0))
    assert typed(house, "move", "study", "90").returncode == 1
    assert said(house, "status")["locked"] is True
    assert len(house.ear.motion_orders("attic-board", 0)) == before
    assert typed(house, "lock", "off").returncode == 0
    assert said(house, "status")["locked"] is False
    assert typed(house, "move", "study", "90", "--wait", "40").returncode == 0


def test_who_waits_for_a_reference_is_told_when_it_is_back_from_its_switch(house: House) -> None:
    for height in ("60", "95", "80"):
        assert typed(house, "move", "study", height, "--wait", "40").returncode == 0
        met = typed(house, "reference", "study", "--switch", "--attended")
        assert met.returncode == 0, met.stdout
        assert study(house)["motion"] == "still"
        assert house.true_percent("study") == pytest.approx(float(height), abs=1)
    assert len(house.bridge.logged("shade.reference.met")) >= 3


def test_the_pause_is_kept_over_a_restart(house: House) -> None:
    assert said(house, "pause", "on") == {"pause": True, "accepted": True, "why": ""}
    assert said(house, "pause", "on")["why"] == "it was so already"
    assert house.bridge.stop() == 0
    assert typed(house, "pause", "off").returncode == 2
    seen = len(house.bridge.logged("broker.session.up"))
    house.bridge.start()
    house.ear.wait(lambda: len(house.bridge.logged("broker.session.up")) > seen, "it is back", within_s=20)
    house.ear.wait(lambda: house.ear.latest("homie/5/hembar/$state") == b"ready", "the tree stands")
    assert said(house, "status")["paused"] is True
    assert typed(house, "pause", "off").stdout == "the rules are at work\n"
    assert "paused" not in typed(house, "status").stdout


def test_without_a_broker_each_command_ends_with_its_own_code(tmp_path: Path) -> None:
    for words in (("status",), ("watch",), ("release", "study"), ("pause", "on"), ("listen-in", "a/b")):
        ended = subprocess.run(
            [str(HEMBAR), *words, "--broker", "127.0.0.1:1"],
            capture_output=True,
            text=True,
            timeout=30,
            check=False,
        )
        assert ended.returncode == 69, words
        assert ended.stderr.startswith("broker 127.0.0.1:1: ")
