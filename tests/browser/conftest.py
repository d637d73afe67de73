"""A whole house and real browsers at its page: broker, daemon, boards and Chromium are processes."""

from __future__ import annotations

import os
import re
import shutil
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from random import SystemRandom
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Locator, Page, expect, sync_playwright

from tests.house_process import House, running_house
from tests.mosquitto import PORTS, brokers, mosquitto, mosquitto_program

__all__ = ["brokers", "mosquitto"]

PHONE = {"width": 390, "height": 844}
MOVES_MS = 40_000
# Whatever is waited for comes within a moment, or on a machine that is busy with other tests within this.
expect.set_options(timeout=20_000)
# Pictures of what the tests saw, for people to look at.
SHOTS = Path(os.environ.get("HEMBAR_SHOTS", Path(__file__).parent / "shots"))
WINDOWS = """
[shades.study.window]
facade_azimuth_deg = 215
sill_m = 0.8
head_m = 2.5
[shades.kitchen.window]
facade_azimuth_deg = 125
sill_m = 1.0
head_m = 2.3
[shades.landing.window]
facade_azimuth_deg = 215
sill_m = 0.2
head_m = 2.5
[groups.attic]
name = "Attic"
members = ["study", "kitchen"]
"""


def free_port() -> int:
    for port in SystemRandom().sample(PORTS, k=50):
        with socket.socket() as trial:
            try:
                trial.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port
    raise AssertionError("fifty ports were tried and all are taken")


@dataclass
class Visitor:
    """One person at one screen; finds things by role and label."""

    page: Page
    troubles: list[str] = field(default_factory=list)

    def heard(self, kind: str, text: str) -> None:
        """Keep what the browser complains of; that the house refused something (409) is no trouble."""
        if kind in ("error", "warning") and "status of 409" not in text:
            self.troubles.append(text)

    def window(self, name: str) -> Locator:
        return self.page.get_by_role("region", name=name, exact=True)

    def hem_bar(self, name: str) -> Locator:
        return self.window(name).get_by_role("slider")

    def shown_pct(self, name: str) -> int | None:
        said = self.hem_bar(name).get_attribute("aria-valuenow") if self.hem_bar(name).count() else None
        return None if said is None else int(said)

    def press(self, name: str, what: str) -> None:
        self.window(name).get_by_role("button", name=f"{what}: {name}", exact=True).click()

    def drag(self, name: str, to_pct: int) -> None:
        """Drag the hem bar: take hold, move in steps, let go once it says what is wanted."""
        bar = self.hem_bar(name)
        bar.scroll_into_view_if_needed()
        box = bar.bounding_box()
        assert box is not None
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        self.page.mouse.move(x, y)
        self.page.mouse.down()
        for _ in range(400):
            now = int(bar.get_attribute("aria-valuenow") or "0")
            if now == to_pct:
                break
            y += (1 if now > to_pct else -1) * (6 if abs(now - to_pct) > 6 else 0.5)
            self.page.mouse.move(x, y)
        self.page.mouse.up()

    def wait_pct(self, name: str, percent: int) -> None:
        expect(self.hem_bar(name)).to_have_attribute("aria-valuenow", str(percent), timeout=MOVES_MS)

    def wait_still(self, name: str, percent: int) -> None:
        """Wait until it shows a percent, and nothing under way."""
        words = re.compile(rf"^{percent} percent open, known to")
        expect(self.hem_bar(name)).to_have_attribute("aria-valuetext", words, timeout=MOVES_MS)

    def picture(self, name: str, *, whole: bool = False) -> None:
        SHOTS.mkdir(parents=True, exist_ok=True)
        self.page.screenshot(path=SHOTS / f"{name}.png", full_page=whole)


@dataclass
class Home:
    """The house, the address of its page, and whoever looks at it."""

    house: House
    url: str
    chromium: Browser
    contexts: list[BrowserContext] = field(default_factory=list)

    def visit(self, path: str = "", **options: Any) -> Visitor:
        """Open the page on a screen of its own; by default a phone."""
        options = {"viewport": PHONE, "timezone_id": "Asia/Tokyo", **options}
        context = self.chromium.new_context(**options)
        self.contexts.append(context)
        visitor = Visitor(context.new_page())
        visitor.page.on("pageerror", lambda error: visitor.troubles.append(str(error)))
        visitor.page.on("console", lambda said: visitor.heard(said.type, said.text))
        visitor.page.goto(f"{self.url}/{path}")
        return visitor

    def leave(self) -> None:
        for context in self.contexts:
            context.close()
        self.contexts.clear()


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """Start one browser a module: while it lives, no other test of this process can run an event loop."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        missing = "Chromium is not installed (Debian: apt-get install chromium)"
        if os.environ.get("CI"):
            pytest.fail(missing)
        pytest.skip(missing)
    with sync_playwright() as playwright:
        # Root, as in a container, has no sandbox to offer.
        sandbox = ["--no-sandbox"] if os.geteuid() == 0 else []
        browser = playwright.chromium.launch(executable_path=program, args=sandbox)
        yield browser
        browser.close()


@contextmanager
def opened_home(broker: Any, folder: Path, chromium: Browser, more: str) -> Iterator[Home]:
    port = free_port()
    page = f"[page]\nport = {port}\n{more}"
    with running_house(broker, folder, more=page) as house:
        home = Home(house, f"http://127.0.0.1:{port}", chromium)
        house.ear.wait(
            lambda: bool(house.bridge.logged("page.server.opened")), "the page is served", within_s=60
        )
        try:
            yield home
        finally:
            home.leave()


@pytest.fixture
def home(brokers: Callable[..., Any], tmp_path: Path, chromium: Browser) -> Iterator[Home]:
    """Give a house of one's own, all shades unknown."""
    mosquitto_program()
    with opened_home(brokers(), tmp_path, chromium, WINDOWS) as found:
        yield found
