"""The windows of the page in a real browser: asked by finger and keyboard, and honest about what is known."""

from __future__ import annotations

import re
import signal

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import MOVES_MS, Home, Visitor

pytestmark = pytest.mark.browser

# Its own limit for the first load, over the wire.
FIRST_LOAD_BYTES = 150_000


def known_at_the_top(home: Home, shade: str) -> Visitor:
    home.house.find_top(shade)
    visitor = home.visit()
    visitor.wait_still(shade.capitalize(), 100)
    return visitor


def test_an_unknown_shade_has_no_hem_bar_and_up_finds_it(home: Home) -> None:
    visitor = home.visit()
    expect(visitor.window("Study")).to_contain_text("Position unknown")
    expect(visitor.hem_bar("Study")).to_have_count(0)
    home.house.ear.wait(lambda: home.house.answered("study"), "its board answers", within_s=20)
    visitor.picture("phone-unknown")
    visitor.press("Study", "Up")
    visitor.wait_still("Study", 100)
    assert home.house.true_percent("study") == pytest.approx(100, abs=1)
    assert visitor.troubles == []


def test_dragging_the_hem_bar_asks_once_when_it_is_let_go(home: Home) -> None:
    visitor = known_at_the_top(home, "study")
    asked = len(home.house.bridge.logged("request.accepted"))
    visitor.drag("Study", 55)
    visitor.picture("phone-moving")
    visitor.wait_still("Study", 55)
    assert len(home.house.bridge.logged("request.accepted")) == asked + 1
    assert home.house.value("study", "opening/position") == "55"
    assert home.house.true_percent("study") == pytest.approx(55, abs=1)
    assert home.house.claim_holds("study")
    expect(visitor.window("Study")).to_contain_text("Rules rest until")
    visitor.picture("phone-reached", whole=True)


def test_a_finger_drags_it_too_and_the_page_stays_where_it_is(home: Home) -> None:
    home.house.find_top("study")
    visitor = home.visit(has_touch=True, is_mobile=True)
    visitor.wait_still("Study", 100)
    box = visitor.hem_bar("Study").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    touch = visitor.page.context.new_cdp_session(visitor.page)
    touch.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]})
    for step in range(1, 13):
        point = {"x": x, "y": y + 5 * step}
        touch.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [point]})
    touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    target = "opening/position/$target"
    home.house.ear.wait(lambda: home.house.value("study", target) != "100", "it is asked")
    wanted = int(home.house.value("study", target))
    assert 20 < wanted < 90
    assert visitor.page.get_by_role("main").evaluate("each => each.scrollTop") == 0
    visitor.wait_still("Study", wanted)


def test_a_newer_request_replaces_one_under_way_and_both_places_are_shown(home: Home) -> None:
    visitor = known_at_the_top(home, "study")
    visitor.drag("Study", 10)
    expect(visitor.window("Study")).to_contain_text("lowering to 10 %", timeout=MOVES_MS)
    expect(visitor.hem_bar("Study")).to_have_attribute("aria-valuetext", re.compile("asked for 10"))
    visitor.drag("Study", 90)
    visitor.wait_still("Study", 90)
    assert home.house.true_percent("study") == pytest.approx(90, abs=1)


def test_stop_halts_a_move_and_the_one_for_the_house_halts_all(home: Home) -> None:
    visitor = known_at_the_top(home, "study")
    visitor.press("Study", "Down")
    expect(visitor.window("Study")).to_contain_text("lowering", timeout=MOVES_MS)
    visitor.press("Study", "Stop")
    home.house.ear.wait(lambda: home.house.motion("study") == "still", "it halts")
    assert home.house.true_percent("study") > 5
    visitor.press("Study", "Down")
    expect(visitor.window("Study")).to_contain_text("lowering", timeout=MOVES_MS)
    visitor.page.get_by_role("button", name="Stop every shade").click()
    home.house.ear.wait(lambda: home.house.motion("study") == "still", "it halts again")
    assert home.house.true_percent("study") > 2
    expect(visitor.window("Study")).not_to_contain_text("lowering")


def test_the_keyboard_alone_asks_for_a_place(home: Home) -> None:
    visitor = known_at_the_top(home, "study")
    bar = visitor.hem_bar("Study")
    bar.focus()
    for key in ("PageDown", "PageDown", "ArrowUp", "ArrowDown", "ArrowDown"):
        visitor.page.keyboard.press(key)
    expect(bar).to_have_attribute("aria-valuetext", "ask for 79 percent open")
    visitor.page.keyboard.press("Enter")
    visitor.wait_still("Study", 79)
    visitor.page.keyboard.press("Home")
    visitor.page.keyboard.press("Escape")
    expect(bar).to_have_attribute("aria-valuenow", "79")
    visitor.page.keyboard.press("End")
    visitor.wait_still("Study", 100)


def test_a_touch_that_moves_nothing_asks_for_nothing(home: Home) -> None:
    visitor = known_at_the_top(home, "study")
    asked = len(home.house.bridge.logged("request.accepted"))
    visitor.hem_bar("Study").click()
    visitor.press("Study", "A little lower")
    visitor.wait_still("Study", 95)
    assert len(home.house.bridge.logged("request.accepted")) == asked + 1


