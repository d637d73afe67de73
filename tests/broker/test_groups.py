"""Groups, supplies, pause and lock on the running house: real bridge, real broker, simulated boards."""

from __future__ import annotations

import json
import signal
import subprocess
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest

from tests.homie_rules import tree_faults
from tests.house_process import House, running_house
from tests.mosquitto import Mosquitto
from tests.running import HEMBAR

SHARED = """
[supplies.attic]
amps = 2.0
[shades.study.power]
supply = "attic"
moving_a = 1.5
[shades.kitchen.power]
supply = "attic"
moving_a = 1.5
standstill_a = 0.4
[groups.attic]
name = "Attic"
members = ["study", "kitchen"]
[groups.house]
members = ["study", "kitchen", "landing"]
[boards]
wait_s = 3
"""


@pytest.fixture
def house(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[House]:
    with running_house(mosquitto, tmp_path, more=SHARED) as running:
        for shade in ("study", "kitchen", "landing"):
            running.ear.wait(partial(answers, running, shade), f"{shade} answers", within_s=30)
        yield running
        assert list(tree_faults(retained(running))) == []


def answers(house: House, shade: str) -> bool:
    return house.value(shade, "$state") == "ready"


def raise_by_hand(house: House, shade: str) -> None:
    """Press `up` until that is obeyed: a bridge that has just come back may not have heard its board yet."""
    for _ in range(10):
        house.press(shade, "up")
        until_s = time.monotonic() + 1.0
        while time.monotonic() < until_s:
            if house.motion(shade) == "referencing":
                return
            time.sleep(0.02)
    raise AssertionError(f"{shade} does not go up: {log_lines(house, f'hembar-{shade}')}")


def retained(house: House) -> dict[str, bytes]:
    """Return the last word on every topic of the tree but those that are never kept."""
    passing = ("/set", "/button", "/nudge", "/confirm", "/approach", "/release")
    return {
        each.topic: each.payload
        for each in house.ear.messages
        if not each.topic.endswith(passing) and "/$log/" not in each.topic
    }


def log_lines(house: House, device: str, level: str = "warn") -> list[str]:
    topic = f"homie/5/{device}/$log/{level}"
    return [each.payload.decode() for each in house.ear.messages if each.topic == topic]


def typed(house: House, *words: str) -> subprocess.CompletedProcess[str]:
    broker = f"{house.mosquitto.host}:{house.mosquitto.port}"
    command = [str(HEMBAR), *words, "--broker", broker]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)


def test_a_move_of_a_group_is_waited_for_and_watched_shade_by_shade(house: House) -> None:
    for shade in ("study", "kitchen"):
        house.find_top(shade)
    broker = f"{house.mosquitto.host}:{house.mosquitto.port}"
    words = ["watch", "attic", "--json", "--seconds", "60", "--broker", broker]
    with subprocess.Popen([str(HEMBAR), *words], stdout=subprocess.PIPE, text=True) as watching:
        assert watching.stdout is not None
        first = [json.loads(watching.stdout.readline()) for _ in range(3)]
        assert [each["shade"] for each in first[1:]] == ["study", "kitchen"]
        moved = typed(house, "move", "attic", "85", "--wait", "60", "--json")
        assert (moved.returncode, moved.stderr) == (0, "")
        said = json.loads(moved.stdout)
        assert [(each["shade"], each["open_pct"], each["rested"]) for each in said["shades"]] == [
            ("study", 85, True),
            ("kitchen", 85, True),
        ]
        for shade in ("study", "kitchen"):
            assert abs(house.true_percent(shade) - 85) < 1
        watching.send_signal(signal.SIGINT)
        out, _ = watching.communicate(timeout=20)
    lines = [json.loads(line) for line in out.splitlines()]
    assert {each["shade"] for each in lines} == {"study", "kitchen"}
    for shade in ("study", "kitchen"):
        mine = [each for each in lines if each["shade"] == shade]
        assert "lowering" in {each["motion"] for each in mine}
        assert (mine[-1]["open_pct"], mine[-1]["motion"]) == (85, "still")


def test_a_move_that_a_shade_of_the_group_does_not_end_says_so(house: House) -> None:
    house.find_top("study")
    moved = typed(house, "move", "attic", "85", "--wait", "3")
    assert moved.returncode == 1
    names = [line.split()[0] for line in moved.stdout.splitlines() if not line.startswith(" ")]
    assert names == ["study", "kitchen"]


def spells_of_motion(house: House, channel: int, since: int) -> list[tuple[float, float]]:
    """Return from when to when a channel of the attic board has reported to move."""
    topic, spells, began = f"shade-boards/attic-board/{channel}/report", [], None
    for each in house.ear.messages[since:]:
        if each.topic != topic:
            continue
        if each.said["moving"] and began is None:
            began = each.at_s
        elif not each.said["moving"] and began is not None:
            spells.append((began, each.at_s))
            began = None
    assert began is None, "it is still moving"
    return spells


def switch(house: House, levels: str, *, on: bool) -> None:
    house.ear.say(f"homie/5/hembar/{levels}/set", str(on).lower())
    wanted = str(on).lower().encode()
    house.ear.wait(lambda: house.ear.latest(f"homie/5/hembar/{levels}") == wanted, f"{levels} is {on}")


