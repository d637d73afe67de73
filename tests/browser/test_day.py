"""The day in a real browser: plan and truth as pictures, and the room at any time of it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.conftest import WINDOWS, Home, opened_home

pytestmark = pytest.mark.browser

WORKED_OUT_MS = 40_000


RULES = """
[sensors.roof-gust]
kind = "gust"
topic = "weather/roof"
unit = "m/s"
[[rule]]
rule = "sun-depth"
shades = ["study"]
"""


@pytest.fixture
def ruled_home(brokers: Callable[..., Any], tmp_path: Path, chromium: Browser) -> Iterator[Home]:
    """Give a house that keeps the sun out of the study and hears the wind."""
    with opened_home(brokers(), tmp_path, chromium, WINDOWS + RULES) as found:
        yield found


def test_the_day_is_drawn_and_the_time_can_be_moved(ruled_home: Home) -> None:
    home = ruled_home
    home.house.find_top("study")
    home.house.ear.say("weather/roof", "7.5")  # it is heard now: the bridge has asked for its topics
    home.house.ask("study", "70")
    home.house.wait_at_rest("study", "70")
    visitor = home.visit("#/day")
    page = visitor.page
    study = page.get_by_role("region", name="Study")
    expect(study.get_by_role("img").first).to_be_visible(timeout=WORKED_OUT_MS)
    expect(study.locator("canvas").first).to_be_visible()
    expect(study).to_contain_text("70 % open; known to")
    home.house.ask("study", "65")
    expect(study).to_contain_text("65 % open; known to", timeout=WORKED_OUT_MS)
    scrub = page.get_by_role("slider", name="The room at")
    scrub.focus()
    page.keyboard.press("Home")
    expect(scrub).to_have_attribute("aria-valuetext", re.compile(r"^00:00, the sun is down"))
    expect(study).to_contain_text("No sun on the window")
    scrub.fill(str(int(scrub.get_attribute("max") or "0") * 7 // 12))
    expect(scrub).to_have_attribute("aria-valuetext", re.compile(r"the sun is \d+° high"))
    visitor.picture("phone-day", whole=True)
    study.get_by_text("As a list").click()
    happened = study.get_by_role("list").last
    # The journal is read by another process, which may miss the last report before the rest.
    expect(happened).to_contain_text(re.compile(r"It was 7[0-2]\s% open"))
    expect(happened).to_contain_text("the plan lowers it to")
    expect(study.get_by_role("img", name="gusts, at most 7.5 m/s")).to_be_visible()
    expect(study.get_by_role("img", name=re.compile(r"[1-9]\d* planned moves"))).to_be_visible()
    assert visitor.troubles == []


def test_yesterday_and_tomorrow_are_there_and_one_window_can_be_looked_at_alone(home: Home) -> None:
    page = home.visit("#/day/study").page
    expect(page.get_by_role("region", name="Study")).to_be_visible(timeout=WORKED_OUT_MS)
    expect(page.get_by_role("region", name="Kitchen")).to_have_count(0)
    today = page.get_by_role("heading", level=2).inner_text()
    for name in ("Yesterday", "Tomorrow"):
        page.get_by_role("button", name=name).click()
        expect(page.get_by_role("heading", level=2)).not_to_have_text(today)
        expect(page.get_by_role("region", name="Study").get_by_role("img").first).to_be_visible(
            timeout=WORKED_OUT_MS
        )
        expect(page.get_by_role("button", name="Back to now")).to_be_hidden()
