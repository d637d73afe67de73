"""Pause and service lock in a real browser: what they say, and no lock by accident."""

from __future__ import annotations

import pytest
from playwright.sync_api import Locator, expect

from tests.browser.conftest import MOVES_MS, Home, Visitor

pytestmark = pytest.mark.browser

LOCK = "homie/5/hembar/service/lock"


def whole_house(visitor: Visitor) -> Locator:
    return visitor.page.get_by_role("region", name="What holds for the whole house")


def known_at_the_top(home: Home) -> Visitor:
    home.house.find_top("study")
    visitor = home.visit()
    visitor.wait_still("Study", 100)
    return visitor


def test_pause_and_a_lock_from_elsewhere_are_shown_and_nothing_can_be_asked(home: Home) -> None:
    visitor = known_at_the_top(home)
    visitor.page.get_by_role("button", name="Pause the rules").click()
    expect(whole_house(visitor)).to_contain_text("The rules are paused")
    home.house.ear.say(f"{LOCK}/set", "true")
    expect(whole_house(visitor)).to_contain_text("The service lock is on")
    expect(visitor.hem_bar("Study")).to_have_attribute("aria-disabled", "true")
    visitor.picture("phone-locked")
    home.house.ear.say(f"{LOCK}/set", "false")
    expect(whole_house(visitor)).not_to_contain_text("The service lock is on")
    visitor.page.get_by_role("button", name="End the pause").click()
    expect(whole_house(visitor)).to_be_empty()


def test_the_lock_takes_two_acts_stops_what_moves_and_then_holds_back_a_stop_too(home: Home) -> None:
    visitor = known_at_the_top(home)
    page = visitor.page
    visitor.press("Study", "Down")
    expect(visitor.window("Study")).to_contain_text("lowering", timeout=MOVES_MS)
    page.get_by_role("link", name="Care").click()
    page.get_by_role("link", name="The service lock").click()
    expect(page.get_by_text("and no stop either")).to_be_visible()
    expect(page.get_by_text("isolates nothing")).to_be_visible()
    visitor.picture("phone-lock", whole=True)
    page.get_by_role("button", name="Switch the service lock on").click(force=True)
    expect(page.get_by_role("alert").filter(has_text="Tick the line above first")).to_be_visible()
    assert home.house.ear.latest(LOCK) == b"false"
    page.get_by_role("checkbox").check()
    page.get_by_role("button", name="Switch the service lock on").dblclick()
    home.house.ear.wait(lambda: home.house.ear.latest(LOCK) == b"true", "the house is locked")
    home.house.ear.wait(lambda: home.house.motion("study") == "still", "it is stopped")
    assert home.house.true_percent("study") > 5
    # A second press in haste meets the way off, which wants a tick of its own.
    expect(page.get_by_role("heading", name="Before you switch it off")).to_be_visible()
    expect(page.get_by_role("checkbox")).not_to_be_checked()
    assert home.house.ear.latest(LOCK) == b"true"
    visitor.picture("phone-unlock", whole=True)
    orders = len(home.house.ear.orders("attic-board", 0))
    page.get_by_role("button", name="Stop every shade").click()
    expect(page.get_by_role("status").filter(has_text="Not stopped")).to_contain_text(
        "Use the button at the board, or cut its power"
    )
    page.get_by_role("link", name="House").click()
    visitor.press("Study", "Stop")
    expect(visitor.window("Study")).to_contain_text("Not stopped: the service lock is on")
    assert len(home.house.ear.orders("attic-board", 0)) == orders
    assert visitor.troubles == []


def test_the_lock_is_switched_off_by_keyboard_alone_and_shades_move_again(home: Home) -> None:
    home.house.find_top("study")
    home.house.ear.say(f"{LOCK}/set", "true")
    visitor = home.visit()
    page = visitor.page
    link = whole_house(visitor).get_by_role("link", name="The service lock")
    link.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_text("Shades can move at once")).to_be_visible()
    page.get_by_role("checkbox", name="Nobody works on a shade any more").focus()
    page.keyboard.press("Space")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    home.house.ear.wait(lambda: home.house.ear.latest(LOCK) == b"false", "the house is free")
    expect(page.get_by_role("heading", name="Before you switch it on")).to_be_focused()
    expect(page.get_by_role("status").filter(has_text="is off: shades can move.")).to_be_visible()
    page.get_by_role("link", name="House").click()
    visitor.press("Study", "A little lower")
    visitor.wait_still("Study", 95)


def test_a_tick_that_was_left_behind_goes_away(home: Home) -> None:
    context = home.chromium.new_context()
    home.contexts.append(context)
    page = context.new_page()
    page.clock.install()
    page.goto(f"{home.url}/#/lock")
    box = page.get_by_role("checkbox")
    box.check()
    expect(page.get_by_role("button", name="Switch the service lock on")).to_be_enabled()
    page.clock.fast_forward(61_000)
    expect(box).not_to_be_checked()