def test_two_shades_on_one_supply_never_move_together_and_both_arrive(house: House) -> None:
    since = len(house.ear.messages)
    house.press("attic", "up")
    house.wait_at_rest("study", "100")
    house.wait_at_rest("kitchen", "100")
    house.ask_group("attic", "30")
    house.ear.wait(
        lambda: any(
            "it waits until its supply has amps" in house.value(shade, "reason/text")
            for shade in ("study", "kitchen")
        ),
        "the one that waits says why",
    )
    assert house.value("attic", "opening/motion") == "lowering"
    house.wait_at_rest("study", "30")
    house.wait_at_rest("kitchen", "30")
    house.ear.wait(lambda: house.value("attic", "opening/position") == "30", "the group is there")
    assert house.value("attic", "opening/motion") == "still"
    study, kitchen = (spells_of_motion(house, channel, since) for channel in (0, 1))
    assert len(study) >= 2
    assert len(kitchen) >= 2
    assert all(a_end <= b_begin or b_end <= a_begin for a_begin, a_end in study for b_begin, b_end in kitchen)
    house.ask("study", "50")
    house.wait_at_rest("study", "50")
    house.ear.wait(lambda: house.value("attic", "opening/position") == "40", "the mean of 50 and 30")
    assert house.value("attic", "opening/position/$target") == "30"


def test_a_group_says_who_could_not_and_refuses_what_no_group_can_do(house: House) -> None:
    house.find_top("study")
    house.find_top("kitchen")
    assert house.value("house", "opening/position") == ""
    house.ask_group("house", "90")
    house.ear.wait(lambda: bool(log_lines(house, "hembar-house")), "it says who could not")
    assert log_lines(house, "hembar-house")[0].startswith("not by all: landing: the position is unknown")
    house.ear.say("homie/5/hembar-house/opening/position/set", "20", retain=True)
    house.ear.say("homie/5/hembar-house/opening/position/set", "", retain=True)
    house.ear.say("homie/5/hembar-house/knowledge/confirm/set", "upper")
    house.ear.wait(lambda: len(log_lines(house, "hembar-house")) == 4, "each is answered")
    lines = log_lines(house, "hembar-house")[1:]
    assert lines[0] == "refused: opening/position '20': it is retained: a wish of unknown age moves no shade"
    assert lines[2] == "refused: knowledge/confirm 'upper': knowledge/confirm cannot be set for a group"
    house.wait_at_rest("study", "90")
    house.wait_at_rest("kitchen", "90")
    assert house.value("house", "opening/position/$target") == "90"


def test_the_service_lock_stops_what_moves_and_lets_nothing_leave(house: House) -> None:
    house.find_top("study")
    house.ask("study", "10")
    house.ear.wait(lambda: house.motion("study") == "lowering", "it sets off")
    switch(house, "service/lock", on=True)
    house.ear.wait(lambda: house.motion("study") == "still", "it is stopped", within_s=3)
    since = len(house.ear.messages)
    house.ear.say("homie/5/hembar-study/opening/position/set", "80")
    why = "the service lock is on: somebody works on the shades"
    house.ear.wait(
        lambda: f"refused: opening/position '80': {why}" in log_lines(house, "hembar-study"), "it says why"
    )
    house.ear.say("homie/5/hembar/service/lock/set", "no")
    house.ear.wait(lambda: any("'no'" in line for line in log_lines(house, "hembar")), "only true and false")
    assert house.ear.latest("homie/5/hembar/service/lock") == b"true"
    assert house.ear.orders("attic-board", 0, since=since) == []
    assert house.claim_holds("study")
    switch(house, "service/lock", on=False)
    house.ask("study", "80")
    house.wait_at_rest("study", "80")


def test_the_pause_outlives_the_bridge_and_leaves_people_alone(house: House) -> None:
    switch(house, "rules/pause", on=True)
    assert house.bridge.stop() == 0
    seen = len(house.ear.messages)
    house.bridge.start()
    topic = "homie/5/hembar/$state"
    house.ear.wait(
        lambda: (
            [each.payload for each in house.ear.messages[seen:] if each.topic == topic][-1:] == [b"ready"]
        ),
        "the bridge is back",
        within_s=20,
    )
    assert house.ear.latest("homie/5/hembar/rules/pause") == b"true"
    raise_by_hand(house, "study")
    switch(house, "rules/pause", on=False)


def test_a_request_to_a_lost_board_expires_with_an_alert(house: House) -> None:
    house.find_top("study")
    house.boards["attic-board"].kill()
    house.ear.wait(lambda: house.value("study", "$state") == "lost", "the board is missed", within_s=20)
    assert house.value("study", "$alert/board") == (
        "board attic-board can't be reached; check its power and network"
    )
    assert house.value("kitchen", "$state") == house.value("attic", "$state") == "lost"
    assert house.value("house", "$state") == "ready"
    house.ask("study", "50")
    house.ear.wait(lambda: house.value("study", "$alert/request") != "", "it gives up", within_s=10)
    assert "board attic-board did not answer in 3 s" in house.value("study", "$alert/request")
    assert [line["fate"] for line in house.bridge.logged("request.ended")][-1] == "expired"
    seen = len(house.ear.messages)
    house.boards["attic-board"].start()
    house.ear.wait(lambda: house.value("study", "$state") == "ready", "it is back", within_s=20)
    house.ear.wait(lambda: house.value("study", "$alert/board") == "", "the alert goes with its cause")
    assert house.ear.motion_orders("attic-board", 0, since=seen) == []
