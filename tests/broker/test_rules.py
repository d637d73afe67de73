"""Wind on a real topic: real broker, real daemon, real board processes."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.house_process import House, running_house
from tests.mosquitto import Mosquitto

RULES = """
[sensors.roof-gust]
kind = "gust"
topic = "weather/roof"
pointer = "/gust"
unit = "km/h"
stale_s = 4

[[rule]]
rule = "wind"
shades = ["study"]
gust_limit_mps = 10
calm_min = 1
"""
ORDER_WITHIN_S = 2.0


@pytest.fixture
def house(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[House]:
    with running_house(mosquitto, tmp_path, more=RULES) as running:
        running.ear.wait(lambda: running.answered("study"), "the study answers", within_s=20)
        yield running


def blow(house: House, gust_kmh: float) -> None:
    house.ear.say("weather/roof", json.dumps({"gust": gust_kmh, "battery": 97}), qos=0)


def calm_until(house: House, done_s: float) -> None:
    """Say again and again that it is calm; a sensor that is silent would count as wind."""
    until = time.monotonic() + done_s
    while time.monotonic() < until:
        blow(house, 5.0)
        time.sleep(0.5)


def wait_in_calm(house: House, percent: str) -> None:
    """Wait until the study stands at a percent, while the sensor says that it is calm."""
    until = time.monotonic() + 40
    while house.motion("study") != "still" or house.value("study", "opening/position") != percent:
        assert time.monotonic() < until, house.value("study", "reason/text")
        blow(house, 5.0)
        time.sleep(0.3)


def lowered(house: House) -> None:
    """Bring the study to 30 %, found at its switch before."""
    blow(house, 5.0)
    house.press("study", "up")
    wait_in_calm(house, "100")
    house.ask("study", "30")
    wait_in_calm(house, "30")


def refused_for_wind(house: House) -> bool:
    return any("wind rule forbids" in line.get("text", "") for line in house.bridge.logged("request.ended"))


def test_a_gust_sends_the_first_order_within_two_seconds_and_the_shade_stays_up(house: House) -> None:
    lowered(house)
    before = len(house.ear.orders("attic-board", 0))
    began = time.monotonic()
    blow(house, 45.0)
    house.ear.wait(
        lambda: len(house.ear.orders("attic-board", 0)) > before, "an order", within_s=ORDER_WITHIN_S
    )
    order = house.ear.orders("attic-board", 0)[before]
    assert order.said["do"] in ("go", "seek")
    assert order.at_s - began < ORDER_WITHIN_S
    calm_until(house, 8)
    house.wait_at_rest("study", "100")
    assert house.value("study", "reason/text") == (
        "Raised to 100 %: gust 12.5 m/s (force 6); your limit is 10.0 m/s"
    )
    house.ear.say("homie/5/hembar-study/opening/position/set", "30")
    house.ear.wait(lambda: refused_for_wind(house), "the refusal")
    assert house.true_percent("study") > 99


def test_a_wind_sensor_that_falls_silent_retracts(house: House) -> None:
    lowered(house)
    house.wait_at_rest("study", "100")
    assert "the gust sensor is lost, which counts as wind" in house.value("study", "reason/text")
    assert house.bridge.logged("sensor.reading.failed")
    assert house.true_percent("study") > 99
