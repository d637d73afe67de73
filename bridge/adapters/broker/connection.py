"""One connection to the broker: paho, driven by the event loop.

What is published is written at once, in its sequence. A connection is made anew for each session and opened
once: paho would send again what the last one had not got acknowledged, an old value over a newer one. Only
the way to the broker is made in a thread, since paho blocks there. `lost` fails when the connection does:
that covers a broker that vanishes, one that answers no ping, and one that acknowledges nothing any more.
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import Callable, Iterator, Sequence
from typing import Any, Never, TypeVar

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from bridge.adapters.broker.encryption import encryption
from bridge.adapters.broker.messages import Address, Incoming, Publication, Subscription
from bridge.core.errors import LinkError

ANSWER_S = 5.0
# MQTT 5.0 (OASIS, 2019), 2.4: reason codes from here on are failures.
REFUSED = 0x80
# Pings and overdue acknowledgements are looked after so often, or four times in a shorter keepalive.
LOOK_S = 1.0
# So many packets at most are read before others have their turn.
READ_MAX = 64
# What the network may hold for us: in a storm a `stop` waits behind all of it, so it is kept to some hundred
# messages, and the broker drops what does not fit.
AHEAD_BYTES = 32768
ASK_APART_S = 0.001
# Linux's own, tcp(7): the one lets an acknowledgement go at once, the other holds packets back for company.
_QUICKACK: int | None = getattr(socket, "TCP_QUICKACK", None)
_CORK: int | None = getattr(socket, "TCP_CORK", None)
_CALLBACKS = CallbackAPIVersion.VERSION2

# Told once a message is acknowledged; False when the broker did not let it through, which only MQTT 5 says.
Done = Callable[[bool], None]
Answer = TypeVar("Answer")


class Connection:
    """One connection; made in the event loop that then drives it.

    Args:
        address: The broker.
        v5: Speak MQTT 5 rather than 3.1.1.
        client_id: Who we are there.
        session_s: How long the broker keeps what it has for us while we are away (MQTT 5).
        will: What the broker publishes when the connection breaks.
        on_message: Told of each message; an exception from it is what `lost` fails with.

    Attributes:
        lost: Fails with a LinkError when the connection does.
        refusal: The reason code with which the broker refused the connection; None when it did not.
    """

    def __init__(
        self,
        address: Address,
        *,
        v5: bool,
        client_id: str,
        session_s: int = 0,
        will: Publication | None = None,
        on_message: Callable[[Incoming], None] | None = None,
    ) -> None:
        self._address, self._v5, self._session_s = address, v5, session_s
        self._on_message = on_message
        self._loop = asyncio.get_running_loop()
        self.lost: asyncio.Future[Never] = self._loop.create_future()
        self.refusal: int | None = None
        self._greeted: asyncio.Future[None] = self._loop.create_future()
        self._granted: asyncio.Future[list[int]] = self._loop.create_future()
        self._awaited: dict[int, tuple[float, Done]] = {}
        self._acknowledged: list[tuple[Done, bool]] = []
        self._read = 0
        self._asked_s = 0.0
        self._timer: asyncio.TimerHandle | None = None
        self._writing: Any = None
        self._client = self._made(client_id, will)

    async def open(self) -> None:
        """Reach the broker and be welcomed.

        Raises:
            LinkError: it is not there, refuses, or is silent for `ANSWER_S` seconds.
        """
        connecting = self._loop.run_in_executor(None, self._connect)
        try:
            async with asyncio.timeout(ANSWER_S):
                await asyncio.shield(connecting)
                self._attach()
                await self._first(self._greeted)
        except BaseException as error:
            connecting.add_done_callback(lambda _: self.close())
            if isinstance(error, OSError):  # a TimeoutError is one
                raise self._trouble(str(error) or "no answer in time") from error
            raise

    async def subscribe(self, subscriptions: Sequence[Subscription]) -> None:
        """Subscribe, once in a connection.

        Raises:
            LinkError: one was refused, or the connection was lost.
        """
        wanted: list[Any] = [(each.topic, _options(each) if self._v5 else each.qos) for each in subscriptions]
        self._client.subscribe(wanted)
        self._write_on()
        try:
            async with asyncio.timeout(ANSWER_S):
                values = await self._first(self._granted)
        except TimeoutError as error:
            raise self._trouble("no answer in time") from error
        for each, value in zip(subscriptions, values, strict=True):
            if value >= REFUSED:
                raise self._trouble(f"the subscription of {each.topic} was refused")

    def publish(self, publication: Publication, done: Done) -> None:
        """Write a message; `done` is called when the broker has acknowledged it, at QoS 0 never."""
        info = self._client.publish(
            publication.topic, publication.payload, publication.qos, publication.retain
        )
        if info.rc not in (MQTTErrorCode.MQTT_ERR_SUCCESS, MQTTErrorCode.MQTT_ERR_AGAIN):
            self._lose(self._trouble(paho.error_string(info.rc)))
        elif publication.qos:
            self._awaited[info.mid] = (self._loop.time(), done)
        self._write_on()

    @contextlib.contextmanager
    def together(self) -> Iterator[None]:
        """Let what is written inside leave as one when it ends: each packet alone would wake the broker."""
        self._set(_CORK, 1)
        try:
            yield
        finally:
            self._set(_CORK, 0)

    async def say(self, publication: Publication) -> None:
        """Publish one message and wait for its acknowledgement.

        Raises:
            LinkError: the connection was lost.
        """
        said: asyncio.Future[None] = self._loop.create_future()
        self.publish(publication, lambda _allowed: None if said.done() else said.set_result(None))
        await self._first(said)

    def acknowledge(self) -> None:
        """Let the machine acknowledge at once what the broker has sent.

        A broker that delays small packets (Nagle's algorithm, RFC 896) sends its second acknowledgement when
        our machine has acknowledged the first, which takes 40 ms unless we have something to say.
        """
        if self._loop.time() - self._asked_s >= ASK_APART_S:
            self._asked_s = self._loop.time()
            self._set(_QUICKACK, 1)

    def close(self) -> None:
        """Leave, with a goodbye when it can be written at once; the broker drops the will then."""
        for future in (self._greeted, self._granted, self.lost):
            if not future.cancel() and not future.cancelled():
                future.exception()
        if self._timer is not None:
            self._timer.cancel()
        self._awaited.clear()
        self._client.disconnect()
        sock = self._client.socket()
        if sock is not None:
            self._let_go(sock)
            sock.close()

    def _made(self, client_id: str, will: Publication | None) -> paho.Client:
        client = paho.Client(
            _CALLBACKS,
            client_id=client_id,
            # Before MQTT 5 a session kept has no end: a request of last week would move a shade.
            clean_session=None if self._v5 else True,
            protocol=MQTTProtocolVersion.MQTTv5 if self._v5 else MQTTProtocolVersion.MQTTv311,
            reconnect_on_failure=False,
        )
        client.connect_timeout = ANSWER_S
        client.max_inflight_messages_set(0)  # whoever publishes bounds that
        if self._address.username is not None:
            client.username_pw_set(self._address.username, self._address.password)
        if (context := encryption(self._address)) is not None:
            client.tls_set_context(context)
        if will is not None:
            client.will_set(will.topic, will.payload, will.qos, will.retain)
        client.on_socket_open = _tuned
        client.on_connect = self._welcomed
        client.on_subscribe = self._subscribed
        client.on_publish = self._published
        client.on_message = self._heard
        client.on_disconnect = self._left
        return client

    def _connect(self) -> None:
        """Runs in a thread; paho tells of nothing before its socket is read."""
        properties = None
        if self._v5 and self._session_s:
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # paho's own gap
            properties.SessionExpiryInterval = self._session_s
        self._client.connect(
            self._address.host,
            self._address.port,
            self._address.keepalive_s,
            clean_start=self._session_s == 0 if self._v5 else paho.MQTT_CLEAN_START_FIRST_ONLY,
            properties=properties,
        )

    def _attach(self) -> None:
        sock = self._client.socket()
        assert sock is not None
        self._client.on_socket_close = lambda _client, _data, gone: self._let_go(gone)
        self._loop.add_reader(sock, self._readable)
        self._write_on()
        self._look()

    async def _first(self, wanted: asyncio.Future[Answer]) -> Answer:
        """Wait for an answer, or for the end of the connection."""
        ends: list[asyncio.Future[Any]] = [wanted, self.lost]
        await asyncio.wait(ends, return_when=asyncio.FIRST_COMPLETED)
        if not wanted.done():
            await self.lost
        return wanted.result()

    def _readable(self) -> None:
        # Only what is heard is answered while it is read.
        with contextlib.nullcontext() if self._on_message is None else self.together():
            for _ in range(READ_MAX):
                before = self._read
                self._guarded(self._client.loop_read)
                if self._read == before:
                    break
        # Outside of paho's own callbacks, within which it writes nothing.
        acknowledged, self._acknowledged = self._acknowledged, []
        for done, allowed in acknowledged:
            done(allowed)
        self._write_on()

    def _writable(self) -> None:
        self._guarded(self._client.loop_write)
        if not self._client.want_write() and self._writing is not None:
            self._loop.remove_writer(self._writing)
            self._writing = None

    def _write_on(self) -> None:
        """Go on writing when the socket takes more again."""
        if self._writing is None and self._client.want_write():
            self._writing = self._client.socket()
            if self._writing is not None:
                self._loop.add_writer(self._writing, self._writable)

    def _look(self) -> None:
        self._timer = self._loop.call_later(min(LOOK_S, self._address.keepalive_s / 4), self._look)
        self._guarded(self._client.loop_misc)
        self._write_on()
        oldest = next(iter(self._awaited.values()), None)
        if oldest is not None and self._loop.time() - oldest[0] > ANSWER_S:
            self._lose(self._trouble(f"it acknowledged nothing for {ANSWER_S:.0f} s"))

    def _guarded(self, act: Callable[[], MQTTErrorCode]) -> None:
        try:
            code = act()
        except Exception as error:  # noqa: BLE001  whatever paho stumbles over, this connection is over
            self._lose(self._trouble(f"{type(error).__name__}: {error}"))
            return
        if code is not MQTTErrorCode.MQTT_ERR_SUCCESS and code is not MQTTErrorCode.MQTT_ERR_AGAIN:
            self._lose(self._trouble(paho.error_string(code)))

    def _lose(self, error: Exception) -> None:
        if not self.lost.done():
            self.lost.set_exception(error)

    def _set(self, option: int | None, value: int) -> None:
        sock: Any = self._client.socket()
        if option is not None and sock is not None:
            with contextlib.suppress(OSError):
                sock.setsockopt(socket.IPPROTO_TCP, option, value)

    def _let_go(self, sock: Any) -> None:
        self._loop.remove_reader(sock)
        self._loop.remove_writer(sock)
        self._writing = None

    def _trouble(self, problem: str) -> LinkError:
        return LinkError(
            where=f"broker {self._address}",
            problem=problem,
            remedy="start the broker or correct [broker]; it is tried again",
        )

    def _welcomed(self, _client: Any, _data: Any, _flags: Any, code: ReasonCode, _properties: Any) -> None:
        self._read += 1
        if code.is_failure:
            self.refusal = code.value
            self._lose(self._trouble(f"it refuses the connection: {code}"))
        elif not self._greeted.done():
            self._greeted.set_result(None)

    def _subscribed(self, _client: Any, _data: Any, _mid: int, codes: Any, _properties: Any) -> None:
        self._read += 1
        if not self._granted.done():
            self._granted.set_result([code.value for code in codes])

    def _published(self, _client: Any, _data: Any, mid: int, code: Any, _properties: Any) -> None:
        self._read += 1
        awaited = self._awaited.pop(mid, None)
        if awaited is not None:
            self._acknowledged.append((awaited[1], code.value < REFUSED))

    def _heard(self, _client: Any, _data: Any, message: paho.MQTTMessage) -> None:
        self._read += 1
        try:
            topic = message.topic
        except UnicodeDecodeError:
            return  # against the protocol, and so on no topic of ours
        if self._on_message is None:
            return
        payload = bytes(message.payload)
        heard = Incoming(topic=topic, payload=payload, retained=message.retain, qos=message.qos)
        try:
            self._on_message(heard)
        except Exception as error:  # noqa: BLE001  paho would call it a fault of the connection
            self._lose(error)

    def _left(self, _client: Any, _data: Any, _flags: Any, code: ReasonCode, _properties: Any) -> None:
        self._lose(self._trouble(f"the connection ended: {code}"))


def _options(subscription: Subscription) -> SubscribeOptions:
    if subscription.live:
        return SubscribeOptions(
            qos=subscription.qos, retainAsPublished=True, retainHandling=SubscribeOptions.RETAIN_DO_NOT_SEND
        )
    return SubscribeOptions(qos=subscription.qos)


def _tuned(_client: Any, _data: Any, sock: Any) -> None:
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, AHEAD_BYTES)
