"""Percent in, steps out: real broker, real daemon, real board processes, messages as anybody sends them."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from pathlib import Path

import pytest

from tests.house_process import House, running_house
from tests.mosquitto import Mosquitto
from tests.roll_by_hand import steps_at_drop

STUDY = {"tube_mm": 38.0, "cloth_mm": 0.5, "full_drop_mm": 1800.0, "wraps_left": 1.5}
SET = "homie/5/hembar-study/opening/position/set"
# A motor that sleeps at its target stops on a whole electrical cycle: 16 pulses at 4 a full step.
HALF_CYCLE = 8


@pytest.fixture
def house(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[House]:
    with running_house(mosquitto, tmp_path) as running:
        running.find_top("study")
        yield running


def test_the_order_carries_the_steps_that_an_independent_calculation_gives(house: House) -> None:
    reports = house.ear.messages
    at_switch = next(
        each.said["count"]
        for each in reports
        if each.topic == "shade-boards/attic-board/0/report" and each.said["why"] == "upper-switch"
    )
    switch_steps = steps_at_drop(-4.0, **STUDY)
    for pct in (75, 40, 62):
        before = len(house.ear.motion_orders("attic-board", 0))
        house.ask("study", str(pct))
        house.ear.wait(
            lambda count=before: len(house.ear.motion_orders("attic-board", 0)) > count,  # type: ignore[misc]
            "the order",
        )
        order = house.ear.motion_orders("attic-board", 0)[-1]
        expected = at_switch - switch_steps + steps_at_drop(1800.0 * (1 - pct / 100), **STUDY)
        assert order["do"] == "go"
        # The switch's repeatability is 1 mm either way, 29 steps at this radius, and its middle is the aim.
        assert abs(order["to"] - expected) <= HALF_CYCLE + 2
        assert order["low"] <= order["to"] <= order["high"]
        house.wait_at_rest("study", str(pct))
        assert abs(house.true_drop_mm("study") - 1800.0 * (1 - pct / 100)) < 5.0


@dataclass(frozen=True)
class Garbage:
    name: str
    payload: bytes


GARBAGE = [
    Garbage("empty", b""),
    Garbage("nan", b"NaN"),
    Garbage("too much", b"101"),
    Garbage("negative", b"-1"),
    Garbage("infinite", b"1e999"),
    Garbage("foreign digits", "١٢".encode()),
    Garbage("huge", b"4" * 300_000),
    Garbage("not UTF-8", b"\xff\xfe40"),
    Garbage("deep", b"[" * 10_000 + b"]" * 10_000),
    Garbage("fraction", b"40.5"),
    Garbage("underscore", b"4_0"),
    Garbage("space", b" 40"),
    Garbage("word", b"open"),
]


def test_garbage_is_refused_with_a_reason_and_moves_nothing(house: House) -> None:
    before = len(house.ear.messages)
    for each in GARBAGE:
        refused = len(house.bridge.logged("request.refused"))
        house.ear.say(SET, each.payload)
        house.ear.wait(
            lambda count=refused: len(house.bridge.logged("request.refused")) > count,  # type: ignore[misc]
            f"{each.name} is refused in the log",
        )
        assert house.bridge.logged("request.refused")[-1]["reason"], each.name
    assert house.ear.motion_orders("attic-board", 0, since=before) == []
    house.ask("study", "80")
    house.wait_at_rest("study", "80")


def test_a_retained_wish_is_refused(house: House) -> None:
    before = len(house.ear.messages)
    house.ear.say(SET, b"20", retain=True)
    house.ear.wait(lambda: bool(house.bridge.logged("request.refused")), "the refusal")
    assert house.bridge.logged("request.refused")[-1]["retained"] is True
    assert house.ear.motion_orders("attic-board", 0, since=before) == []
    house.ear.say(SET, b"", retain=True)


def test_a_dragged_slider_reaches_the_board_four_times_a_second_and_ends_at_its_last_value(
    house: House,
) -> None:
    before = len(house.ear.messages)
    began = time.monotonic()
    for index in range(200):
        house.ear.say(SET, str(100 - index // 4), qos=0)
        time.sleep(max(0.0, began + (index + 1) * 0.01 - time.monotonic()))
    last = str(100 - 199 // 4)
    house.wait_at_rest("study", last)
    orders = [each.said for each in house.ear.orders("attic-board", 0, since=before)]
    sent = {each["seq"] for each in orders if each["do"] == "go"}
    # By the daemon's own clock: on the way to this test a busy machine moves messages about.
    times = [
        datetime.fromisoformat(line["timestamp"])
        for line in house.bridge.logged("order.sent")
        if line["do"] == "go" and line["seq"] in sent
    ]
    gaps = [(later - earlier).total_seconds() for earlier, later in pairwise(times)]
    assert 3 <= len(times) <= 11
    # A quarter of a second by the monotonic clock; the stamps are of the wall clock, which is disciplined.
    assert min(gaps) >= 0.249
    ends = [
        line for line in house.bridge.logged("request.ended") if line["source"] == "a dashboard or command"
    ]
    fates = [line["fate"] for line in ends]
    assert fates.count("superseded") >= 40
    ids = [line["request"] for line in house.bridge.logged("request.accepted")]
    ended = [line["request"] for line in house.bridge.logged("request.ended")]
    assert sorted(ids) == sorted(ended)


def test_a_newer_request_replaces_an_older_one_on_the_way(house: House) -> None:
    house.ask("study", "20")
    house.ear.wait(lambda: house.motion("study") == "lowering", "it sets off")
    time.sleep(1.0)
    house.ask("study", "95")
    house.wait_at_rest("study", "95")
    ends = {line["want"]: line["fate"] for line in house.bridge.logged("request.ended")}
    assert ends["20 %"] == "superseded"
    assert ends["95 %"] == "reached"


def test_stop_halts_it_where_it_is_and_says_so(house: House) -> None:
    house.ask("study", "10")
    house.ear.wait(lambda: house.motion("study") == "lowering", "it sets off")
    time.sleep(0.8)
    house.press("study", "stop")
    house.ear.wait(lambda: house.motion("study") == "still", "it stands still", within_s=3)
    assert house.claim_holds("study")
    assert 10 < house.true_percent("study") < 100


def test_an_old_retained_report_is_not_believed(house: House) -> None:
    topic = "shade-boards/attic-board/0/report"
    old = house.ear.latest(topic)
    assert old is not None
    house.ask("study", "60")
    house.wait_at_rest("study", "60")
    assert house.bridge.stop() == 0
    house.ear.say(topic, old, retain=True)
    since = len(house.ear.messages)
    house.bridge.start()
    house.wait_answered_anew("study", since)
    assert len(house.bridge.logged("house.run.started")) == 2
    assert house.claim_holds("study")
    assert abs(house.true_percent("study") - 60) < 1
    assert house.value("study", "opening/position") == "60"


def test_it_stops_cleanly_within_two_seconds(house: House) -> None:
    house.ask("study", "30")
    house.ear.wait(lambda: house.motion("study") == "lowering", "it sets off")
    began = time.monotonic()
    assert house.bridge.stop() == 0
    assert time.monotonic() - began < 2.0
    house.ear.wait(lambda: house.ear.latest("homie/5/hembar/$state") == b"disconnected", "the last word")
