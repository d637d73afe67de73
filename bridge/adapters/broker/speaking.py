"""What waits in the outbox goes out on one connection, several publishes at a time, orders first.

Each publish waits for its own acknowledgement and for nobody else's. A broker that delays small packets
(Nagle's algorithm, RFC 896) sends its second acknowledgement when our machine has acknowledged the first,
which takes 40 ms unless we have something to say: so when we wait for room, that is asked for at once.
"""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable
from typing import Never

import aiomqtt

from bridge.adapters.broker.messages import Publication
from bridge.adapters.broker.queues import Dropped, Outbox

# How many a broker must take without an acknowledgement is its own to say; Mosquitto's default is 20.
INFLIGHT = 20
# An order finds room at once, however much of the tree waits.
INFLIGHT_OTHERS = 12
ASK_APART_S = 0.001
_QUICKACK: int | None = getattr(socket, "TCP_QUICKACK", None)


class Speaker:
    """One connection's publishing; made anew with each connection.

    Args:
        client: Connected.
        outbox: What waits.
        on_dropped: Told of each order that has expired.
    """

    def __init__(self, client: aiomqtt.Client, outbox: Outbox, on_dropped: Callable[[Dropped], None]) -> None:
        self._client, self._outbox, self._on_dropped = client, outbox, on_dropped
        client.pending_calls_threshold = INFLIGHT  # so many are no cause for its warning
        self._asked_s = 0.0
        self._loop = asyncio.get_running_loop()
        self._underway: set[asyncio.Task[None]] = set()
        self._failed: asyncio.Future[Never] = self._loop.create_future()

    async def run(self) -> Never:
        """Publish until cancelled.

        Raises:
            MqttError: a publish failed.
        """
        try:
            await self._failed
        finally:
            for task in self._underway:
                task.cancel()
            await asyncio.gather(*self._underway, return_exceptions=True)

    def pump(self) -> None:
        """Start as many publishes as there is room for."""
        if self._failed.done():
            return
        self._start(INFLIGHT, orders_only=True)
        self._start(INFLIGHT_OTHERS, orders_only=False)
        if len(self._outbox):
            self._acknowledge()

    def _start(self, inflight: int, *, orders_only: bool) -> None:
        room = inflight - len(self._underway)
        if room <= 0:
            return
        batch, late = self._outbox.take(room, now_s=self._loop.time(), orders_only=orders_only)
        for dropped in late:
            self._on_dropped(dropped)
        # Tasks begin in the sequence in which they are made, and each begins by writing its packet.
        for publication in batch:
            task = self._loop.create_task(say(self._client, publication))
            self._underway.add(task)
            task.add_done_callback(self._ended)

    def _ended(self, task: asyncio.Task[None]) -> None:
        self._underway.discard(task)
        if task.cancelled() or self._failed.done():
            return
        error = task.exception()
        if error is not None:
            self._failed.set_exception(error)
        elif len(self._outbox):
            self.pump()

    def _acknowledge(self) -> None:
        if _QUICKACK is None or self._loop.time() - self._asked_s < ASK_APART_S:
            return
        self._asked_s = self._loop.time()
        sock = self._client._client.socket()  # noqa: SLF001  aiomqtt shows its socket to nobody
        if isinstance(sock, socket.socket):
            sock.setsockopt(socket.IPPROTO_TCP, _QUICKACK, 1)


async def say(client: aiomqtt.Client, publication: Publication) -> None:
    """Publish one message and wait for its acknowledgement."""
    await client.publish(publication.topic, publication.payload, publication.qos, publication.retain)
