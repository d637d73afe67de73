"""The page in the daemon: nothing of it where it is not wanted, and answers to whoever asked."""

from __future__ import annotations

import asyncio
import subprocess
import sys
from pathlib import Path

import pytest

from bridge.adapters.page.refusals import RefusalError
from bridge.core.events import Switch, Switched
from bridge.core.outcome import Decisions, Level, Note
from bridge.core.values import Moment
from bridge.shell.deciding import Step
from bridge.shell.page import WAITING_MAX, PageAsked, PageHome
from tests.core_house import Talk
from tests.page_visit import begun

WEB = (
    "pydantic",
    "starlette",
    "uvicorn",
    "h11",
    "anyio",
    "numpy",
    "bridge.adapters.page.serving",
    "http.cookies",
)


def test_a_daemon_without_a_page_loads_nothing_of_the_web_and_no_models() -> None:
    loaded = "import sys, bridge.shell.daemon, bridge.settings.apart; "
    code = f"{loaded}print([name for name in {WEB!r} if name in sys.modules])"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "[]"


def home_of(handed: list[PageAsked]) -> PageHome:
    house = begun(Talk()).house
    assert house is not None
    return PageHome(Path("/nowhere"), lambda: house, handed.append, {})


def asked(at: Moment) -> Switched:
    return Switched(at=at, switch=Switch.LOCK, on=True, source="the page")


async def test_who_asks_hears_what_the_house_decided() -> None:
    handed: list[PageAsked] = []
    home = home_of(handed)
    event = asked(home.now())
    waiting = asyncio.create_task(home.ask(event))
    await asyncio.sleep(0)
    note = Note(name="request.ended", level=Level.WARNING, fields=(("fate", "refused"), ("why", "no")))
    home.told([Step(event, home.house(), Decisions(notes=(note,)))], "")
    answer = await waiting
    assert (answer.taken, answer.refused) == (False, (("", "no"),))
    assert home.counted()["requests"] == {"refused": 1}


async def test_what_changes_nothing_is_taken_and_what_the_disk_refuses_is_not() -> None:
    handed: list[PageAsked] = []
    home = home_of(handed)
    waiting = asyncio.create_task(home.ask(asked(home.now())))
    await asyncio.sleep(0)
    handed.pop().done()
    assert (await waiting).taken
    event = asked(home.now())
    waiting = asyncio.create_task(home.ask(event))
    await asyncio.sleep(0)
    home.told([Step(event, home.house(), Decisions())], "the disk is full")
    assert (await waiting).refused == (("", "the disk is full"),)


async def test_only_so_many_wait_for_the_house() -> None:
    home = home_of([])
    waiting = [asyncio.create_task(home.ask(asked(home.now()))) for _ in range(WAITING_MAX)]
    await asyncio.sleep(0)
    with pytest.raises(RefusalError, match="too many requests"):
        await home.ask(asked(home.now()))
    for each in waiting:
        each.cancel()


async def test_a_journal_that_cannot_be_read_is_a_refusal_with_its_reason() -> None:
    with pytest.raises(RefusalError, match="can't be read"):
        await home_of([]).journal(search="", shade="", before=None, limit=5)
