"""A house of two shades whose positions are known, what gets it there, and what stands around it."""

from __future__ import annotations

import io
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory

from bridge.adapters.broker.messages import Publication
from bridge.adapters.broker.tree import Tree
from bridge.core.contract import Link, Report, Why
from bridge.core.errors import LinkError
from bridge.core.events import (
    Asked,
    BrokerReached,
    Button,
    Confirmed,
    Event,
    LinkHeard,
    Percent,
    Place,
    Press,
    ReportHeard,
    Started,
)
from bridge.core.outcome import Decisions
from bridge.core.spec import HouseSpec
from bridge.core.state import House
from bridge.core.values import BoardId, Moment, Rank, ShadeId
from bridge.ports import Recovered
from bridge.settings.load import load
from bridge.shell import logs
from bridge.shell.bench.house import settings_text
from bridge.shell.deciding import Deciding
from bridge.shell.faces import Faces

ONE, OTHER = ShadeId("s0000"), ShadeId("s0001")
BOARD = BoardId("b0000")
ORDERS = {ONE: "shade-boards/b0000/0/order", OTHER: "shade-boards/b0000/1/order"}
DISK_FULL = LinkError(where="journal", problem="the disk is full", remedy="make room")


def at(second: float) -> Moment:
    return Moment(utc=datetime(2026, 3, 1, 8, tzinfo=UTC) + timedelta(seconds=second), mono_s=100.0 + second)


@cache
def spec() -> HouseSpec:
    with TemporaryDirectory() as folder:
        file = Path(folder) / "house.toml"
        file.write_text(settings_text("small", 2, host="127.0.0.1", port=1883), encoding="utf-8")
        return load(file).house


def ask(pct: int, *, shade: ShadeId = ONE, second: float = 10.0) -> Asked:
    return Asked(at=at(second), shade=shade, want=Percent(open_pct=pct), rank=Rank.HAND, source="a test")


def stop(*, second: float = 11.0) -> Asked:
    want = Press(button=Button.STOP)
    return Asked(at=at(second), shade=ONE, want=want, rank=Rank.HAND, source="a test")


class FakeJournal:
    """Remembers what was appended, each call as a list; refuses while `refuses` says so."""

    def __init__(self) -> None:
        self.written: list[list[Event]] = []
        self.decided: list[Decisions] = []
        self.snapshots: list[tuple[House, bool]] = []
        self.refuses = False
        self.tries = 0
        self.wants_snapshot = self.needs_snapshot = False
        self.closed = False

    def recover(self) -> Recovered:
        return Recovered(house=None)

    def append(self, *happened: tuple[Event, Decisions]) -> None:
        self.tries += 1
        self._refuse()
        self.written.append([event for event, _ in happened])
        self.decided += [decisions for _, decisions in happened]

    def snapshot(self, house: House, *, forced: bool = False) -> None:
        self._refuse()
        self.snapshots.append((house, forced))
        self.wants_snapshot = self.needs_snapshot = False

    def close(self) -> None:
        self.closed = True

    def _refuse(self) -> None:
        if self.refuses:
            raise DISK_FULL


class Bench:
    """A deciding loop with everything around it faked: journal, broker, log."""

    def __init__(self) -> None:
        self.journal = FakeJournal()
        self.sent: list[tuple[Publication, float | None]] = []
        self.log = io.StringIO()
        tree = Tree(shades=tuple((shade.id, shade.name) for shade in spec().shades))
        self.faces = Faces(tree, boards_root="shade-boards", bridge="test", send=self._send)
        logger = logs.begin(verbose=True, as_json=True, to=self.log)
        self.deciding = Deciding(self.journal, self.faces, logger)
        self._numbers = count(1)

    def _send(self, publication: Publication, lifetime_s: float | None) -> None:
        self.sent.append((publication, lifetime_s))

    @property
    def house(self) -> House:
        assert self.deciding.house is not None
        return self.deciding.house

    async def begin(self) -> None:
        """Start, hear both channels and confirm both shades at their upper limit."""
        await self.deciding.take(Started(at=at(0), spec=spec(), memory_lost=False))
        await self.deciding.take(BrokerReached(at=at(1)))
        up = LinkHeard(at=at(2), board=BOARD, link=Link.UP, boot=1, retained=False)
        await self.deciding.take(up)
        for shade in (ONE, OTHER):
            await self.deciding.take(self.report(shade, answers=self.house.shades[shade].channel.asked_seq))
            await self.deciding.take(Confirmed(at=at(4), shade=shade, place=Place.UPPER))
        self.faces.open(self.house)
        self.faces.flush()
        self.forget()

    def report(self, shade: ShadeId, *, answers: int | None = None, second: float = 3.0) -> ReportHeard:
        seq = self.house.shades[shade].seq
        said = Report(
            boot=1,
            n=next(self._numbers),
            count=0,
            kept=True,
            moving=False,
            awake=False,
            why=Why.TOLD,
            seq=seq,
            answers=answers,
        )
        channel = 0 if shade == ONE else 1
        return ReportHeard(at=at(second), board=BOARD, channel=channel, report=said, retained=False)

    def forget(self) -> None:
        self.sent.clear()
        self.journal.written.clear()
        self.journal.tries = 0

    def topics(self) -> list[str]:
        return [publication.topic for publication, _ in self.sent]

    def payloads(self, ending: str) -> Iterator[bytes]:
        return (each.payload for each, _ in self.sent if each.topic.endswith(ending))
