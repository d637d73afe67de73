"""A house of the core with one board at its other end, for tests that tell it what the board says."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from bridge.core.contract import Do, Link, Order, Report, Sense, Then, Why
from bridge.core.events import (
    Asked,
    BrokerReached,
    Event,
    LinkHeard,
    Percent,
    Press,
    ReportHeard,
    Started,
    Want,
)
from bridge.core.house import handle
from bridge.core.outcome import Decisions, Note
from bridge.core.spec import HouseSpec, ShadeSpec
from bridge.core.state import House, Shade
from bridge.core.values import BoardId, Moment, Rank, ShadeId
from bridge.settings.load import load_text

EPOCH = datetime(2026, 3, 1, tzinfo=UTC)
SETTINGS = Path(__file__).parents[1] / "bridge" / "simulate" / "demo_house.toml"
STUDY, KITCHEN, LANDING = ShadeId("study"), ShadeId("kitchen"), ShadeId("landing")
ATTIC = BoardId("attic-board")


def demo_spec(*changes: tuple[str, str]) -> HouseSpec:
    """Return the demo house, its settings' text changed first; each change must be found in it."""
    text = SETTINGS.read_text()
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return load_text(text, origin="demo_house.toml").house


@dataclass
class Talk:
    """The house, and what one channel of a board says to it: the study's, unless told otherwise."""

    spec: HouseSpec = field(default_factory=demo_spec)
    house: House | None = None
    name: ShadeId = STUDY
    now_s: float = 100.0
    boot: int = 412
    n: int = 100
    seq: int = 0
    count: int = 0
    awake: bool = False
    orders: list[Order] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    last: Decisions = field(default_factory=Decisions)

    def at(self) -> Moment:
        self.now_s += 0.5
        return Moment(utc=EPOCH + timedelta(seconds=self.now_s), mono_s=self.now_s)

    def tell(self, event: Event) -> Decisions:
        self.house, self.last = handle(self.house, event)
        self.orders += [each.order for each in self.last.orders if each.shade == self.name]
        self.notes += self.last.notes
        return self.last

    @property
    def shade(self) -> Shade:
        assert self.house is not None
        return self.house.shades[self.name]

    @property
    def shade_spec(self) -> ShadeSpec:
        return next(each for each in self.spec.shades if each.id == self.name)

    def noted(self, name: str) -> list[Note]:
        return [each for each in self.notes if each.name == name]

    def start(self, *, memory_lost: bool = False) -> None:
        self.tell(Started(at=self.at(), spec=self.spec, memory_lost=memory_lost))
        self.reach()

    def reach(self) -> None:
        self.tell(BrokerReached(at=self.at()))

    def link(self, *, retained: bool = False) -> None:
        link = self.shade_spec.contract
        self.tell(LinkHeard(at=self.at(), board=link.board, link=Link.UP, boot=self.boot, retained=retained))

    def report(self, *, retained: bool = False, **said: Any) -> None:
        """Let the board report; `n` rises unless it is retained."""
        self.n += not retained
        plain = Report(
            boot=self.boot,
            n=self.n,
            count=self.count,
            kept=True,
            moving=False,
            awake=self.awake,
            why=Why.TOLD,
            seq=self.seq,
            senses=(Sense.UPPER_SWITCH,) if self.shade_spec.upper_switch is not None else (),
            pulses_per_turn=self.shade_spec.travel.drive.pulses_per_turn,
        )
        link = self.shade_spec.contract
        event = ReportHeard(
            at=self.at(),
            board=link.board,
            channel=link.channel,
            report=replace(plain, **said),
            retained=retained,
        )
        self.tell(event)

    def answer(self, **said: Any) -> None:
        """Let the board answer the last question."""
        tell = [each for each in self.orders if each.do is Do.TELL][-1]
        self.seq = tell.seq
        self.report(answers=tell.seq, **said)

    def ask(self, want: Want) -> None:
        self.tell(Asked(at=self.at(), shade=self.name, want=want, rank=Rank.HAND, source="a test"))

    def obey(self, why: Why = Why.ARRIVED) -> None:
        """Let the board do its last order and say so."""
        order = self.orders[-1]
        self.seq = order.seq
        self.report(why=Why.STARTED, moving=True, awake=True, to=order.to)
        if order.to is not None:
            # Two progress reports a second, which nobody need have heard.
            self.n += 2 * abs(order.to - self.count) // self.shade_spec.top_pps
            self.count = order.to
        self.awake = order.then is Then.STAY
        self.report(why=why, to=order.to)

    def go(self, percent: int) -> None:
        self.ask(Percent(open_pct=percent))
        assert self.orders[-1].do is Do.GO, self.notes
        self.obey()

    def find_top(self, press: Press) -> None:
        """Let it find its upper switch."""
        self.ask(press)
        sought = self.orders[-1]
        assert sought.do is Do.SEEK
        self.obey(Why.UPPER_SWITCH)
        if self.orders[-1] is not sought and self.orders[-1].do is Do.GO:
            self.obey()
