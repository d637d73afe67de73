"""One house and its simulated boards in virtual time, without a broker between: for tests of single stories.

Messages arrive at once and in order. The faults of networks and disks are in `bridge/simulate/world`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

from bridge.adapters.links import contract
from bridge.core.contract import Do, Link, Order
from bridge.core.events import Asked, BrokerReached, Confirmed, Event, Place, Started, Ticked, Want
from bridge.core.house import due_s, handle
from bridge.core.outcome import Note
from bridge.core.outlook import ShadeOutlook, shade_outlook
from bridge.core.spec import HouseSpec
from bridge.core.state import House, Shade
from bridge.core.values import Moment, Rank, ShadeId
from bridge.settings.load import load
from bridge.simulate.board import Board
from bridge.simulate.demo_house import DEMO_HOUSE
from bridge.simulate.truth import Tube
from bridge.simulate.wire import Publish

ROOT = "shade-boards"
BEGAN = datetime(2026, 4, 1, 8, 0, tzinfo=UTC)
STEP_S = 0.1


def demo_spec() -> HouseSpec:
    """The demo house as its settings say."""
    return load(Path(__file__).parents[1] / "bridge" / "simulate" / "demo_house.toml").house


@dataclass
class SmallHouse:
    """A house that has started, with all its boards under power and heard."""

    spec: HouseSpec = field(default_factory=demo_spec)
    now_s: float = 0.0
    house: House | None = None
    notes: list[Note] = field(default_factory=list)
    orders: list[tuple[str, Order]] = field(default_factory=list)
    stuck_open: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        self.boards = {plan.id: Board(plan, Random(7)) for plan in DEMO_HOUSE.boards}
        self.take(Started(at=self.at, spec=self.spec))
        self.take(BrokerReached(at=self.at))
        for name in self.stuck_open:
            self.tube(name).state.upper_stuck = False
        for board in self.boards.values():
            board.power_up(self.now_s)
            self.hear(board.connected(self.now_s))

    @property
    def at(self) -> Moment:
        return Moment(utc=BEGAN + timedelta(seconds=self.now_s), mono_s=self.now_s)

    def shade(self, name: str) -> Shade:
        assert self.house is not None
        return self.house.shades[ShadeId(name)]

    def shown(self, name: str) -> ShadeOutlook:
        assert self.house is not None
        return shade_outlook(self.house, self.shade(name))

    def tube(self, name: str) -> Tube:
        """The shade as it really is."""
        for board in self.boards.values():
            for channel in board.channels:
                if channel.fitting.shade == name:
                    return channel.tube
        raise KeyError(name)

    def take(self, event: Event) -> None:
        """Let one event happen; its orders reach their boards at once."""
        self.house, decisions = handle(self.house, event)
        self.notes += decisions.notes
        for each in decisions.orders:
            self.orders.append((each.shade, each.order))
            topic, payload = contract.encode(each.order, root=ROOT, board=each.board, channel=each.channel)
            self.hear(self.boards[each.board].on_message(topic, payload, False, self.now_s))

    def ask(self, name: str, want: Want, *, rank: Rank = Rank.HAND) -> None:
        self.take(Asked(at=self.at, shade=ShadeId(name), want=want, rank=rank, source="a test"))

    def confirm(self, name: str, place: Place) -> None:
        self.take(Confirmed(at=self.at, shade=ShadeId(name), place=place))

    def run(self, seconds: float) -> None:
        """Let time pass."""
        until = self.now_s + seconds
        while self.now_s < until:
            self.now_s += STEP_S
            for board in self.boards.values():
                self.hear(board.advance(self.now_s))
            assert self.house is not None
            due = due_s(self.house)
            if due is not None and due <= self.now_s:
                self.take(Ticked(at=self.at))

    def lose_power(self, board: str) -> None:
        """Cut a board's power; the broker speaks its will."""
        will = self.boards[board].link(Link.LOST)
        self.boards[board].power_cut(self.now_s)
        self.hear([will])

    def give_power(self, board: str) -> None:
        self.boards[board].power_up(self.now_s)
        self.hear(self.boards[board].connected(self.now_s))

    def claim_holds(self, name: str) -> bool:
        """Whether the claim contains where the hem bar really is, in mm."""
        shade = self.shade(name)
        travel, hull = shade.spec.travel, shade.knowledge.hull
        return travel.drop_at_steps(hull.low) <= self.tube(name).drop_mm <= travel.drop_at_steps(hull.high)

    def said(self, name: str) -> list[Note]:
        return [note for note in self.notes if note.name == name]

    def dos(self, name: str) -> list[Do]:
        return [order.do for shade, order in self.orders if shade == name]

    def hear(self, published: list[Publish]) -> None:
        for each in published:
            event = contract.decode(ROOT, each.topic, each.payload, retained=False, at=self.at)
            if event is not None:
                self.take(event)
