"""The measuring client: one thread, one connection to publish and one to hear, so that it waits for nobody.

On paho alone, driven by hand: a request is stamped right before its bytes leave, an answer when its packet
has been read. What is measured is not known here.
"""

from __future__ import annotations

import contextlib
import select
import socket
import time
from collections.abc import Callable, Iterator
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion

from bridge.core.errors import LinkError

PATIENCE_S = 10.0
KEEPALIVE_S = 60
INFLIGHT = 5000

Hears = Callable[[str, bytes], None]


class Meter:
    """Two connections to one broker.

    Args:
        host: Where it is.
        port: Speaks MQTT 5.
    """

    def __init__(self, host: str, port: int) -> None:
        self._hears: list[tuple[str, Hears]] = []
        self._granted = 0
        self._where = f"broker {host}:{port}"
        self._hearing = connected(host, port, "hembar-bench-in")
        self._speaking = connected(host, port, "hembar-bench-out")
        self._hearing.on_message = self._on_message
        self._hearing.on_subscribe = self._on_subscribe
        self._next_misc_s = 0.0

    def hear(self, prefix: str, filters: list[str], hears: Hears) -> None:
        """Subscribe; `hears` is given each message whose topic starts with `prefix`."""
        self._hears.append((prefix, hears))
        before = self._granted
        self._hearing.subscribe([(each, 1) for each in filters])
        self.until(lambda: self._granted > before, "a subscription")

    def say(self, topic: str, payload: bytes, *, retain: bool = False) -> float:
        """Publish at QoS 1; return the second at which it left, on `time.perf_counter`."""
        at_s = time.perf_counter()
        if self._speaking.publish(topic, payload, 1, retain).rc is not MQTTErrorCode.MQTT_ERR_SUCCESS:
            raise self._gone("the connection broke")
        return at_s

    def until(self, wanted: Callable[[], bool], what: str, *, within_s: float = PATIENCE_S) -> None:
        """Serve both connections until `wanted`.

        Raises:
            LinkError: it does not come in time.
        """
        give_up_s = time.perf_counter() + within_s
        while not wanted():
            if time.perf_counter() > give_up_s:
                raise self._gone(f"waited {within_s:.0f} s in vain for {what}")
            self._turn(0.1)

    def rest(self, seconds: float) -> None:
        """Serve both connections for a while."""
        until_s = time.perf_counter() + seconds
        while (left_s := until_s - time.perf_counter()) > 0:
            self._turn(left_s)

    def close(self) -> None:
        """Leave."""
        for client in (self._hearing, self._speaking):
            client.disconnect()
            client.loop_write()

    def _turn(self, wait_s: float) -> None:
        clients = (self._hearing, self._speaking)
        wanting = [each for each in clients if each.want_write()]
        ready, writable, _ = select.select(
            [socket_of(each) for each in clients], [socket_of(each) for each in wanting], [], wait_s
        )
        for client in clients:
            if socket_of(client) in ready:
                self._read(client)
        for client in wanting:
            if socket_of(client) in writable:
                client.loop_write()
        if time.perf_counter() >= self._next_misc_s:
            self._next_misc_s = time.perf_counter() + 1.0
            for client in clients:
                client.loop_misc()

    def _read(self, client: paho.Client) -> None:
        if client.loop_read() is not MQTTErrorCode.MQTT_ERR_SUCCESS:
            raise self._gone("the connection broke")
        # Many boards share this connection: an acknowledgement that one of them delays would hold up the
        # others' orders at the broker. Linux forgets the option at times, tcp(7), so it is set each time.
        socket_of(client).setsockopt(socket.IPPROTO_TCP, socket.TCP_QUICKACK, 1)

    def _on_message(self, _client: paho.Client, _data: Any, message: paho.MQTTMessage) -> None:
        for prefix, hears in self._hears:
            if message.topic.startswith(prefix):
                hears(message.topic, bytes(message.payload))
                return

    def _on_subscribe(self, *_: Any) -> None:
        self._granted += 1

    def _gone(self, problem: str) -> LinkError:
        return LinkError(where=self._where, problem=problem, remedy="run the bench again on a calmer machine")


@contextlib.contextmanager
def opened(host: str, port: int) -> Iterator[Meter]:
    """Give a meter that is closed in the end."""
    meter = Meter(host, port)
    try:
        yield meter
    finally:
        meter.close()


def connected(host: str, port: int, name: str) -> paho.Client:
    """Return a client that is driven by hand, once the broker has taken it.

    Raises:
        LinkError: the broker does not answer.
    """
    client = paho.Client(
        CallbackAPIVersion.VERSION2,
        client_id=name,
        protocol=MQTTProtocolVersion.MQTTv5,
        reconnect_on_failure=False,
    )
    client.max_inflight_messages_set(INFLIGHT)
    client.on_socket_open = _no_delay
    client.connect(host, port, KEEPALIVE_S)
    give_up_s = time.perf_counter() + PATIENCE_S
    while not client.is_connected():
        if time.perf_counter() > give_up_s:
            raise LinkError(where=f"broker {host}:{port}", problem="it does not answer", remedy="try again")
        client.loop(0.1)
    return client


def socket_of(client: paho.Client) -> socket.socket:
    """Return the socket of a client that is connected."""
    found = client.socket()
    assert isinstance(found, socket.socket)
    return found


def _no_delay(_client: paho.Client, _data: object, sock: Any) -> None:
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
