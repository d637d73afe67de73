"""A house in the core with boards that obey in virtual time, for tests of what `handle` decides.

A board here knows the contract only as far as these tests need: it answers `tell`, goes, stops, sleeps, and
says so at once; what the cloth does is not looked at.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from itertools import count

from bridge.core.contract import Do, Link, Order, Report, Sense, Then, Why
from bridge.core.events import (
    Asked,
    BrokerReached,
    Button,
    Event,
    GroupAsked,
    LinkHeard,
    Percent,
    Press,
    ReportHeard,
    Started,
    Switch,
    Switched,
    Ticked,
    Want,
)
from bridge.core.house import due_s, handle
from bridge.core.outcome import Decisions, Note
from bridge.core.shade.drive import Drive
from bridge.core.shade.profile import move_profile
from bridge.core.shade.roll import Roll
from bridge.core.shade.travel import Travel
from bridge.core.spec import ContractLink, GroupSpec, HouseSpec, Mounting, Reference, ShadeSpec, SupplySpec
from bridge.core.state import House, Shade
from bridge.core.values import BoardId, GroupId, Moment, Rank, ShadeId, SupplyId

PROGRESS_S = 1.0
EPOCH = datetime(2026, 6, 1, tzinfo=UTC)
TRAVEL = Travel(
    roll=Roll(tube_mm=40.0, cloth_mm=0.5, drop_mm=1500.0, wraps_left=1.5),
    drive=Drive(pulses_per_rev=800, gear=Fraction(57, 11), full_steps_per_rev=200),
)


def shade_spec(name: str, *, switch: bool = True, **more: object) -> ShadeSpec:
    """Return a shade on a board of its own, with an upper switch."""
    spec = ShadeSpec(
        id=ShadeId(name),
        name=name.capitalize(),
        travel=TRAVEL,
        mounting=Mounting.EXTERIOR,
        link=ContractLink(board=BoardId(f"{name}-board"), channel=0),
        top_pps=3000,
        ramp_pps2=3000,
        tolerance_mm=5.0,
        doubtful_mm=60.0,
        slip_per_move_mm=0.1,
        slip_per_turn_mm=0.02,
        scale_allowance=0.001,
        unconfirmed_scale_allowance=0.04,
        drive_confirmed=True,
        overrun_mm=20.0,
        unpowered_holds=((0.0, 100.0),),
        local_button=False,
        upper_switch=Reference(at_mm=-4.0, repeatability_mm=1.0) if switch else None,
        lower_switch=None,
        upper_stall=None,
        hand_repeatability_mm=2.0,
        hold_s=3600.0,
    )
    return replace(spec, **more)  # type: ignore[arg-type]  # fields by name


def on_supply(
    name: str, moving_a: float = 1.5, standstill_a: float = 0.0, supply: str = "attic"
) -> ShadeSpec:
    return shade_spec(name, supply=SupplyId(supply), moving_a=moving_a, standstill_a=standstill_a)


def house_spec(*shades: ShadeSpec, amps: float | None = None, **more: object) -> HouseSpec:
    """Return a house whose shades all belong to the group `all`; `amps` are those of the supply `attic`."""
    group = GroupSpec(id=GroupId("all"), name="All", members=tuple(shade.id for shade in shades))
    supplies = () if amps is None else (SupplySpec(id=SupplyId("attic"), amps=amps),)
    return replace(
        HouseSpec(name="Gull House", shades=shades, groups=(group,), supplies=supplies),
        **more,  # type: ignore[arg-type]  # fields by name
    )


@dataclass
class FakeBoard:
    """One board with one channel."""

    spec: ShadeSpec
    boot: int = 5
    n: int = 0
    at: int = 20000
    to: int | None = None
    then: Then = Then.SLEEP
    awake: bool = False
    seeks: bool = False
    seq: int = 0
    heard: bool = True
    arrives_s: float | None = None
    pace: float = 1.0

    @property
    def moving(self) -> bool:
        return self.arrives_s is not None

    @property
    def draws_a(self) -> float:
        if self.moving:
            return self.spec.moving_a
        return self.spec.standstill_a if self.awake else 0.0

    def report(self, why: Why, answers: int | None = None) -> Report:
        self.n += 1
        return Report(
            boot=self.boot,
            n=self.n,
            count=self.at,
            kept=True,
            moving=self.moving,
            awake=self.awake or self.moving,
            why=why,
            seq=self.seq,
            to=self.to,
            answers=answers,
            senses=(Sense.UPPER_SWITCH,) if self.spec.upper_switch else (),
            pulses_per_turn=self.spec.travel.drive.pulses_per_turn,
        )

    def obey(self, order: Order, now_s: float) -> Report | None:
        if order.seq <= self.seq or order.boot != self.boot:
            return None
        self.seq = order.seq
        match order.do:
            case Do.TELL:
                return self.report(Why.TOLD, order.seq)
            case Do.GO | Do.SEEK:
                assert order.pps is not None
                assert order.ramp is not None
                self.seeks = order.do is Do.SEEK
                self.to = order.to if order.do is Do.GO else None
                self.then = order.then or Then.STAY
                way = abs((self.to if self.to is not None else 0) - self.at)
                move = move_profile(steps=max(way, 1), top_pps=order.pps, ramp_pps2=order.ramp)
                self.arrives_s = now_s + self.pace * move.duration_s
                return self.report(Why.STARTED)
            case Do.STOP:
                self.arrives_s, self.to, self.awake = None, None, self.moving or self.awake
                return self.report(Why.STOPPED)
            case Do.SLEEP | Do.WAKE:
                self.awake = order.do is Do.WAKE
                return self.report(Why.TOLD)

    def arrive(self) -> Report:
        self.arrives_s = None
        self.at, self.to = (0 if self.seeks or self.to is None else self.to), None
        self.awake = self.seeks or self.then is Then.STAY
        return self.report(Why.UPPER_SWITCH if self.seeks else Why.ARRIVED)

    def reboot(self) -> Report:
        self.boot, self.n, self.seq = self.boot + 1, 0, 0
        self.arrives_s, self.to, self.awake = None, None, False
        return self.report(Why.BOOT)


@dataclass
class Scene:
    """A house and its boards; every answer of a board is heard at once unless it is out of hearing."""

    spec: HouseSpec
    now_s: float = 100.0
    notes: list[Note] = field(default_factory=list)
    house: House | None = None
    boards: dict[str, FakeBoard] = field(default_factory=dict)
    starts: list[tuple[float, str]] = field(default_factory=list)
    worst_a: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.boards = {shade.id: FakeBoard(shade) for shade in self.spec.shades}

    def begin(self, *, referenced: bool = True) -> Scene:
        """Start, connect and let every board answer; then raise each to its switch, one after another."""
        self.event(Started(at=self.at, spec=self.spec))
        self.event(BrokerReached(at=self.at))
        for name in self.boards:
            self.link(name, Link.UP)
        if referenced:
            for name in self.boards:
                self.ask(name, Press(button=Button.UP))
                self.run(60)
            assert {fate for _, fate in self.ends()} == {"reached"}, self.notes
            self.run(120)
        self.notes.clear()
        self.starts.clear()
        return self

    @property
    def at(self) -> Moment:
        return Moment(utc=EPOCH + timedelta(seconds=self.now_s), mono_s=self.now_s)

    def shade(self, name: str) -> Shade:
        assert self.house is not None
        return self.house.shades[ShadeId(name)]

    def event(self, event: Event) -> Decisions:
        self.house, decisions = handle(self.house, event)
        self.notes += decisions.notes
        answers = []
        for sent in decisions.orders:
            board = self.boards[sent.shade]
            if not board.heard:
                continue
            if sent.order.do in (Do.GO, Do.SEEK) and not board.moving:
                self.starts.append((self.now_s, sent.shade))
            answers.append((sent.shade, board.obey(sent.order, self.now_s)))
        self.weigh()
        for name, report in answers:
            if report is not None:
                self.tell(name, report)
        return decisions

    def weigh(self) -> None:
        """Note the amps that each supply really gives now."""
        for supply in self.spec.supplies:
            drawn = sum(board.draws_a for board in self.boards.values() if board.spec.supply == supply.id)
            self.worst_a[supply.id] = max(self.worst_a.get(supply.id, 0.0), drawn)

    def tell(self, name: str, report: Report) -> None:
        board = self.boards[name]
        if board.heard:
            link = board.spec.contract
            self.event(ReportHeard(at=self.at, board=link.board, channel=0, report=report, retained=False))

    def link(self, name: str, link: Link, *, retained: bool = False) -> Decisions:
        board = self.boards[name]
        board.heard = link is Link.UP
        return self.event(
            LinkHeard(
                at=self.at, board=board.spec.contract.board, link=link, boot=board.boot, retained=retained
            )
        )

    def reconnect(self) -> None:
        """Connect to the broker, which hands back what each board's link topic last said."""
        self.event(BrokerReached(at=self.at))
        for name, board in self.boards.items():
            self.link(name, Link.UP if board.heard else Link.LOST, retained=True)

    def ask(self, name: str, want: Want | int, rank: Rank = Rank.HAND) -> Decisions:
        want = Percent(open_pct=want) if isinstance(want, int) else want
        return self.event(Asked(at=self.at, shade=ShadeId(name), want=want, rank=rank, source="a test"))

    def ask_all(self, want: Want | int, group: str = "all") -> Decisions:
        want = Percent(open_pct=want) if isinstance(want, int) else want
        return self.event(
            GroupAsked(at=self.at, group=GroupId(group), want=want, rank=Rank.HAND, source="a test")
        )

    def switch(self, switch: Switch, *, on: bool) -> Decisions:
        return self.event(Switched(at=self.at, switch=switch, on=on, source="a test"))

    def run(self, for_s: float) -> None:
        """Let time pass: arrivals and ticks in their order; a tick that is due again at once is a defect."""
        until_s = self.now_s + for_s
        for turns in count():
            assert turns < 1000, "the house ticks without end"
            assert self.house is not None
            moving = [board for board in self.boards.values() if board.arrives_s is not None]
            words = [min(board.arrives_s or 0.0, self.now_s + PROGRESS_S) for board in moving]
            due = due_s(self.house)
            next_s = min([*words, until_s] if due is None else [*words, due, until_s])
            self.now_s = max(self.now_s, next_s)
            for board in moving:
                if next_s in words and board.arrives_s != next_s:
                    self.tell(board.spec.id, board.report(Why.PROGRESS))
            arrived = [
                name
                for name, board in self.boards.items()
                if board.arrives_s is not None and board.arrives_s <= self.now_s
            ]
            for name in arrived:
                self.tell(name, self.boards[name].arrive())
            self.weigh()
            if next_s >= until_s:
                return
            if due is not None and due <= self.now_s:
                self.event(Ticked(at=self.at))

    def ends(self) -> list[tuple[str, str]]:
        """Return shade and fate of every request that has ended."""
        ended = [note for note in self.notes if note.name == "request.ended"]
        return [(str(note.shade), str(dict(note.fields)["fate"])) for note in ended]
