"""The simulated broker and the boards' connections to it: latency, retained messages, wills, half-open links.

What is sent on one connection arrives in order. A board that falls silent is noticed after its keepalive;
until then its orders are held, and delivered late if it comes back in time.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from bridge.core.contract import Link
from bridge.core.outcome import SendOrder
from bridge.core.position.memory import Memory
from bridge.core.values import ShadeId
from bridge.simulate.wire import Publish, write
from bridge.simulate.world.boards import Message, SimBoard
from bridge.simulate.world.one_way_board import Overheard, SimOneWayBoard

if TYPE_CHECKING:
    from bridge.simulate.world.world import World

Said = Message | Overheard

# Between the loss of a connection and the moment at which a broker with a keepalive of 5 s notices.
NOTICED_S = (5.0, 9.0)
LATENCY_S = (0.001, 0.04)
SLOW_S = (0.3, 6.0)
# Far below any latency: what a board said before something happened to it at the same instant.
BEFORE_S = 1e-9
# What a broker keeps for a client that is away, per client.
QUEUE_MAX = 200


class Line:
    """One board with its power, its network and its session at the broker."""

    board: SimBoard | SimOneWayBoard
    held: Any

    def __init__(self, world: World, board: SimBoard | SimOneWayBoard) -> None:
        self.world, self.board = world, board
        self.wifi = True
        self.life = 0
        self.session: int | None = None
        self.session_boot = 0
        self.stalled: list[Said] = []
        self.out_at = self.in_at = 0.0
        self.due_version = 0
        self.due_at: float | None = None
        # When something happened at the board itself that its reports have yet to tell, per channel.
        self.dirty: list[float | None] = [None] * len(board.channels)

    @property
    def reachable(self) -> bool:
        return self.session is not None and self.wifi and self.board.powered

    def disturbed(self, channel: int | None = None) -> None:
        """Something happened here that the bridge can't know before it is told."""
        raise NotImplementedError

    # Time.

    def catch_up(self) -> None:
        if self.due_at is not None or self.board.moving:
            self.advanced()

    def advanced(self) -> None:
        """Let the board live up to now."""
        raise NotImplementedError

    def after(self, messages: Sequence[Said]) -> None:
        """Send what was said and be called when the board wants to be."""
        for message in messages:
            self.send(message)
        due = self.board.next_event_s if self.board.powered else None
        if due == self.due_at:
            return
        self.due_at = due
        self.due_version += 1
        if due is not None:
            self.world.at(max(due, self.world.now), self._due, self.due_version)

    def _due(self, version: int) -> None:
        if version == self.due_version:
            self.due_at = None
            # What was due is done even where nothing moves.
            self.advanced()

    # Messages.

    def send(self, message: Said) -> None:
        if self.session is None or not self.board.powered:
            return
        if not self.wifi:
            if len(self.stalled) < QUEUE_MAX:
                self.stalled.append(message)
            return
        world = self.world
        self.out_at = max(self.out_at, world.now + world.latency())
        world.at(self.out_at, self._sent, message, self.life)

    def _sent(self, message: Said, life: int) -> None:
        # What had left the board's radio before its power went still arrives.
        if life >= self.life - 1 and self.session is not None:
            self.world.broker.publish(message)

    def take(self, message: Any) -> None:
        """Something for this board has come to the broker."""
        raise NotImplementedError

    # Power and network.

    def power_cut(self) -> None:
        if not self.board.powered:
            return
        self.catch_up()
        self.board.power_cut(self.world.now)
        self.life += 1
        self.stalled.clear()
        self.disturbed()
        self.after([])
        self.world.note("cut", self.board.plan.id)
        self._noticed_later()

    def power_up(self) -> None:
        if self.board.powered:
            return
        self.board.power_up(self.world.now)
        self.disturbed()
        self.world.note("boot", self.board.plan.id, self.board.boot)
        self.world.at(self.world.now + self.world.rng.uniform(1.0, 4.0), self.connect, self.life)

    def wifi_lost(self) -> None:
        self.catch_up()
        self.wifi = False
        self.world.note("deaf", self.board.plan.id)
        self._noticed_later()

    def wifi_back(self) -> None:
        self.catch_up()
        self.wifi = True
        self.world.note("heard", self.board.plan.id)
        # A session of a life before is none of this one's.
        if self.session is None or self.session_boot != self.board.boot or not self.board.powered:
            self.world.at(self.world.now + self.world.rng.uniform(0.3, 3.0), self.connect, self.life)
            return
        # The broker has not noticed: everything held on either side arrives late.
        self.world.figures.faults["late delivery"] += len(self.held) + len(self.stalled)
        stalled, self.stalled = self.stalled, []
        held, self.held = self.held, []
        for message in stalled:
            self.send(message)
        for order in held:
            self.take(order)

    def _noticed_later(self) -> None:
        wait = self.world.rng.uniform(*NOTICED_S)
        self.world.at(self.world.now + wait, self._noticed, self.session, self.life)

    def _noticed(self, session: int | None, life: int) -> None:
        if session is None or session != self.session or (self.reachable and life == self.life):
            return
        self.lose_session()

    def lose_session(self) -> None:
        """The broker gives up on the connection and publishes the board's will."""
        if self.session is None:
            return
        self.dropped()
        self.speak_will()

    def dropped(self) -> None:
        """The connection is gone, and with it what was on its way."""
        self.session = None
        self.held.clear()
        self.stalled.clear()

    def speak_will(self) -> None:
        """The broker publishes the board's will."""
        raise NotImplementedError

    def connect(self, life: int) -> None:
        """Open a session, unless the board has died or the broker is away, which is tried again."""
        world = self.world
        if life != self.life or not self.board.powered or not self.wifi or self.reachable_now(life):
            return
        if not world.broker.up:
            world.at(world.now + world.rng.uniform(0.5, 5.0), self.connect, life)
            return
        self.lose_session()
        self.session = world.broker.new_session()
        self.session_boot = self.board.boot
        self.greet()

    def greet(self) -> None:
        """A session has begun."""
        raise NotImplementedError

    def reachable_now(self, life: int) -> bool:
        """Say whether this very life already has its session."""
        return self.session is not None and self.session_boot == self.board.boot and life == self.life


