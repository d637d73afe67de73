"""A shade on a one-way board in virtual time: the house decides by `handle`, the truth is a simulated board.

The broker between them delays every message by up to `lag_s`, keeps what is retained and what the bridge
misses while it restarts, and speaks the will.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from itertools import count
from random import Random

from bridge.adapters.links import one_way
from bridge.core.contract import Link
from bridge.core.events import (
    Asked,
    BrokerLost,
    BrokerReached,
    Confirmed,
    Event,
    Place,
    Started,
    Ticked,
    Want,
)
from bridge.core.house import due_s, handle
from bridge.core.outcome import Note
from bridge.core.outlook import ShadeOutlook, shade_outlook
from bridge.core.shade.drive import Drive
from bridge.core.shade.roll import Roll
from bridge.core.shade.travel import Travel
from bridge.core.spec import AliveTopic, HouseSpec, Mounting, OneWayLink, PowerUp, ShadeSpec, StopTopic, Unit
from bridge.core.state import House, Shade
from bridge.core.values import Moment, Rank, ShadeId
from bridge.simulate.build import Build
from bridge.simulate.fitting import Fitting, OneWayPlan
from bridge.simulate.one_way_board import OneWayBoard
from bridge.simulate.wire import Publish

PORCH = ShadeId("porch")
BEGAN = datetime(2026, 11, 25, 6, 0, tzinfo=UTC)
GEAR = Fraction(57, 11)
ALIVE = AliveTopic(topic="porch/alive", up="here", gone="gone", within_s=10.0)
BEATS = AliveTopic(topic="porch/alive", up=None, gone=None, within_s=10.0)
STOP = StopTopic(topic="porch/halt", payload="halt")


def given_link(
    *,
    unit: Unit = Unit.STEPS,
    decimals: int | None = None,
    retained: bool = True,
    rest_current: bool = True,
    alive: AliveTopic | None = None,
    stop: StopTopic | None = None,
    latency_s: float = 0.5,
) -> OneWayLink:
    return OneWayLink(
        topic="porch/target",
        unit=unit,
        decimals=(3 if unit is Unit.TURNS else 0) if decimals is None else decimals,
        full_steps=given_travel().lower_steps,
        retained=retained,
        power_up=PowerUp.RETAINED_TARGET if retained else PowerUp.ZERO,
        latency_s=latency_s,
        rest_current=rest_current,
        alive=alive,
        stop=stop,
    )


def given_travel() -> Travel:
    return Travel(
        roll=Roll(tube_mm=38.0, cloth_mm=0.5, drop_mm=1800.0, wraps_left=1.5),
        drive=Drive(pulses_per_rev=800, gear=GEAR),
    )


def given_spec(link: OneWayLink | None = None) -> ShadeSpec:
    return ShadeSpec(
        id=PORCH,
        name="Porch",
        travel=given_travel(),
        mounting=Mounting.INTERIOR,
        link=link or given_link(),
        top_pps=3200,
        ramp_pps2=4000,
        tolerance_mm=8.0,
        doubtful_mm=60.0,
        slip_per_move_mm=0.1,
        slip_per_turn_mm=0.05,
        scale_allowance=0.002,
        unconfirmed_scale_allowance=0.04,
        drive_confirmed=True,
        overrun_mm=26.0,
        unpowered_holds=((0.0, 100.0),),
        local_button=False,
        upper_switch=None,
        lower_switch=None,
        upper_stall=None,
        hand_repeatability_mm=2.0,
        hold_s=7200.0,
    )


def given_plan(link: OneWayLink, *, start_mm: float = 0.0, delay_s: float = 0.1) -> OneWayPlan:
    build = Build(
        tube_mm=38.0,
        cloth_mm=0.5005,
        drop_mm=1800.0,
        wraps_left=1.51,
        gear=GEAR,
        start_mm=start_mm,
        width_mm=950.0,
        cloth_kgpm2=0.19,
        hem_bar_kg=0.22,
        detent_nm=0.031,
        stop_mm=-25.4,
        slip_move_mm=0.06,
        slip_turn_mm=0.03,
    )
    alive, stop = link.alive, link.stop
    return OneWayPlan(
        id="porch-board",
        channels=(Fitting(shade="porch", build=build),),
        topic=link.topic,
        unit=link.unit,
        full_steps=link.full_steps,
        power_up=link.power_up,
        pps=3200,
        ramp=4000,
        delay_s=delay_s,
        rest_current=link.rest_current,
        alive_topic=None if alive is None else alive.topic,
        alive_up=None if alive is None else alive.up or "alive",
        alive_gone=None if alive is None else alive.gone,
        beat_s=4.0 if alive is not None and alive.gone is None else None,
        stop_topic=None if stop is None else stop.topic,
        stop_payload=None if stop is None else stop.payload,
    )


class World:
    """One house, one broker, one board."""

    def __init__(
        self,
        link: OneWayLink | None = None,
        *,
        seed: int = 1,
        lag_s: float = 0.05,
        spec: ShadeSpec | None = None,
        plan: OneWayPlan | None = None,
    ) -> None:
        self.spec = spec or given_spec(link)
        self.rng, self.lag_s, self.now = Random(seed), lag_s, 0.0
        self.board = OneWayBoard(plan or given_plan(self.spec.one_way), Random(seed + 1))
        self.house: House | None = None
        self.notes: list[Note] = []
        self.published: list[tuple[str, bytes]] = []
        self.retained: dict[str, bytes] = {}
        self.events: list[Event] = []
        self.bridge_there = self.board_there = False
        self._numbers = count()
        self._due: list[tuple[float, int, Callable[[], None]]] = []
        self._last: dict[str, float] = {}
        self._kept: list[tuple[str, bytes]] = []

    # What is so, and what is said.

    @property
    def shade(self) -> Shade:
        assert self.house is not None
        return self.house.shades[PORCH]

    @property
    def outlook(self) -> ShadeOutlook:
        assert self.house is not None
        return shade_outlook(self.house, self.shade)

    @property
    def true_mm(self) -> float:
        return self.board.motor.tube.drop_mm

    @property
    def true_pct(self) -> float:
        return 100 * (1 - self.true_mm / self.spec.travel.roll.drop_mm)

    def claim_mm(self) -> tuple[float, float]:
        travel, hull = self.spec.travel, self.shade.knowledge.hull
        return travel.drop_at_steps(hull.low), travel.drop_at_steps(hull.high)

    def check(self) -> None:
        low, high = self.claim_mm()
        assert low - 0.01 <= self.true_mm <= high + 0.01, (
            f"{self.now:.2f} s: the hem bar is at {self.true_mm:.1f} mm, the claim is {low:.1f} to {high:.1f}"
        )
        assert not self.board.motor.tube.wrong_way

    def fates(self) -> list[str]:
        return [str(dict(note.fields)["fate"]) for note in self.notes if note.name == "request.ended"]

    def texts(self, name: str) -> list[str]:
        return [note.text for note in self.notes if note.name == name]

    # Time.

    def later(self, delay_s: float, what: Callable[[], None]) -> None:
        heapq.heappush(self._due, (self.now + delay_s, next(self._numbers), what))

    def run(self, seconds: float) -> None:
        """Let time pass: messages arrive, the clock of the house ticks, the board moves."""
        until = self.now + seconds
        while True:
            due = None if self.house is None or not self.running else due_s(self.house)
            steps = [until, self.now + 0.1]
            steps += [self._due[0][0]] if self._due else []
            steps += [self.board.next_event_s] if self.board.next_event_s is not None else []
            steps += [due + 0.001] if due is not None else []
            self.now = max(self.now, min(steps))
            self._publish_all(self.board.advance(self.now))
            while self._due and self._due[0][0] <= self.now:
                heapq.heappop(self._due)[2]()
            if self.running and due is not None and due <= self.now:
                self.take(Ticked(at=self.moment))
            if self.bridge_there and self.house is not None:
                self.check()
            if self.now >= until:
                return

    running = False

    @property
    def moment(self) -> Moment:
        return Moment(utc=BEGAN + timedelta(seconds=self.now), mono_s=self.now)

    # The bridge.

    def start(self) -> None:
        """A run of the bridge begins, with the broker at hand."""
        self.running = True
        self.take(Started(at=self.moment, spec=HouseSpec(name="Gull House", shades=(self.spec,))))
        self.reach()

    def kill(self) -> None:
        self.running = self.bridge_there = False

    def forget_session(self) -> None:
        """The broker drops what it has queued for the bridge."""
        self._kept.clear()

    def reach(self) -> None:
        self.bridge_there = True
        self.take(BrokerReached(at=self.moment))
        kept, self._kept = self._kept, []
        for topic, payload in kept:
            self._hear(topic, payload, retained=False)
        for topic in one_way.subscriptions([self.spec]):
            if topic in self.retained:
                self._hear(topic, self.retained[topic], retained=True)

    def lose(self) -> None:
        self.bridge_there = False
        self.take(BrokerLost(at=self.moment))

    def take(self, event: Event) -> None:
        self.events.append(event)
        self.house, decisions = handle(self.house, event)
        self.notes += decisions.notes
        for sent in decisions.targets:
            topic, payload, retain = one_way.encode(self.spec.one_way, sent.value)
            if self.bridge_there:
                self.publish(topic, payload, retain=retain)

    def ask(self, want: Want, rank: Rank = Rank.HAND) -> None:
        self.take(Asked(at=self.moment, shade=PORCH, want=want, rank=rank, source="a person"))

    def confirm(self, place: Place = Place.UPPER) -> None:
        self.take(Confirmed(at=self.moment, shade=PORCH, place=place))

    # The broker.

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        """Anybody publishes; it arrives a little later, in its sequence."""
        at = max(self.now + self.rng.uniform(0, self.lag_s), self._last.get(topic, 0.0))
        self._last[topic] = at
        self.later(at - self.now, lambda: self._pass_on(topic, payload, retain=retain))

    def _pass_on(self, topic: str, payload: bytes, *, retain: bool) -> None:
        self.published.append((topic, payload))
        if retain:
            self.retained[topic] = payload
        if self.board_there and topic in self.board.topics:
            self._publish_all(self.board.on_message(topic, payload, False, self.now))
        if self.bridge_there and self.running:
            self._hear(topic, payload, retained=False)
        else:
            self._kept.append((topic, payload))

    def _hear(self, topic: str, payload: bytes, *, retained: bool) -> None:
        event = one_way.decode([self.spec], topic, payload, retained=retained, at=self.moment)
        if event is not None:
            self.take(event)

    def _publish_all(self, sent: Iterable[Publish]) -> None:
        for each in sent:
            self.publish(each.topic, each.payload, retain=each.retain)

    # The board.

    def power_up(self) -> None:
        self.board.power_up(self.now)
        self.connect()

    def connect(self) -> None:
        """It finds the broker: what is retained comes first."""
        self.board_there = True
        for topic in self.board.topics:
            if topic in self.retained:
                self._publish_all(self.board.on_message(topic, self.retained[topic], True, self.now))
        self._publish_all(self.board.connected(self.now))

    def power_cut(self, *, told_after_s: float = 0.0) -> None:
        self.board.power_cut(self.now)
        self.cut_off(told_after_s=told_after_s)

    def cut_off(self, *, told_after_s: float = 0.0) -> None:
        """The network is gone; the broker speaks the will when it notices."""
        self.board_there = False
        will = self.board.link(Link.LOST)
        if will is not None:
            self.later(told_after_s, lambda: self._pass_on(will.topic, will.payload, retain=True))


def settled_world(
    link: OneWayLink | None = None, *, seed: int = 1, lag_s: float = 0.05, spec: ShadeSpec | None = None
) -> World:
    """A world whose shade hangs at its upper limit, confirmed, and whose board is there."""
    world = World(link, seed=seed, lag_s=lag_s, spec=spec)
    world.power_up()
    world.start()
    world.run(0.5)
    world.confirm()
    world.run(0.5)
    return world
