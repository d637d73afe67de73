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
import socket
from collections.abc import AsyncIterator, Callable, Coroutine, Iterator, Sequence
from dataclasses import dataclass
from typing import Never

import aiomqtt
from aiomqtt import MqttCodeError, MqttError, ProtocolVersion
from paho.mqtt.client import MQTT_CLEAN_START_FIRST_ONLY
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from bridge.adapters.broker.encryption import encryption
from bridge.adapters.broker.messages import Address, Incoming, Publication, Subscription
from bridge.adapters.broker.queues import Dropped, Outbox
from bridge.adapters.broker.speaking import Speaker, say
from bridge.core.errors import LinkError

ANSWER_S = 5.0
FAREWELL_S = 0.5
# A session that falls sooner has not proved that the broker is well: the delays go on growing.
STEADY_S = 5.0
# MQTT 5.0 (OASIS, 2019), table 3-1.
UNSUPPORTED_VERSION = 132
HEARD_MAX = 4096
_NODELAY = ((socket.IPPROTO_TCP, socket.TCP_NODELAY, 1),)


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
    ) -> None:
        self._address = address
        self._subscriptions = tuple(subscriptions)
        self._greeting, self._will, self._farewell = greeting, will, farewell
        self._hooks = hooks
        self._delays = delays
        self._outbox = Outbox()
        self._talk: Speaker | None = None
        self._up = False
        self._stood = False

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
        try:
            await self._reach()
            async with self._connections() as (hearing, speaking, version):
                await self._converse(hearing, speaking, version)
        except (MqttError, OSError) as error:
            raise self._trouble(error) from error
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
    async def _connections(self) -> AsyncIterator[tuple[aiomqtt.Client, aiomqtt.Client, ProtocolVersion]]:
        async with contextlib.AsyncExitStack() as stack:
            version = ProtocolVersion.V5
            try:
                speaking = await stack.enter_async_context(self._speaker(version))
            except MqttError as error:
                if isinstance(error, MqttCodeError) and error.rc != UNSUPPORTED_VERSION:
                    raise
                # An old broker refuses MQTT 5 in several ways, silence among them: ask in its own tongue.
                version = ProtocolVersion.V311
                speaking = await stack.enter_async_context(self._speaker(version))
            hearing = await stack.enter_async_context(self._hearer(version))
            yield hearing, speaking, version

    async def _converse(
        self, hearing: aiomqtt.Client, speaking: aiomqtt.Client, version: ProtocolVersion
    ) -> None:
        # Leaving a client sends a clean DISCONNECT, which discards the will: the last word is ours.
        last = self._will
        try:
            await say(speaking, self._greeting)
            await self._subscribe(hearing, version)
            self._talk = Speaker(speaking, self._outbox, self._hooks.on_dropped)
            self._stood = self._up = True
            self._hooks.on_up("5" if version is ProtocolVersion.V5 else "3.1.1")
            await self._until_one_ends(self._hear(hearing), self._talk.run(), self._watch(speaking))
        except asyncio.CancelledError:
            last = self._farewell
            raise
        finally:
            self._fall()
            await self._leave(last, speaking, hearing)

    async def _until_one_ends(self, *work: Coroutine[None, None, Never]) -> None:
        tasks = [asyncio.ensure_future(each) for each in work]
        try:
            done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
            for task in done:
                task.result()
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)

    async def _hear(self, client: aiomqtt.Client) -> Never:
        async for message in client.messages:
            topic, payload = message.topic.value, message.payload
            self._hooks.on_message(
                Incoming(topic=topic, payload=payload, retained=message.retain, qos=message.qos)
            )
        raise MqttError("the broker closed the connection")

    async def _watch(self, client: aiomqtt.Client) -> Never:
        """A pending publish does not notice that its connection died; this does."""
        async for _ in client.messages:
            pass
        raise MqttError("the broker closed the connection")

    async def _subscribe(self, client: aiomqtt.Client, version: ProtocolVersion) -> None:
        if version is ProtocolVersion.V5:
            codes = await client.subscribe([(each.topic, _options(each)) for each in self._subscriptions])
        else:
            codes = await client.subscribe([(each.topic, each.qos) for each in self._subscriptions])
        values = [code if isinstance(code, int) else int(code.value) for code in codes]
        for wanted, value in zip(self._subscriptions, values, strict=True):
            if value >= 128:
                raise MqttError(f"the subscription of {wanted.topic} was refused")

    def _fall(self) -> None:
        was_up, self._up = self._up, False
        for dropped in self._outbox.clear():
            self._hooks.on_dropped(dropped)
        if was_up:
            self._hooks.on_down()

    async def _leave(self, last: Publication, *clients: aiomqtt.Client) -> None:
        for client in clients:
            try:
                async with asyncio.timeout(FAREWELL_S):
                    await say(client, last)
            except (MqttError, TimeoutError):
                continue
            return

    def _trouble(self, error: Exception) -> LinkError:
        said = "no answer in time" if isinstance(error, TimeoutError) else str(error) or type(error).__name__
        return LinkError(
            where=f"broker {self._address}",
            problem=said,
            remedy="start the broker or correct [broker]; it is tried again",
        )

    def _hearer(self, version: ProtocolVersion) -> aiomqtt.Client:
        will = aiomqtt.Will(self._will.topic, self._will.payload, self._will.qos, self._will.retain)
        session_s = self._address.session_s
        return self._client(version, self._address.client_id, session_s=session_s, will=will)

    def _speaker(self, version: ProtocolVersion) -> aiomqtt.Client:
        return self._client(version, f"{self._address.client_id}-out", session_s=0, will=None)

    def _client(
        self, version: ProtocolVersion, client_id: str, *, session_s: int, will: aiomqtt.Will | None
    ) -> aiomqtt.Client:
        v5 = version is ProtocolVersion.V5
        properties = Properties(PacketTypes.CONNECT) if v5 else None  # type: ignore[no-untyped-call]  # paho's own gap
        if properties is not None and session_s:
            properties.SessionExpiryInterval = session_s
        address = self._address
        return aiomqtt.Client(
            address.host,
            address.port,
            username=address.username,
            password=address.password,
            identifier=client_id,
            protocol=version,
            will=will,
            # Before MQTT 5 a session kept has no end: a request of last week would move a shade.
            clean_session=None if v5 else True,
            clean_start=session_s == 0 if v5 else MQTT_CLEAN_START_FIRST_ONLY,
            timeout=ANSWER_S,
            keepalive=address.keepalive_s,
            max_queued_incoming_messages=HEARD_MAX,
            properties=properties,
            tls_context=encryption(self._address),
            socket_options=_NODELAY,
        )


def _options(subscription: Subscription) -> SubscribeOptions:
    if subscription.live:
        return SubscribeOptions(
            qos=subscription.qos, retainAsPublished=True, retainHandling=SubscribeOptions.RETAIN_DO_NOT_SEND
        )
    return SubscribeOptions(qos=subscription.qos)