class BoardSide(Line):
    """One board that speaks the contract."""

    board: SimBoard

    def __init__(self, world: World, board: SimBoard) -> None:
        super().__init__(world, board)
        self.held: list[SendOrder] = []

    def disturbed(self, channel: int | None = None) -> None:
        """Something happened here that the bridge can't know before it is told."""
        for number in range(len(self.dirty)) if channel is None else (channel,):
            # What the board says at the instant of a power cut it has said before it.
            self.dirty[number] = self.world.now if self.board.powered else self.world.now + 1e-9

    def advanced(self) -> None:
        # What has happened by itself up to now was said before whatever happens to it now.
        self.after(self.board.messages(self.board.advance(self.world.now), self.world.now - BEFORE_S))

    def take(self, sent: SendOrder) -> None:
        """An order for this board has come to the broker."""
        if self.session is None:
            return
        if not self.reachable:
            if len(self.held) < QUEUE_MAX:
                self.held.append(sent)
            return
        world = self.world
        self.in_at = max(self.in_at, world.now + world.latency())
        world.at(self.in_at, self._arrived, sent, self.life)

    def rivals(self, sent: SendOrder) -> None:
        """An order of another bridge comes to the board, past every check of ours."""
        self.after(self.board.take(sent.order, sent.channel, self.world.now))

    def _arrived(self, sent: SendOrder, life: int) -> None:
        if life != self.life or not self.board.powered:
            return
        if not self.wifi:
            self.held.append(sent)
            return
        self.world.checks.before_order(self, sent)
        self.after(self.board.take(sent.order, sent.channel, self.world.now))
        self.world.checks.after_order(self, sent)

    def speak_will(self) -> None:
        self.world.broker.publish(self.will())

    def will(self) -> Message:
        if self.board.wire:
            payload = write({"link": str(Link.LOST), "boot": self.session_boot})
            said: tuple[Link, int] | Publish = Publish(topic=self.board.link_topic, payload=payload)
        else:
            said = (Link.LOST, self.session_boot)
        return Message(board=self.board.plan.id, channel=None, said=said, at_s=self.world.now)

    def greet(self) -> None:
        kept = self.world.broker.retained.get((self.board.plan.id, None))
        self.catch_up()
        self.after(self.board.greeting(self.world.now))
        if isinstance(kept, Message) and is_lost(kept):
            self.send(self.board.link_message(Link.UP, self.world.now))

    def link_overheard(self) -> None:
        """Its own link topic has said `lost` while it is up."""
        if self.reachable:
            self.send(self.board.link_message(Link.UP, self.world.now))


