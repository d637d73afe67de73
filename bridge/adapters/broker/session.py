"""The session with the broker: it stands, falls and comes back; what is said in it is decided elsewhere.

`run` never returns: cancel it to leave. On every connection: greeting published, subscriptions made, `on_up`
(publish the tree now), `on_message` for each message, `on_down`; then `on_trouble` and a wait. All hooks are
called in the event loop and must not block; an exception from one ends `run`. `publish` only queues: before
`on_up` and after `on_down` it refuses, and what still waits when the session falls is dropped, each through
`on_dropped` unless retained. Two connections, since one that speaks and hears waits for delayed
acknowledgements; the hearing one has the fixed client id, the will, and under MQTT 5 a session that outlives
a restart of the bridge.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Never

from bridge.adapters.broker.connection import ANSWER_S, Connection
from bridge.adapters.broker.encryption import encryption
from bridge.adapters.broker.messages import Address, Incoming, Publication, Subscription
from bridge.adapters.broker.queues import Dropped, Outbox
from bridge.adapters.broker.speaking import Speaker
from bridge.core.errors import LinkError

FAREWELL_S = 0.5
# A session that falls sooner has not proved that the broker is well: the delays go on growing.
STEADY_S = 5.0
# What a broker kept for us may come before the subscriptions stand; so much of it at most.
EARLY_MAX = 4096
PASSING_MAX = 500
# MQTT 5.0 (OASIS, 2019), table 3-1.
UNSUPPORTED_VERSION = 132


@dataclass(frozen=True, slots=True, kw_only=True)
class Hooks:
    """What the session tells its owner.

    Attributes:
        on_up: Subscriptions stand and `publish` takes messages; the argument is the protocol, "5" or "3.1.1".
        on_down: The session that was up is gone.
        on_message: One message, in the broker's sequence per topic.
        on_dropped: A message that is not a retained value will not go out.
        on_trouble: The session fell or could not be made; the next attempt comes after so many seconds.
    """

    on_up: Callable[[str], None]
    on_down: Callable[[], None]
    on_message: Callable[[Incoming], None]
    on_dropped: Callable[[Dropped], None]
    on_trouble: Callable[[LinkError, float], None]


class Session:
    """One bridge's session.

    Args:
        address: The broker.
        subscriptions: What to hear.
        greeting: Published first on each connection: the root's `init`.
        will: What the broker publishes when we vanish: the root's `lost`.
        farewell: Published when `run` is cancelled: the root's `disconnected`.
        hooks: What the owner wants to be told.
        delays: Makes the delays between attempts, in seconds, anew after each session that stood.
        room: How many messages may wait to leave, and how many may come before the broker's answer.
    """

    def __init__(
        self,
        address: Address,
        *,
        subscriptions: Sequence[Subscription],
        greeting: Publication,
        will: Publication,
        farewell: Publication,
        hooks: Hooks,
        delays: Callable[[], Iterator[float]],
        room: int = 0,
    ) -> None:
        self._address = address
        self._subscriptions = tuple(subscriptions)
        self._greeting, self._will, self._farewell = greeting, will, farewell
        self._hooks = hooks
        self._delays = delays
        self._outbox = Outbox(passing_max=max(PASSING_MAX, room))
        self._early_max = max(EARLY_MAX, room)
        self._early: list[Incoming] = []
        self._talk: Speaker | None = None
        self._up = False
        self._stood = False

    @property
    def orders_waiting(self) -> int:
        """How many orders have not left yet."""
        return self._outbox.orders

    @property
    def up(self) -> bool:
        """Whether messages are taken."""
        return self._up

    def publish(self, publication: Publication, *, lifetime_s: float | None = None) -> bool:
        """Queue a message; False when it was refused, which `on_dropped` tells too.

        Args:
            publication: What.
            lifetime_s: An order expires when it could not leave within so many seconds.
        """
        if not self._up:
            if not publication.retain:
                self._hooks.on_dropped(Dropped(publication=publication, reason="the broker is gone"))
            return False
        now_s = asyncio.get_running_loop().time()
        dropped = self._outbox.put(publication, expires_s=None if lifetime_s is None else now_s + lifetime_s)
        if dropped is not None:
            self._hooks.on_dropped(dropped)
        assert self._talk is not None
        self._talk.pump()
        return dropped is None or dropped.publication is not publication

    async def sent(self, *, within_s: float) -> None:
        """Return once nothing waits to go out, the session has fallen, or the time is over."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(within_s):
                while self._up and len(self._outbox):  # noqa: ASYNC110 - the outbox tells nobody
                    await asyncio.sleep(0.005)

    async def run(self) -> Never:
        """Connect, serve and reconnect until cancelled."""
        loop = asyncio.get_running_loop()
        waits = self._delays()
        while True:
            began_s = loop.time()
            try:
                await self._serve()
            except LinkError as error:
                if loop.time() - began_s >= STEADY_S and self._stood:
                    waits = self._delays()
                delay_s = next(waits)
                self._hooks.on_trouble(error, delay_s)
            await asyncio.sleep(delay_s)

    async def _serve(self) -> Never:
        self._stood = False
        self._early = []
        try:
            await self._reach()
            async with self._connections() as (hearing, speaking, v5):
                await self._converse(hearing, speaking, v5=v5)
        except OSError as error:
            said = "no answer in time" if isinstance(error, TimeoutError) else str(error)
            raise self._trouble(said or type(error).__name__) from error
        raise AssertionError("a conversation ends by an error or by being cancelled")

    async def _reach(self) -> None:
        """Fail soon and without a thread that outlives us when nobody listens there."""
        async with asyncio.timeout(ANSWER_S):
            _, writer = await asyncio.open_connection(
                self._address.host, self._address.port, ssl=encryption(self._address)
            )
            writer.close()
            await writer.wait_closed()

    @contextlib.asynccontextmanager
    async def _connections(self) -> AsyncIterator[tuple[Connection, Connection, bool]]:
        v5, speaking = True, self._speaking(v5=True)
        try:
            await speaking.open()
        except LinkError:
            if speaking.refusal not in (None, UNSUPPORTED_VERSION):
                raise
            # An old broker refuses MQTT 5 in several ways, silence among them: ask in its own tongue.
            v5, speaking = False, self._speaking(v5=False)
            await speaking.open()
        with contextlib.closing(speaking), contextlib.closing(self._hearing(v5=v5)) as hearing:
            await hearing.open()
            yield hearing, speaking, v5

    def _hearing(self, *, v5: bool) -> Connection:
        return Connection(
            self._address,
            v5=v5,
            client_id=self._address.client_id,
            session_s=self._address.session_s,
            will=self._will,
            on_message=self._heard,
        )

    def _speaking(self, *, v5: bool) -> Connection:
        return Connection(self._address, v5=v5, client_id=f"{self._address.client_id}-out")

    async def _converse(self, hearing: Connection, speaking: Connection, *, v5: bool) -> None:
        # Leaving a broker sends a clean DISCONNECT, which discards the will: the last word is ours.
        last = self._will
        try:
            await speaking.say(self._greeting)
            await hearing.subscribe(self._subscriptions)
            self._talk = Speaker(speaking, self._outbox, self._hooks.on_dropped)
            self._stood = self._up = True
            self._hooks.on_up("5" if v5 else "3.1.1")
            early, self._early = self._early, []
            for message in early:
                self._hooks.on_message(message)
            await _first_to_end(hearing.lost, speaking.lost)
        except asyncio.CancelledError:
            last = self._farewell
            raise
        finally:
            self._fall()
            await self._leave(last, speaking, hearing)

    def _heard(self, message: Incoming) -> None:
        if self._up:
            self._hooks.on_message(message)
            return
        self._early.append(message)
        if len(self._early) > self._early_max:
            raise self._trouble(f"more than {self._early_max} messages came before its answer")

    def _fall(self) -> None:
        was_up, self._up = self._up, False
        for dropped in self._outbox.clear():
            self._hooks.on_dropped(dropped)
        if was_up:
            self._hooks.on_down()

    async def _leave(self, last: Publication, *connections: Connection) -> None:
        for connection in connections:
            try:
                async with asyncio.timeout(FAREWELL_S):
                    await connection.say(last)
            except (LinkError, TimeoutError):
                continue
            return

    def _trouble(self, problem: str) -> LinkError:
        return LinkError(
            where=f"broker {self._address}",
            problem=problem,
            remedy="start the broker or correct [broker]; it is tried again",
        )


async def _first_to_end(*lost: asyncio.Future[Never]) -> None:
    done, _ = await asyncio.wait(lost, return_when=asyncio.FIRST_COMPLETED)
    for each in done:
        each.result()
