"""Wind, ice, rules and people on real topics: real broker, real daemon, real board processes."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from bridge.cli.main import main
from tests.house_process import House, running_house
from tests.mosquitto import Mosquitto
from tests.windy_house import (
    CALM_KMH,
    GUST,
    ORDER_WITHIN_S,
    STORM_KMH,
    WIND,
    blow,
    blow_for,
    lowered,
    motions,
    orders,
    refusals,
    wait_blowing,
)

RESUME_S = 10
QUIET_TAIL_S = 3.0
RESUMES = f"""
[restraint]
resume_s = {RESUME_S}
dwell_min = 0
"""
# A rule and a schedule that both want it down, whatever the hour of the test.
DARK = """
[shades.study.window]
facade_azimuth_deg = 180
sill_m = 0.8
head_m = 2.5

[[rule]]
rule = "night"
shades = ["study"]

[[rule]]
rule = "schedule"
shades = ["study"]
times = [["00:00", 0]]
"""
FROST = """
[sensors.garden-air]
kind = "outdoor-temperature"
topic = "weather/air"
unit = "°C"
rate_per_minute = 1000

[sensors.roof-rain]
kind = "rain"
topic = "weather/rain"
unit = "mm/h"

[[rule]]
rule = "ice"
shades = ["study"]

[[rule]]
rule = "schedule"
shades = ["study"]
times = [["00:00", 0]]
"""


@pytest.fixture
def house(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[House]:
    yield from answering(mosquitto, tmp_path, GUST + WIND + RESUMES)


@pytest.fixture
def dark_house(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[House]:
    """Where it is the middle of the night now."""
    now = datetime.now(UTC)
    longitude_deg = (-15 * (now.hour + now.minute / 60) + 180) % 360 - 180
    yield from answering(mosquitto, tmp_path, GUST + WIND + RESUMES + DARK, longitude_deg=longitude_deg)


@pytest.fixture
def cold_house(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[House]:
    yield from answering(mosquitto, tmp_path, GUST + WIND + RESUMES + FROST)


def answering(
    mosquitto: Mosquitto, folder: Path, more: str, longitude_deg: float | None = None
) -> Iterator[House]:
    with running_house(mosquitto, folder, more=more, longitude_deg=longitude_deg) as running:
        running.ear.wait(lambda: running.answered("study"), "the study answers", within_s=20)
        yield running


def release(house: House) -> None:
    """End the hold of a person's request, as a person does."""
    assert main(["release", "study", "--broker", f"127.0.0.1:{house.mosquitto.port}"]) == 0


def test_a_gust_sends_the_first_order_within_two_seconds_and_the_shade_stays_up(house: House) -> None:
    lowered(house)
    before = len(house.ear.orders("attic-board", 0))
    began = time.monotonic()
    blow(house, STORM_KMH)
    house.ear.wait(
        lambda: len(house.ear.orders("attic-board", 0)) > before, "an order", within_s=ORDER_WITHIN_S
    )
    order = house.ear.orders("attic-board", 0)[before]
    assert order.said["do"] in ("go", "seek")
    assert order.at_s - began < ORDER_WITHIN_S
    blow_for(house, CALM_KMH, 8)
    house.wait_at_rest("study", "100")
    assert house.value("study", "reason/text") == (
        "Raised to 100 %: gust 12.5 m/s (force 6); your limit is 10.0 m/s"
    )
    house.ear.say("homie/5/hembar-study/opening/position/set", "30")
    house.ear.wait(lambda: refusals(house, "wind") > 0, "the refusal")
    assert house.true_percent("study") > 99


def test_a_wind_sensor_that_falls_silent_retracts(house: House) -> None:
    lowered(house)
    house.wait_at_rest("study", "100")
    assert "the gust sensor is lost, which counts as wind" in house.value("study", "reason/text")
    assert house.bridge.logged("sensor.reading.failed")
    assert house.true_percent("study") > 99


def test_a_wind_sensor_that_says_rubbish_retracts_and_is_an_alert(house: House) -> None:
    lowered(house)
    until = time.monotonic() + 40
    rubbish = ('{"gust": NaN}', '{"gust": 4711}', '{"gust": "calm"}', '{"gust": [3]}', "{")
    while house.value("study", "opening/position") != "100":
        assert time.monotonic() < until, house.value("study", "reason/text")
        for payload in rubbish:
            house.ear.say("weather/roof", payload, qos=0)
        time.sleep(0.3)
    assert "counts as wind" in house.value("study", "reason/text")
    alert = house.ear.latest("homie/5/hembar/$alert/sensors")
    assert alert is not None
    assert alert.decode().startswith("look after roof-gust: ")


