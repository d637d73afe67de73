"""Three shades side by side, of tubes of 32, 40 and 50 mm, in virtual time with a network that delays.

Each board gets its orders, and the bridge each report, after a delay drawn from what the network takes; order
within one direction is kept, as a broker keeps it. What is measured is the true hem bar.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from heapq import heappop, heappush
from itertools import count
from random import Random

from bridge.adapters.links import contract
from bridge.core.contract import Link
from bridge.core.events import (
    Asked,
    BrokerReached,
    Button,
    Event,
    GroupAsked,
    Percent,
    Press,
    Started,
    Ticked,
    Want,
)
from bridge.core.house import due_s, handle
from bridge.core.outcome import Note, SendOrder
from bridge.core.shade.drive import Drive
from bridge.core.shade.roll import Roll
from bridge.core.shade.travel import Travel
from bridge.core.spec import ContractLink, GroupSpec, HouseSpec, ShadeSpec, SupplySpec
from bridge.core.state import House, Shade
from bridge.core.values import BoardId, GroupId, Moment, Rank, ShadeId, SupplyId
from bridge.simulate.board import Board
from bridge.simulate.build import Build
from bridge.simulate.fitting import BoardPlan, Fitting
from bridge.simulate.truth import Tube
from bridge.simulate.wire import Publish
from tests.scene import shade_spec

ROOT = "shade-boards"
BEGAN = datetime(2026, 4, 1, 8, 0, tzinfo=UTC)
STEP_S = 0.02
GROUP = GroupId("front")
GEAR = Fraction(57, 11)


@dataclass(frozen=True, kw_only=True)
class Bar:
    """One shade of the row."""

    name: str
    tube_mm: float
    cloth_mm: float
    drop_mm: float = 1800.0
    top_pps: int = 3000
    ramp_pps2: int = 3000
    start_mm: float = 0.0
    moving_a: float = 1.0
    stall: bool = False

    @property
    def spec(self) -> ShadeSpec:
        roll = Roll(tube_mm=self.tube_mm, cloth_mm=self.cloth_mm, drop_mm=self.drop_mm, wraps_left=1.5)
        return shade_spec(
            self.name,
            travel=Travel(roll=roll, drive=Drive(pulses_per_rev=800, gear=GEAR)),
            link=ContractLink(board=BoardId(f"{self.name}-board"), channel=0),
            top_pps=self.top_pps,
            ramp_pps2=self.ramp_pps2,
            supply=SupplyId("rail"),
            moving_a=self.moving_a,
            slip_per_turn_mm=0.01,
            slip_per_move_mm=0.05,
        )

    @property
    def plan(self) -> BoardPlan:
        build = Build(
            tube_mm=self.tube_mm, cloth_mm=self.cloth_mm, drop_mm=self.drop_mm, wraps_left=1.5,
            upper_switch_mm=-4.0, start_mm=self.start_mm, stop_mm=-19.0, slip_move_mm=0.05, slip_turn_mm=0.01,
            hem_bar_kg=0.2, cloth_kgpm2=0.15, detent_nm=0.2, holding_nm=1.0, corner_pps=20000.0,
        )  # fmt: skip
        fitting = Fitting(
            shade=self.name, build=build, pulses_per_turn=800 * GEAR, record=0, stall=self.stall
        )
        return BoardPlan(id=f"{self.name}-board", channels=(fitting,))


ROW = (
    Bar(name="left", tube_mm=32, cloth_mm=0.45),
    Bar(name="middle", tube_mm=40, cloth_mm=0.5),
    Bar(name="right", tube_mm=50, cloth_mm=0.4),
)


@dataclass
class LevelHouse:
    """The row, known at its upper limit.

    Args:
        bars: The shades.
        level: They are a level group; else each moves at its own speed.
        delays_s: Between which each message is late.
        amps: Of their one supply.
    """

    bars: tuple[Bar, ...] = ROW
    level: bool = True
    delays_s: tuple[float, float] = (0.002, 0.05)
    amps: float = 10.0
    seed: int = 1
    now_s: float = 0.0
    house: House | None = None
    notes: list[Note] = field(default_factory=list)
    sent: list[tuple[float, SendOrder]] = field(default_factory=list)
    unheard: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.rng = Random(self.seed)
        self.mail: list[tuple[float, int, str, Publish]] = []
        self.latest: dict[str, float] = {}
        self.numbers = count()
        self.boards = {bar.name: Board(bar.plan, Random(self.seed)) for bar in self.bars}
        members = tuple(ShadeId(bar.name) for bar in self.bars)
        spec = HouseSpec(
            name="Gull House",
            shades=tuple(bar.spec for bar in self.bars),
            groups=(GroupSpec(id=GROUP, name="Front", members=members, level=self.level),),
            supplies=(SupplySpec(id=SupplyId("rail"), amps=self.amps),),
        )
        self.take(Started(at=self.at, spec=spec))
        self.take(BrokerReached(at=self.at))
        for name, board in self.boards.items():
            board.power_up(self.now_s)
            self._post(f"{name}>", board.connected(self.now_s))
        self.run(2)

    def referenced(self) -> LevelHouse:
        """Return the row after each shade has met its switch."""
        for name in self.boards:
            self.ask(name, Press(button=Button.UP))
            self.run(6)
        assert set(self.ends().values()) == {"reached"}, self.notes
        self.notes.clear()
        self.sent.clear()
        return self

    @property
    def at(self) -> Moment:
        return Moment(utc=BEGAN + timedelta(seconds=self.now_s), mono_s=self.now_s)

    def shade(self, name: str) -> Shade:
        assert self.house is not None
        return self.house.shades[ShadeId(name)]

    def tube(self, name: str) -> Tube:
        return self.boards[name].channels[0].tube

    def drops(self) -> dict[str, float]:
        """Return where each hem bar really is."""
        return {name: self.tube(name).drop_mm for name in self.boards}

    def take(self, event: Event) -> None:
        self.house, decisions = handle(self.house, event)
        self.notes += decisions.notes
        for each in decisions.orders:
            self.sent.append((self.now_s, each))
            topic, payload = contract.encode(each.order, root=ROOT, board=each.board, channel=each.channel)
            self._post(f">{each.shade}", [Publish(topic=topic, payload=payload)])

    def ask(self, name: str, want: Want, *, rank: Rank = Rank.HAND) -> None:
        self.take(Asked(at=self.at, shade=ShadeId(name), want=want, rank=rank, source="a test"))

    def ask_all(self, want: Want | int) -> None:
        want = Percent(open_pct=want) if isinstance(want, int) else want
        self.take(GroupAsked(at=self.at, group=GROUP, want=want, rank=Rank.HAND, source="a test"))

    def run(self, seconds: float) -> list[dict[str, float]]:
        """Let time pass; return where the hem bars were at each step of it."""
        until_s, seen = self.now_s + seconds, []
        while self.now_s < until_s:
            self.now_s += STEP_S
            self._deliver()
            for name, board in self.boards.items():
                self._post(f"{name}>", board.advance(self.now_s))
            for _ in range(20):
                assert self.house is not None
                due = due_s(self.house)
                if due is None or due > self.now_s:
                    break
                self.take(Ticked(at=self.at))
            else:
                raise AssertionError("the house ticks without end")
            seen.append(self.drops())
        return seen

    def press(self, name: str, button: str) -> None:
        """A finger on a button at a board."""
        self._post(f"{name}>", self.boards[name].press(0, button, self.now_s))

    def lose(self, name: str) -> None:
        """Take a board out of the network; the broker speaks its will."""
        self.unheard.add(name)
        self._hear(self.boards[name].link(Link.LOST))

    def ends(self) -> dict[str, str]:
        """Return the fate of the last request of each shade that has ended."""
        ended = [note for note in self.notes if note.name == "request.ended"]
        return {str(note.shade): str(dict(note.fields)["fate"]) for note in ended}

    def _post(self, way: str, published: list[Publish]) -> None:
        for each in published:
            at_s = max(self.now_s + self.rng.uniform(*self.delays_s), self.latest.get(way, 0.0))
            self.latest[way] = at_s
            heappush(self.mail, (at_s, next(self.numbers), way, each))

    def _deliver(self) -> None:
        while self.mail and self.mail[0][0] <= self.now_s:
            _, _, way, message = heappop(self.mail)
            name = way.strip(">")
            if name in self.unheard:
                continue
            if way.startswith(">"):
                board = self.boards[name]
                self._post(f"{name}>", board.on_message(message.topic, message.payload, False, self.now_s))
            else:
                self._hear(message)

    def _hear(self, message: Publish) -> None:
        event = contract.decode(ROOT, message.topic, message.payload, retained=False, at=self.at)
        if event is not None:
            self.take(event)


def apart_mm(seen: list[dict[str, float]]) -> float:
    """Return how far apart the hem bars were at worst."""
    return max(max(each.values()) - min(each.values()) for each in seen)


def fastest_mmps(seen: list[dict[str, float]]) -> float:
    """Return the greatest speed of any hem bar, over a quarter of a second."""
    span = round(0.24 / STEP_S)
    names = seen[0].keys()
    return max(
        abs(later[name] - earlier[name]) / (span * STEP_S)
        for earlier, later in zip(seen, seen[span:], strict=False)
        for name in names
    )


def row(**changes: object) -> tuple[Bar, ...]:
    """Return the row with the same changes made to each shade."""
    return tuple(replace(bar, **changes) for bar in ROW)  # type: ignore[arg-type]  # fields by name
