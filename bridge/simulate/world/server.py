"""The simulated server: the bridge's one process, its clocks, its journal, its session with the broker.

The journal holds the house after each event. A process that dies loses nothing written; a server that loses
its power loses the rows after the last flushed one, any number of them from the end.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from bridge.adapters.links.one_way import encode
from bridge.core.contract import Do
from bridge.core.events import (
    Asked,
    BrokerLost,
    BrokerReached,
    ClaimHeard,
    Confirmed,
    Event,
    GroupAsked,
    MemoryHeard,
    SettingsChanged,
    Started,
    Ticked,
    only_halts,
)
from bridge.core.house import due_s, handle
from bridge.core.outcome import Decisions, SendOrder, SendTarget
from bridge.core.recalling import refuted, remembered
from bridge.core.state import House, touched
from bridge.core.values import Moment
from bridge.simulate.wire import Publish
from bridge.simulate.world.network import Said
from bridge.simulate.world.one_way_board import Overheard, Sender
from bridge.simulate.world.one_way_side import OneWaySide

if TYPE_CHECKING:
    from bridge.simulate.world.world import World

EPOCH = datetime(2026, 3, 1, tzinfo=UTC)
# How long the broker keeps the session of a bridge that is away.
SESSION_S = 30.0
# A timer is a little late, never early.
TIMER_S = 0.0005


class Server:
    """The bridge as it runs, stops and comes back."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.spec = world.plan.spec
        self.house: House | None = None
        self.durable: House | None = None
        self.tail: deque[House] = deque()
        # A copy of the journal that somebody made some time ago.
        self.copied: House | None = None
        self.running = False
        self.connected = False
        self.deaf = False
        self.held_in: list[Said] = []
        self.held_out: list[tuple[Callable[[Any], None], SendOrder | Overheard]] = []
        self.runs = 0
        self.mono_base = -world.rng.uniform(10, 1e6)
        self.wall = 0.0
        self.session_until = -1.0
        self.in_at = self.out_at = 0.0
        self.tick_version = 0
        self.tick_at: float | None = None
        # The next event with orders is this process's last; True when the machine goes with it.
        self.dies: bool | None = None
        # The same for any event that changes something, and at any of its effects.
        self.dies_anywhere: bool | None = None
        # The journal takes what is written; what it has missed so far it has missed for good.
        self.disk_ok = True
        self.gap = False
        # The journal has lost rows that had been flushed.
        self.torn = False

    def moment(self) -> Moment:
        return Moment(
            utc=EPOCH + timedelta(seconds=self.world.now + self.wall), mono_s=self.world.now - self.mono_base
        )

    # The process.

    def start(self) -> None:
        if self.running:
            return
        self.running = True
        self.runs += 1
        self.house = self.tail[-1] if self.tail else self.durable
        self.tail.clear()
        self.durable = self.house
        if self.copied is None or self.runs % 3 == 0:
            self.copied = self.durable
        self.world.note("start", self.runs)
        self.gap = False
        self.deliver(Started(at=self.moment(), spec=self.spec, memory_lost=self.torn))
        self.world.at(self.world.now + self.world.rng.uniform(0.05, 1.0), self.connect, self.runs)

    def die(self, *, power: bool) -> None:
        """The process ends at once; with `power`, the whole machine."""
        if not self.running:
            return
        world = self.world
        self.running = False
        self.tick_version += 1
        self.tick_at = None
        self.disconnected(keep=not power)
        if self.gap and not power:
            world.checks.rolled_back(self.tail[-1] if self.tail else self.durable)
        if power:
            keep = world.rng.randint(0, len(self.tail))
            lost = len(self.tail) - keep
            for _ in range(lost):
                self.tail.pop()
            self.mono_base = world.now - world.rng.uniform(5, 60)
            world.checks.rolled_back(self.tail[-1] if self.tail else self.durable)
        world.note("dead", "power" if power else "process")

    def put_back(self) -> None:
        """The journal is what it was when it was last copied."""
        assert not self.running
        self.tail.clear()
        self.durable = self.copied
        self.world.checks.rolled_back(self.copied)
        self.world.checks.outdated.update(self.world.where)
        self.world.checks.unfelt.put_back(self.copied)
        self.world.note("journal put back", None if self.copied is None else self.copied.term)

    def tear(self) -> None:
        """Rows at the journal's end can't be read, flushed ones among them, and that is known."""
        assert not self.running
        self.tail.clear()
        self.durable = self.copied
        self.torn = self.copied is not None
        # What it says of positions and requests is only the past.
        self.world.checks.rolled_back(None)
        self.world.note("journal torn")

    def settings_changed(self) -> None:
        """The settings that the bridge runs by are changed now."""
        if self.running and self.house is not None:
            self.deliver(SettingsChanged(at=self.moment(), spec=self.spec))

    def lose_disk(self) -> None:
        """There is no journal any more."""
        assert not self.running
        self.tail.clear()
        self.durable = None
        self.world.checks.rolled_back(None)
        self.world.note("disk lost")

    def disconnected(self, *, keep: bool) -> None:
        """The session with the broker ends; what is on its way to it is gone."""
        was, self.connected = self.connected, False
        self.deaf = False
        self.session_until = self.world.now + SESSION_S if keep else -1.0
        self.held_out.clear()
        if keep:
            self.world.broker.waiting.extend(self.held_in)
        self.held_in.clear()
        if self.running and was:
            self.deliver(BrokerLost(at=self.moment()))
            self.world.at(self.world.now + self.world.rng.uniform(0.2, 3.0), self.connect, self.runs)

    def connect(self, run: int) -> None:
        world = self.world
        if run != self.runs or not self.running or self.connected:
            return
        if not world.broker.up:
            world.at(world.now + world.rng.uniform(0.5, 3.0), self.connect, run)
            return
        self.connected = True
        world.checks.limits.connected()
        world.weather.connected()
        self.deliver(BrokerReached(at=self.moment()))
        if world.broker.claim is not None:
            self.deliver(ClaimHeard(at=self.moment(), term=world.broker.claim, retained=True))
        if run != self.runs or self.house is None:
            return
        for name, memory in world.broker.memories.items():
            self.deliver(MemoryHeard(at=self.moment(), shade=name, memory=memory))
        world.broker.claim = max(self.house.term, world.broker.claim or 0)
        kept = list(world.broker.retained.values())
        world.rng.shuffle(kept)
        for message in kept:
            self._hear_later(message, retained=True)
        if self.session_until >= world.now:
            for message in world.broker.waiting:
                self._hear_later(message, retained=False)
        else:
            world.checks.reckoned.connected()
        world.broker.waiting.clear()

    # Messages.

    def receive(self, message: Said) -> None:
        """The broker has something for us."""
        if self.deaf:
            self.held_in.append(message)
        elif self.connected:
            self._hear_later(message, retained=False)
        elif self.session_until >= self.world.now:
            self.world.broker.waiting.append(message)

    def _hear_later(self, message: Said, *, retained: bool) -> None:
        self.in_at = max(self.in_at, self.world.now + self.world.latency())
        self.world.at(self.in_at, self._hear, message, retained, self.runs)

    def _hear(self, message: Said, retained: bool, run: int) -> None:
        if run != self.runs or not self.running or not self.connected:
            return
        if self.deaf:
            self.held_in.append(message)
            return
        event = message.event(self.moment(), retained=retained)
        if event is not None:
            self.deliver(event, message)

    def _send(self, to: Callable[[Any], None], sent: SendOrder | Overheard) -> None:
        if self.deaf:
            self.held_out.append((to, sent))
            return
        self.out_at = max(self.out_at, self.world.now + self.world.latency())
        self.world.at(self.out_at, to, sent)

    def _aimed(self, house: House, sent: SendTarget) -> Overheard:
        """Return a target as it goes out on its board's topic."""
        shade = house.shades[sent.shade]
        topic, payload, retain = encode(shade.spec.one_way, sent.value)
        side, _ = self.world.where[sent.shade]
        assert isinstance(side, OneWaySide)
        run = shade.reckoning.run
        published = Publish(topic=topic, payload=payload, retain=retain)
        return side.said(published, Sender.BRIDGE, None if run is None else run.request)

    def hang(self) -> None:
        """The connection to the broker stalls; nothing fails yet."""
        if self.connected:
            self.deaf = True

    def resume(self) -> None:
        """The stalled connection moves again: everything arrives late."""
        if not self.deaf:
            return
        self.deaf = False
        held, self.held_in = self.held_in, []
        for message in held:
            self._hear_later(message, retained=False)
        out, self.held_out = self.held_out, []
        for to, sent in out:
            self._send(to, sent)

    # Decisions.

    def deliver(self, event: Event, message: Said | None = None) -> None:
        """Let the core decide, write it down, send what it says; or die on the way."""
        if not self.running:
            return
        before = self.house
        house, decisions = handle(before, event)
        leaving: tuple[SendOrder | SendTarget, ...] = decisions.orders + decisions.targets
        stage = self._die_at(len(leaving), changed=house is not before)
        if stage == 0:
            self.die(power=self._power())
            return
        if house is not before and not self.disk_ok:
            self._refused_by_disk(before, house, event, decisions, message)
            return
        self.house = house
        if house is not before:
            self._write(house, grew=decisions.grew)
        self.world.checks.decided(before, event, house, decisions, message)
        for number, sent in enumerate(leaving):
            if stage == number + 1:
                self.die(power=self._power())
                return
            self._leave(house, sent)
        if stage is not None and stage > len(leaving):
            self.die(power=self._power())
            return
        self._remember(before, house)
        self._tick_later(event)

    def _write(self, house: House, *, grew: bool) -> None:
        self.torn = False
        self.tail.append(house)
        if grew or self.gap:
            self.durable = house
            self.tail.clear()
        self.gap = False

    def _refused_by_disk(
        self, before: House | None, house: House, event: Event, decisions: Decisions, message: Said | None
    ) -> None:
        """Do what the service does: what was heard counts in mind, what was asked is declined."""
        self.gap = True
        if not isinstance(event, Asked | GroupAsked | Confirmed) or only_halts(event):
            self.house = house
            self.world.checks.decided(before, event, house, decisions, message)
            leaving: tuple[SendOrder | SendTarget, ...] = decisions.orders + decisions.targets
            for sent in leaving:
                halts = sent.halts if isinstance(sent, SendTarget) else sent.order.do not in (Do.GO, Do.SEEK)
                if halts:
                    self._leave(house, sent)
            self._remember(before, house)
        self._tick_later(event)

    def _leave(self, house: House, sent: SendOrder | SendTarget) -> None:
        broker, checks = self.world.broker, self.world.checks
        if isinstance(sent, SendTarget):
            checks.reckoned.sending(house, sent)
            self._send(broker.publish, self._aimed(house, sent))
        else:
            checks.sending(house, sent)
            self._send(broker.order, sent)

    def _remember(self, before: House | None, house: House) -> None:
        """Keep at the broker what has changed of shades at rest."""
        if not self.connected or house is before or house.stood_down:
            return
        for shade in house.shades.values() if before is None else touched(before, house):
            memory = remembered(shade, house.term)
            if memory is not None or refuted(shade):
                self.world.broker.remember(shade.id, memory)

    def _die_at(self, orders: int, *, changed: bool) -> int | None:
        """Return before which effect this process dies: 0 before the write, then before each order."""
        if self.dies_anywhere is not None and changed:
            # Also with nothing to send, and after the last has left.
            self.dies, self.dies_anywhere = self.dies_anywhere, None
            return self.world.rng.randint(0, orders + 1)
        if self.dies is None or not orders:
            return None
        return self.world.rng.randint(0, orders)

    def _power(self) -> bool:
        assert self.dies is not None
        power, self.dies = self.dies, None
        self.world.at(self.world.now + self.world.rng.uniform(1, 40), self.start)
        return power

    def _tick_later(self, event: Event) -> None:
        assert self.house is not None
        due = due_s(self.house)
        wanted = None if due is None else due + self.mono_base
        if isinstance(event, Ticked):
            self.world.checks.ticked(wanted)
        if wanted == self.tick_at:
            return
        self.tick_at = wanted
        self.tick_version += 1
        if wanted is not None:
            self.world.at(max(wanted, self.world.now) + TIMER_S, self._tick, self.tick_version)

    def _tick(self, version: int) -> None:
        if version == self.tick_version and self.running:
            self.tick_at = None
            self.deliver(Ticked(at=self.moment()))
