"""The day in a real browser: plan and truth as pictures, and the room at any time of it."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import Home

pytestmark = pytest.mark.browser

WORKED_OUT_MS = 40_000


def test_the_day_is_drawn_and_the_time_can_be_moved(home: Home) -> None:
    home.house.find_top("study")
    visitor = home.visit("#/day")
    page = visitor.page
    study = page.get_by_role("region", name="Study")
    expect(study.get_by_role("img").first).to_be_visible(timeout=WORKED_OUT_MS)
    expect(study.locator("canvas").first).to_be_visible()
    scrub = page.get_by_role("slider", name="The room at")
    scrub.focus()
    page.keyboard.press("Home")
    expect(scrub).to_have_attribute("aria-valuetext", re.compile(r"^00:00, the sun is down"))
    expect(study).to_contain_text("No sun on the window")
    scrub.fill(str(int(scrub.get_attribute("max") or "0") * 7 // 12))
    expect(scrub).to_have_attribute("aria-valuetext", re.compile(r"the sun is \d+° high"))
    visitor.picture("phone-day", whole=True)
    page.get_by_role("button", name="Back to now").click()
    study.get_by_text("As a list").click()
    expect(study.get_by_role("list").last).to_contain_text("It was 100 % open")
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