def is_lost(message: Message) -> bool:
    """Say whether this message tells that a board is lost."""
    said = message.said
    if isinstance(said, Publish):
        return b'"lost"' in said.payload
    return isinstance(said, tuple) and said[0] is Link.LOST


class Broker:
    """Keeps what was retained, and passes on."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.up = True
        self.retained: dict[object, Said] = {}
        self.older: dict[object, Said] = {}
        self.claim: int | None = None
        self.memories: dict[ShadeId, Memory] = {}
        self.older_memories: dict[ShadeId, Memory] = {}
        self.sessions = 0
        self.waiting: deque[Said] = deque(maxlen=QUEUE_MAX)

    def new_session(self) -> int:
        self.sessions += 1
        return self.sessions

    def publish(self, message: Said) -> None:
        """Take a message from a board, or its will, or what somebody says on a one-way board's topic."""
        if not self.up:
            return
        if isinstance(message, Message) or message.retain:
            if self.world.rng.random() < 0.02 or message.topic not in self.older:
                self.older[message.topic] = message
            self.retained[message.topic] = message
        server = self.world.server
        self._pass_on(message, server.receive)
        if isinstance(message, Overheard):
            self.world.checks.reckoned.published(message)
            self._pass_on(message, self.world.sides[message.board].take)
        elif message.channel is None and is_lost(message):
            side = self.world.contract_side(message.board)
            self.world.at(self.world.now + self.world.latency(), side.link_overheard)

    def _pass_on(self, message: Said, to: Callable[[Said], None]) -> None:
        to(message)
        if self.world.chance("repeat"):
            self.world.figures.faults["repeated message"] += 1
            to(message)

    def remember(self, shade: ShadeId, memory: Memory | None) -> None:
        """Keep what the bridge knows of a shade; None forgets it."""
        if memory is None:
            self.memories.pop(shade, None)
            return
        if self.world.rng.random() < 0.02 or shade not in self.older_memories:
            self.older_memories[shade] = memory
        self.memories[shade] = memory

    def order(self, sent: SendOrder) -> None:
        """Take an order from the bridge."""
        if self.up:
            side = self.world.contract_side(sent.board)
            side.take(sent)
            if self.world.chance("repeat"):
                self.world.figures.faults["repeated order"] += 1
                side.take(sent)

    def stop(self, kind: str) -> None:
        """The broker dies; what it retained is kept, lost, or as it was some time ago."""
        world = self.world
        if not self.up:
            return
        self.up = False
        if kind == "lost":
            self.retained.clear()
            self.claim = None
            self.memories.clear()
        elif kind == "old":
            self.retained = {**self.retained, **self.older}
            self.memories = dict(self.older_memories)
        self.waiting.clear()
        for side in world.sides.values():
            side.dropped()
        world.server.disconnected(keep=False)

    def start(self) -> None:
        self.up = True
        for side in self.world.sides.values():
            wait = self.world.rng.uniform(0.3, 6.0)
            self.world.at(self.world.now + wait, side.connect, side.life)