def test_a_power_cut_on_the_way_shows_the_band_of_doubt(home: Home) -> None:
    visitor = known_at_the_top(home, "study")
    band = visitor.window("Study").locator(".band")
    expect(band).to_be_hidden()
    visitor.drag("Study", 20)
    expect(visitor.window("Study")).to_contain_text("lowering", timeout=MOVES_MS)
    home.house.ear.wait(lambda: home.house.true_percent("study") < 80, "it is on its way")
    home.house.boards["attic-board"].kill()
    expect(visitor.window("Study")).to_contain_text("board can't be reached", timeout=MOVES_MS)
    home.house.boards["attic-board"].start()
    expect(visitor.window("Study")).to_contain_text(
        re.compile(r"known to [\d,]+\smm; between \d+ and \d+\s%"), timeout=MOVES_MS
    )
    expect(visitor.window("Study").get_by_role("link", name="Take a reference")).to_be_visible(
        timeout=MOVES_MS
    )
    assert home.house.claim_holds("study")
    expect(band).to_be_visible()
    box = band.bounding_box()
    assert box is not None
    assert box["height"] > 10
    visitor.picture("phone-band-of-doubt")


def test_two_browsers_and_a_reload_see_the_same_house(home: Home) -> None:
    phone = known_at_the_top(home, "study")
    wall = home.visit(viewport={"width": 1280, "height": 800})
    wall.wait_still("Study", 100)
    phone.drag("Study", 70)
    expect(wall.window("Study")).to_contain_text("lowering to 70 %", timeout=MOVES_MS)
    wall.page.reload()
    wall.wait_still("Study", 70)
    phone.wait_still("Study", 70)
    wall.drag("Study", 80)
    phone.wait_still("Study", 80)


def test_a_lost_server_is_told_at_once_and_nothing_pretends_to_be_live(home: Home) -> None:
    visitor = known_at_the_top(home, "study")
    live = visitor.page.locator("body")
    home.house.bridge.kill()
    expect(visitor.page.get_by_role("alert").first).to_contain_text(re.compile(r"As of \d\d:\d\d"))
    expect(live).to_have_class("stale")
    expect(visitor.hem_bar("Study")).to_have_attribute("aria-disabled", "true")
    visitor.picture("phone-lost")
    visitor.page.get_by_role("button", name="Stop every shade").click()
    expect(visitor.page.get_by_role("status").first).to_contain_text("did not reach the house")
    home.house.bridge.start()
    expect(live).not_to_have_class("stale", timeout=MOVES_MS)
    visitor.wait_still("Study", 100)
    visitor.drag("Study", 90)
    visitor.wait_still("Study", 90)


def test_a_server_that_hangs_with_its_connections_open_is_noticed_too(home: Home) -> None:
    visitor = known_at_the_top(home, "study")
    process = home.house.bridge.process
    assert process is not None
    process.send_signal(signal.SIGSTOP)
    try:
        expect(visitor.page.locator("body")).to_have_class("stale", timeout=MOVES_MS)
    finally:
        process.send_signal(signal.SIGCONT)
    expect(visitor.page.locator("body")).not_to_have_class("stale", timeout=MOVES_MS)


def test_a_slow_network_gets_the_whole_page_and_its_requests(home: Home) -> None:
    home.house.find_top("study")
    visitor = Visitor(home.chromium.new_context(viewport={"width": 320, "height": 640}).new_page())
    home.contexts.append(visitor.page.context)
    protocol = visitor.page.context.new_cdp_session(visitor.page)
    protocol.send("Network.enable")
    slow = {"offline": False, "latency": 400, "downloadThroughput": 50_000, "uploadThroughput": 20_000}
    protocol.send("Network.emulateNetworkConditions", slow)
    visitor.page.goto(f"{home.url}/")
    visitor.wait_still("Study", 100)
    visitor.drag("Study", 88)
    visitor.wait_still("Study", 88)


def test_the_first_load_is_small_and_asks_nobody_else(home: Home) -> None:
    context = home.chromium.new_context(viewport={"width": 390, "height": 844})
    home.contexts.append(context)
    page = context.new_page()
    protocol = context.new_cdp_session(page)
    protocol.send("Network.enable")
    bytes_of: list[float] = []
    asked: list[str] = []
    protocol.on("Network.loadingFinished", lambda event: bytes_of.append(event["encodedDataLength"]))
    protocol.on("Network.requestWillBeSent", lambda event: asked.append(event["request"]["url"]))
    page.goto(f"{home.url}/")
    expect(page.get_by_role("region", name="Study", exact=True)).to_be_visible()
    print(f"first load: {sum(bytes_of):.0f} bytes in {len(bytes_of)} answers")
    assert 5_000 < sum(bytes_of) < FIRST_LOAD_BYTES
    assert [each for each in asked if not each.startswith(home.url)] == []


def test_a_group_is_asked_at_one_hem_bar_and_a_hold_is_released(home: Home) -> None:
    home.house.find_top("study")
    home.house.find_top("kitchen")
    visitor = home.visit()
    visitor.wait_pct("Attic", 100)
    visitor.drag("Attic", 80)
    visitor.wait_still("Study", 80)
    visitor.wait_still("Kitchen", 80)
    attic = visitor.window("Attic")
    expect(attic.get_by_text("Rules rest until")).to_be_visible()
    visitor.press("Study", "Release")
    expect(visitor.window("Study").get_by_text("Rules rest until")).to_be_hidden()
    expect(visitor.window("Kitchen").get_by_text("Rules rest until")).to_be_visible()
    expect(attic.get_by_text("Rules rest at 1 of 2 until")).to_be_visible()
    visitor.picture("phone-group-held", whole=True)
    visitor.press("Attic", "Release")
    expect(visitor.window("Kitchen").get_by_text("Rules rest until")).to_be_hidden()
    expect(attic.get_by_text("Rules rest")).to_be_hidden()
