"""An event looks at few shades and decides what a look at all of them would have, when it would have."""

from __future__ import annotations

from collections.abc import Callable
from types import ModuleType

import pytest

from bridge.core import dues
from bridge.core import house as core
from bridge.core.contract import Link
from bridge.core.events import (
    BrokerLost,
    BrokerReached,
    Button,
    Event,
    LinkHeard,
    Percent,
    Press,
)
from bridge.core.hearing import hear_link
from bridge.core.outcome import Decisions
from bridge.core.state import House, Shade
from bridge.core.turn import Turn
from bridge.simulate.world import server
from bridge.simulate.world.world import Options, World
from tests import full_look, level_house, scene
from tests.scene import Scene, house_spec, on_supply, shade_spec
from tests.weather import AZORES, WINDOW, Weather, choice, sensor


class DiffersError(Exception):
    """A look was left out, or its time."""


class Both:
    """Stands in for `handle` and `due_s`, and holds them against a full look each time."""

    def __init__(self) -> None:
        self.events = self.waits = self.anew = 0
        self.last: House | None = None

    def stand_in(self, patch: pytest.MonkeyPatch, module: ModuleType) -> Both:
        patch.setattr(module, "handle", self.handle)
        patch.setattr(module, "due_s", self.due_s)
        return self

    def handle(self, house: House | None, event: Event) -> tuple[House, Decisions]:
        after, decisions = core.handle(house, event)
        if (after, decisions) != full_look.handled(house, event):
            raise DiffersError(event)
        self.events += 1
        return after, decisions

    def due_s(self, house: House) -> float | None:
        wanted = core.due_s(house)
        if wanted != full_look.due_s(house):
            raise DiffersError(wanted)
        self.waits += wanted is not None
        self.anew += self.last is not None and self.last.spec is not house.spec
        self.last = house
        return wanted


def live(patch: pytest.MonkeyPatch, *seeds: int) -> Both:
    both = Both().stand_in(patch, server)
    for seed in seeds:
        World(Options(seed=seed, days=3.0)).run()
    return both


def share_a_supply(patch: pytest.MonkeyPatch) -> Both:
    """Four shades on amps for one of them: three wait, the first for a board that falls silent."""
    both = Both().stand_in(patch, scene)
    house = Scene(
        house_spec(*(on_supply(name) for name in ("one", "two", "three", "four")), amps=1.6)
    ).begin()
    for name in ("one", "two", "three", "four"):
        house.ask(name, 40)
    house.boards["one"].heard = False
    house.run(120.0)
    return both


def ask_silent_boards(patch: pytest.MonkeyPatch) -> Both:
    """Boards that do not answer are asked again, each in its own time, until they are known to be lost."""
    both = Both().stand_in(patch, scene)
    house = Scene(house_spec(on_supply("one"), on_supply("two"))).begin()
    for board in house.boards.values():
        board.heard = False
    house.event(BrokerLost(at=house.at))
    house.event(BrokerReached(at=house.at))
    house.run(1.0)
    link = house.boards["two"].spec.contract
    house.event(LinkHeard(at=house.at, board=link.board, link=Link.UP, boot=1, retained=False))
    house.run(30.0)
    house.event(BrokerLost(at=house.at))
    house.event(BrokerReached(at=house.at))
    for name in house.boards:
        house.link(name, Link.LOST)
    house.run(30.0)
    return both


def stop_a_retract(patch: pytest.MonkeyPatch) -> Both:
    """Somebody stops what the wind rule raises; after a pause it goes on."""
    both = Both().stand_in(patch, scene)
    shade = shade_spec("landing", rules=(choice("wind", gust_limit_mps=10.0, calm_min=10.0),), window=WINDOW)
    house = Weather(house_spec(shade, site=AZORES, sensors=(sensor("gust"),)), now_s=100.0).begin()
    assert isinstance(house, Weather)
    house.hold_at("gust", 3.0, 700)
    house.ask("landing", 20)
    house.hold_at("gust", 3.0, 60)
    house.say("gust", 12.0)
    house.run(2)
    house.ask("landing", Press(button=Button.STOP))
    house.run(90.0)
    return both


def test_simulated_houses_decide_what_a_look_at_every_shade_would(monkeypatch: pytest.MonkeyPatch) -> None:
    both = live(monkeypatch, 3, 68, 216, 936, 1174)
    assert both.events > 500
    assert both.waits > 100
    assert both.anew > 0, "no house took other settings or began anew"


def test_a_level_group_that_waits_and_moves_is_looked_at_in_time(monkeypatch: pytest.MonkeyPatch) -> None:
    both = Both().stand_in(monkeypatch, level_house)
    house = level_house.LevelHouse(delays_s=(0.002, 0.052), seed=1).referenced()
    house.ask_all(Percent(open_pct=40))
    house.run(8.0)
    assert both.waits > 100


SCENES = (share_a_supply, ask_silent_boards, stop_a_retract)


@pytest.mark.parametrize("happens", SCENES)
def test_what_waits_is_looked_at_in_time(
    monkeypatch: pytest.MonkeyPatch, happens: Callable[[pytest.MonkeyPatch], Both]
) -> None:
    assert happens(monkeypatch).waits > 10


def untouched(turn: Turn, shade: Shade, event: LinkHeard, *, changed: bool) -> Shade:
    return shade if event.link is Link.LOST else hear_link(turn, shade, event, changed=changed)


# What is left out, where, and in which scene that must show.
BREAKS = {
    "the due of what waits for amps": (core, "queue_due_s", lambda *_: None, share_a_supply),
    "the look at those of a changed board": (core, "hear_link", untouched, ask_silent_boards),
    "the look at what waits beside a change": (
        dues,
        "_with_neighbours",
        lambda _, rows, __: rows,
        share_a_supply,
    ),
    "the clock": (dues, "_clocks", lambda _: iter(()), ask_silent_boards),
    "the end of what nobody hears": (dues, "surely_over_s", lambda *_: dues.NEVER, share_a_supply),
    "the end of a guard's pause": (dues, "_rules_again", lambda *_: dues.NEVER, stop_a_retract),
}


@pytest.mark.parametrize("left_out", BREAKS)
def test_a_look_that_is_left_out_shows(monkeypatch: pytest.MonkeyPatch, left_out: str) -> None:
    module, name, instead, happens = BREAKS[left_out]
    monkeypatch.setattr(module, name, instead)
    with pytest.raises(DiffersError):
        happens(monkeypatch)
