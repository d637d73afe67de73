"""A weather station at a running house, for tests with a real broker: what it says and what must follow."""

from __future__ import annotations

import json
import time

from tests.house_process import House

GUST = """
[sensors.roof-gust]
kind = "gust"
topic = "weather/roof"
pointer = "/gust"
unit = "km/h"
stale_s = 4
"""
WIND = """
[[rule]]
rule = "wind"
shades = ["study"]
gust_limit_mps = 10
calm_min = 1
"""
CALM_KMH, STORM_KMH = 5.0, 45.0
ORDER_WITHIN_S = 2.0


def blow(house: House, gust_kmh: float) -> None:
    house.ear.say("weather/roof", json.dumps({"gust": gust_kmh, "battery": 97}), qos=0)


def blow_for(house: House, gust_kmh: float, done_s: float) -> None:
    """Say the same again and again; a sensor that is silent would count as wind."""
    until = time.monotonic() + done_s
    while time.monotonic() < until:
        blow(house, gust_kmh)
        time.sleep(0.5)


def wait_blowing(house: House, percent: str, gust_kmh: float = CALM_KMH, *, within_s: float = 40) -> None:
    """Wait until the study stands at a percent, while the sensor goes on saying the same."""
    until = time.monotonic() + within_s
    while house.motion("study") != "still" or house.value("study", "opening/position") != percent:
        assert time.monotonic() < until, house.value("study", "reason/text")
        blow(house, gust_kmh)
        time.sleep(0.3)


def lowered(house: House, percent: str = "30") -> None:
    """Bring the study to a percent, found at its switch before."""
    blow(house, CALM_KMH)
    house.press("study", "up")
    wait_blowing(house, "100")
    house.ask("study", percent)
    wait_blowing(house, percent)


def orders(house: House) -> list[str]:
    """Return what the study's board has been told to do so far."""
    return [each.said["do"] for each in house.ear.orders("attic-board", 0)]


def motions(house: House) -> int:
    """Return how many orders have set the study in motion so far."""
    return len(house.ear.motion_orders("attic-board", 0))


def refusals(house: House, rule: str) -> int:
    """Return how many requests have been refused in the name of a rule so far."""
    said = f"the {rule} rule forbids it"
    return sum(said in line.get("text", "") for line in house.bridge.logged("request.ended"))
