"""Care in a real browser: the reference led at the window, boards, alerts, the journal."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import expect

from bridge.simulate.demo_house import NOMINAL
from tests.browser.conftest import MOVES_MS, Home

pytestmark = pytest.mark.browser


@contextmanager
def hand_at_the_landing(home: Home) -> Iterator[subprocess.Popen[str]]:
    """Put the landing's board into a process that also has a hand at its button."""
    home.house.boards["stair-board"].stop()
    program = [
        sys.executable,
        str(Path(__file__).parent / "hand.py"),
        str(home.house.mosquitto.port),
        str(home.house.state),
    ]
    process = subprocess.Popen(
        program, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2]
    )
    try:
        yield process
    finally:
        assert process.stdin is not None
        process.stdin.close()
        process.wait(10)
        assert process.stdout is not None
        process.stdout.close()


def jog(hand: subprocess.Popen[str], to_mm: float) -> str:
    assert hand.stdin is not None
    assert hand.stdout is not None
    hand.stdin.write(f"jog {to_mm}\n")
    hand.stdin.flush()
    return hand.stdout.readline()


def test_the_hand_reference_leads_a_person_at_the_window(home: Home) -> None:
    with hand_at_the_landing(home) as hand:
        home.house.ear.wait(lambda: home.house.answered("landing"), "its board answers", within_s=20)
        visitor = home.visit("#/care")
        page = visitor.page
        page.get_by_role("link", name="Take a reference of Landing").last.click()
        expect(page.get_by_role("heading", name="Before you begin")).to_be_visible()
        expect(page.get_by_text("no safety device")).to_be_visible()
        visitor.picture("phone-cautions", whole=True)
        page.get_by_role("button", name="I stand at the window").click()
        page.get_by_role("button", name="At its lower mark").click()
        # From unknown nothing may be lowered by the bridge: the person takes it there.
        expect(page.get_by_role("heading", name="Take it to its lower limit yourself")).to_be_visible()
        assert jog(hand, NOMINAL["landing"].drop_mm).startswith("there")
        page.get_by_role("button", name="The hem bar is at its mark").click()
        expect(page.get_by_text("It is referenced now")).to_be_visible(timeout=MOVES_MS)
        page.get_by_role("button", name="One more").click()
        page.get_by_role("button", name="At its upper mark").click()
        expect(page.get_by_role("heading", name="Now jog it to its upper limit")).to_be_visible(
            timeout=MOVES_MS
        )
        visitor.picture("phone-jog", whole=True)
        assert jog(hand, 0).startswith("there")
        page.get_by_role("button", name="The hem bar is at its mark").click()
        expect(page.get_by_text("It is referenced now")).to_be_visible(timeout=MOVES_MS)
        visitor.picture("phone-referenced", whole=True)
        home.house.ear.wait(
            lambda: home.house.value("landing", "knowledge/grade") == "referenced", "the tree agrees"
        )
        assert home.house.claim_holds("landing")
        assert visitor.troubles == []


def test_a_switch_is_found_when_the_page_is_asked_for_it(home: Home) -> None:
    home.house.ear.wait(lambda: home.house.answered("study"), "its board answers", within_s=20)
    page = home.visit("#/reference/study").page
    page.get_by_role("button", name="I stand at the window").click()
    page.get_by_role("button", name="Let it find its upper switch").click()
    expect(page.get_by_role("heading", name="It runs slowly up to its switch")).to_be_visible()
    expect(page.get_by_text("It is referenced now")).to_be_visible(timeout=MOVES_MS)


def test_care_says_what_to_do_and_which_board_is_lost(home: Home) -> None:
    home.house.ear.wait(lambda: home.house.answered("landing"), "its board answers", within_s=20)
    visitor = home.visit("#/care")
    wanted = visitor.page.get_by_role("region", name="What needs a person")
    expect(wanted.get_by_role("listitem").filter(has_text="Landing")).to_contain_text(
        "take a reference", timeout=MOVES_MS
    )
    home.house.boards["stair-board"].kill()
    expect(wanted).to_contain_text("can't be reached; check its power and network", timeout=MOVES_MS)
    visitor.page.reload()
    boards = visitor.page.get_by_role("region", name="Boards")
    expect(boards.get_by_role("listitem").filter(has_text="stair-board")).to_contain_text("check its power")
    visitor.picture("phone-care", whole=True)


def test_the_journal_is_searched_as_one_types(home: Home) -> None:
    home.house.find_top("study")
    home.house.ask("study", "60")
    home.house.wait_at_rest("study", "60")
    visitor = home.visit("#/care")
    journal = visitor.page.get_by_role("region", name="What happened, and why")
    entries = journal.get_by_role("list").get_by_role("listitem")
    expect(entries.filter(has_text="60").first).to_be_visible(timeout=MOVES_MS)
    before = entries.count()
    journal.get_by_role("searchbox").fill("zzz nothing like it")
    expect(journal).to_contain_text("Nothing is found")
    journal.get_by_role("searchbox").fill("60 %")
    expect(entries.first).to_contain_text("60 %")
    assert 0 < entries.count() < before
    journal.get_by_label("Shade").select_option("Kitchen")
    expect(journal).to_contain_text("Nothing is found")