def test_a_person_stops_a_wind_retract_which_goes_on_after_its_pause_with_an_alert(house: House) -> None:
    lowered(house, "0")
    blow(house, STORM_KMH)
    house.ear.wait(
        lambda: house.motion("study") in ("raising", "referencing"), "the retract", within_s=ORDER_WITHIN_S
    )
    house.press("study", "stop")
    house.ear.wait(lambda: orders(house)[-1:] == ["stop"], "the stop", within_s=ORDER_WITHIN_S)
    stopped = time.monotonic()
    house.ear.wait(lambda: house.motion("study") == "still", "it stands", within_s=ORDER_WITHIN_S)
    assert house.true_percent("study") < 95
    told = f"it goes on in {RESUME_S} s. Keep clear"
    house.ear.wait(
        lambda: told in (house.ear.latest("homie/5/hembar-study/$alert/request") or b"").decode(), "the alert"
    )
    assert told in house.bridge.logged("shade.retract.interrupted")[-1]["text"]
    moved = motions(house)
    blow_for(house, STORM_KMH, RESUME_S - QUIET_TAIL_S)
    assert motions(house) == moved, "it stands for the whole pause"
    # Stopped on the way to its switch its place is in doubt, so it goes on slowly.
    wait_blowing(house, "100", STORM_KMH, within_s=90)
    resumed = next(each for each in house.ear.orders("attic-board", 0)[::-1] if each.said["do"] != "sleep")
    assert motions(house) > moved
    assert resumed.at_s - stopped > RESUME_S - 1
    assert house.true_percent("study") > 99


def test_neither_person_nor_rule_nor_schedule_lowers_a_shade_in_the_wind(
    dark_house: House, capsys: pytest.CaptureFixture[str]
) -> None:
    house = dark_house
    lowered(house)
    release(house)
    # In calm air they do: the night rule lowers it as soon as the hold is over.
    wait_blowing(house, "0")
    assert "it is dark" in house.value("study", "reason/text")
    blow(house, STORM_KMH)
    wait_blowing(house, "100", STORM_KMH)
    moved = motions(house)
    refused = refusals(house, "wind")
    for asked, (levels, payload) in enumerate(
        (("opening/position", "30"), ("opening/button", "down"), ("opening/nudge", "-20")), start=1
    ):
        house.ear.say(f"homie/5/hembar-study/{levels}/set", payload)
        house.ear.wait(lambda seen=refused + asked: refusals(house, "wind") == seen, f"{payload} is refused")  # type: ignore[misc]
    release(house)
    blow_for(house, STORM_KMH, QUIET_TAIL_S)
    assert motions(house) == moved
    assert house.true_percent("study") > 99
    capsys.readouterr()
    assert main(["why", "study", "--journal", str(house.bridge.state / "journal.db")]) == 0
    said = capsys.readouterr().out
    assert "by the wind rule" in said
    assert "lost: night: it is dark" in said
    assert "lost: schedule: your schedule has 0 % from 00:00 on" in said


def test_nothing_starts_when_it_is_near_freezing_and_wet(cold_house: House) -> None:
    house = cold_house
    house.ear.say("weather/air", "8")
    house.ear.say("weather/rain", "0.0")
    lowered(house)
    house.ear.say("weather/rain", "0.6")
    house.ear.say("weather/air", "1.0")
    # A reading shows nowhere by itself; it came before what is asked next.
    time.sleep(1)
    moved = motions(house)
    for asked, percent in enumerate(("60", "10", "100"), start=1):
        house.ear.say("homie/5/hembar-study/opening/position/set", percent)
        house.ear.wait(lambda seen=asked: refusals(house, "ice") == seen, f"{percent} is refused")  # type: ignore[misc]
    assert any("1.0 °C outdoors" in line.get("text", "") for line in house.bridge.logged("request.ended"))
    # Neither the schedule, which wants it down, nor a gust, which wants it up, starts it.
    release(house)
    blow_for(house, STORM_KMH, QUIET_TAIL_S)
    assert motions(house) == moved
    assert 29 < house.true_percent("study") < 31
    # Above freezing the gust has its way at once: ice alone had kept it.
    house.ear.say("weather/air", "8")
    house.ear.wait(lambda: motions(house) > moved, "the retract", within_s=ORDER_WITHIN_S)
    wait_blowing(house, "100", STORM_KMH)
