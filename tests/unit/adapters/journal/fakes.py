"""A house that is easy to foresee: every request becomes one order, a press becomes none."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path

from bridge.adapters.journal.store import FileJournal
from bridge.core.contract import Do, Order
from bridge.core.events import Asked, Button, Event, Percent, Press, Started
from bridge.core.outcome import Decisions, Level, Note, SendOrder
from bridge.core.position.estimate import Knowledge
from bridge.core.shade.drive import Drive
from bridge.core.shade.roll import Roll
from bridge.core.shade.travel import Travel
from bridge.core.spec import ContractLink, HouseSpec, Mounting, ShadeSpec
from bridge.core.state import House, Shade
from bridge.core.values import BoardId, Interval, Moment, Rank, ShadeId
from bridge.ports import Handle, Recovered

STUDY = ShadeId("study")
BEGAN = datetime(2026, 11, 25, 6, 0, tzinfo=UTC)


def at(second: int) -> Moment:
    return Moment(utc=BEGAN + timedelta(seconds=second), mono_s=1000.5 + second)


def given_spec() -> HouseSpec:
    travel = Travel(
        roll=Roll(tube_mm=38.0, cloth_mm=0.5, drop_mm=1800.0, wraps_left=1.5),
        drive=Drive(pulses_per_rev=800, gear=Fraction(57, 11)),
    )
    shade = ShadeSpec(
        id=STUDY,
        name="Study",
        travel=travel,
        mounting=Mounting.INTERIOR,
        link=ContractLink(board=BoardId("board-1"), channel=0),
        top_pps=800,
        ramp_pps2=1600,
        tolerance_mm=3.0,
        doubtful_mm=50.0,
        slip_per_move_mm=0.1,
        slip_per_turn_mm=0.1,
        scale_allowance=0.002,
        unconfirmed_scale_allowance=0.04,
        drive_confirmed=False,
        overrun_mm=5.0,
        unpowered_holds=((80.0, 100.0),),
        local_button=True,
        upper_switch=None,
        lower_switch=None,
        upper_stall=None,
        hand_repeatability_mm=2.0,
        hold_s=7200.0,
    )
    return HouseSpec(name="Invented house", shades=(shade,))


def given_house(now: Moment | None = None) -> House:
    spec = given_spec()
    wide = Interval(low=-10, high=50_000)
    knowledge = Knowledge(
        hull=wide,
        base=None,
        anchor=wide,
        boot=None,
        settled_count=None,
        scale_bound=None,
        slip=0,
        moves=0,
        mark=None,
        drive=spec.shades[0].travel.version,
    )
    shade = Shade(spec=spec.shades[0], knowledge=knowledge)
    return House(
        spec=spec,
        now=now or at(0),
        term=1,
        broker_up=False,
        next_request=1,
        shades={STUDY: shade},
        boards={},
    )


def started(second: int = 0) -> Started:
    return Started(at=at(second), spec=given_spec())


def asked(second: int, open_pct: int = 40) -> Asked:
    return Asked(at=at(second), shade=STUDY, want=Percent(open_pct=open_pct), rank=Rank.HAND, source="a test")


def pressed(second: int) -> Asked:
    """Something that this house only notes: no order, no growth."""
    return Asked(at=at(second), shade=STUDY, want=Press(button=Button.STOP), rank=Rank.STOP, source="a test")


def fake_handle(house: House | None, event: Event) -> tuple[House, Decisions]:
    if house is None or isinstance(event, Started):
        house = given_house(event.at) if house is None else replace(house, now=event.at)
        return house, Decisions(notes=(Note(name="house.run.started", level=Level.INFO),))
    grown = replace(house, now=event.at, next_request=house.next_request + 1)
    if isinstance(event, Asked) and isinstance(event.want, Percent):
        order = Order(term=1, boot=1, seq=house.next_request, seen=0, do=Do.GO, to=event.want.open_pct)
        send = SendOrder(shade=STUDY, board=BoardId("board-1"), channel=0, order=order)
        return grown, Decisions(orders=(send,), grew=True)
    return grown, Decisions(notes=(Note(name="shade.stop.noted", level=Level.INFO, shade=STUDY),))


def other_handle(house: House | None, event: Event) -> tuple[House, Decisions]:
    """The same house as a version that sends 41 where the other sent 40."""
    if isinstance(event, Asked) and event.want == Percent(open_pct=40):
        event = replace(event, want=Percent(open_pct=41))
    return fake_handle(house, event)


def given_journal(path: Path, *, every: int = 2000, handle: Handle = fake_handle) -> FileJournal:
    return FileJournal(path, handle, snapshot_every=every)


def written(path: Path, *events: Event, every: int = 2000) -> House:
    """Run a bridge's life over these events, cleanly closed; return the house in its memory."""
    journal = given_journal(path, every=every)
    house = live(journal, journal.recover().house, *events)
    journal.close()
    return house


def live(journal: FileJournal, house: House | None, *events: Event) -> House:
    for event in events:
        house, decisions = fake_handle(house, event)
        journal.append((event, decisions))
        if journal.wants_snapshot:
            journal.snapshot(house)
    assert house is not None
    return house


def recovered(path: Path, *, handle: Handle = fake_handle) -> Recovered:
    journal = given_journal(path, handle=handle)
    try:
        return journal.recover()
    finally:
        journal.close()


def life(events: int) -> list[Event]:
    """A start, then requests and presses in turn."""
    return [started(), *(asked(n, n % 101) if n % 2 else pressed(n) for n in range(1, events))]
