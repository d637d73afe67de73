"""One shade and its bridge on a bench: every event by hand, and what came of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from typing import Any

from bridge.core.contract import Do, Link, Order, Report, Sense, Why
from bridge.core.events import (
    Asked,
    BrokerLost,
    BrokerReached,
    Button,
    ClaimHeard,
    Confirmed,
    Event,
    LinkHeard,
    Percent,
    Place,
    Press,
    ReportHeard,
    Started,
    Ticked,
    Want,
)
from bridge.core.house import due_s, handle
from bridge.core.outcome import Decisions
from bridge.core.shade.drive import Drive
from bridge.core.shade.roll import Roll
from bridge.core.shade.travel import Travel
from bridge.core.spec import ContractLink, HouseSpec, Mounting, Reference, ShadeSpec
from bridge.core.state import House, Shade
from bridge.core.values import BoardId, Moment, Rank, ShadeId

STUDY = ShadeId("study")
ATTIC = BoardId("attic-board")
BEGAN = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)

SPEC = ShadeSpec(
    id=STUDY,
    name="Study",
    travel=Travel(
        roll=Roll(tube_mm=38.0, cloth_mm=0.5, drop_mm=1800.0, wraps_left=1.5),
        drive=Drive(pulses_per_rev=800, gear=Fraction(57, 11)),
    ),
    mounting=Mounting.INTERIOR,
    link=ContractLink(board=ATTIC, channel=0),
    top_pps=3200,
    ramp_pps2=4000,
    tolerance_mm=5.0,
    doubtful_mm=60.0,
    slip_per_move_mm=0.1,
    slip_per_turn_mm=0.05,
    scale_allowance=0.002,
    unconfirmed_scale_allowance=0.04,
    drive_confirmed=True,
    overrun_mm=25.0,
    unpowered_holds=((0.0, 100.0),),
    local_button=False,
    upper_switch=Reference(at_mm=-4.0, repeatability_mm=1.0),
    lower_switch=None,
    upper_stall=None,
    hand_repeatability_mm=2.0,
    hold_s=7200.0,
)


class Bench:
    """A house of one shade, driven event by event; `sent` is what the last event led to."""

    def __init__(self, spec: ShadeSpec = SPEC, **changed: Any) -> None:
        self.spec = replace(spec, **changed)
        self.now_s = 0.0
        self.house: House | None = None
        self.last = Decisions()
        self.n = 0
        self.start()

    # What happens.

    def at(self) -> Moment:
        return Moment(utc=BEGAN + timedelta(seconds=self.now_s), mono_s=100.0 + self.now_s)

    def happens(self, event: Event) -> Decisions:
        self.house, self.last = handle(self.house, event)
        return self.last

    def start(self, **told: Any) -> Decisions:
        house = HouseSpec(name="Gull House", shades=(self.spec,))
        return self.happens(Started(at=self.at(), spec=house, **told))

    def reach(self) -> Decisions:
        return self.happens(BrokerReached(at=self.at()))

    def lose(self) -> Decisions:
        return self.happens(BrokerLost(at=self.at()))

    def tick(self, after_s: float = 0.0) -> Decisions:
        self.now_s += after_s
        return self.happens(Ticked(at=self.at()))

    def link(self, link: Link = Link.UP, boot: int | None = 1, *, retained: bool = False) -> Decisions:
        return self.happens(LinkHeard(at=self.at(), board=ATTIC, link=link, boot=boot, retained=retained))

    def report(self, *, retained: bool = False, **told: Any) -> Decisions:
        """A report, each one numbered after the last."""
        self.n = told.pop("n", self.n + 1)
        return self.happens(
            ReportHeard(at=self.at(), board=ATTIC, channel=0, report=self.said(**told), retained=retained)
        )

    def said(self, **told: Any) -> Report:
        values: dict[str, Any] = {
            "boot": 1,
            "n": self.n,
            "count": 0,
            "kept": True,
            "moving": False,
            "awake": True,
            "why": Why.TOLD,
            "seq": self.shade.seq,
            "senses": (Sense.UPPER_SWITCH,),
        }
        return Report(**{**values, **told})

    def answer(self, **told: Any) -> Decisions:
        """The board answers the question that waits."""
        asked = self.shade.channel.asked_seq
        assert asked is not None
        return self.report(**{"answers": asked, "seq": asked, **told})

    def ask(self, want: Want | int, rank: Rank = Rank.HAND) -> Decisions:
        want = Percent(open_pct=want) if isinstance(want, int) else want
        return self.happens(Asked(at=self.at(), shade=STUDY, want=want, rank=rank, source="page"))

    def press(self, button: Button) -> Decisions:
        return self.ask(Press(button=button))

    def confirm(self, place: Place = Place.UPPER) -> Decisions:
        return self.happens(Confirmed(at=self.at(), shade=STUDY, place=place))

    def claim(self, term: int, *, retained: bool) -> Decisions:
        return self.happens(ClaimHeard(at=self.at(), term=term, retained=retained))

    # Whole stretches.

    def in_conversation(self, count: int = 0, **told: Any) -> Bench:
        """The board is up and has answered."""
        self.reach()
        self.link(boot=told.get("boot", 1))
        self.answer(count=count, **told)
        return self

    def known_at_top(self, **told: Any) -> Bench:
        """And a person has confirmed that it hangs at the upper limit at count 0."""
        self.in_conversation(**{"awake": False, **told})
        self.confirm()
        return self

    # What is so.

    @property
    def shade(self) -> Shade:
        assert self.house is not None
        return self.house.shades[STUDY]

    @property
    def order(self) -> Order:
        """The one order that the last event led to."""
        assert len(self.last.orders) == 1, self.last.orders
        return self.last.orders[0].order

    @property
    def dos(self) -> list[Do]:
        return [each.order.do for each in self.last.orders]

    @property
    def noted(self) -> list[str]:
        return [note.name for note in self.last.notes]

    @property
    def fates(self) -> list[str]:
        """How requests ended in the last event."""
        ended = [dict(note.fields) for note in self.last.notes if note.name == "request.ended"]
        return [str(fields["fate"]) for fields in ended]

    @property
    def why(self) -> str:
        """The reason of the last end of a request."""
        ended = [dict(note.fields) for note in self.last.notes if note.name == "request.ended"]
        return str(ended[-1]["why"])

    @property
    def hull_mm(self) -> tuple[float, float]:
        hull, travel = self.shade.knowledge.hull, self.spec.travel
        return travel.drop_at_steps(hull.low), travel.drop_at_steps(hull.high)

    @property
    def due_s(self) -> float | None:
        """Seconds from now until a tick is wanted."""
        assert self.house is not None
        due = due_s(self.house)
        return None if due is None else due - 100.0 - self.now_s
