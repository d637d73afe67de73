"""What waits in the outbox goes out on one connection, several publishes at a time, orders first.

What is queued in one turn of the event loop leaves at the end of it, as one write.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from functools import partial

from bridge.adapters.broker.connection import Connection
from bridge.adapters.broker.messages import Publication
from bridge.adapters.broker.queues import Dropped, Outbox

# How many a broker must take without an acknowledgement is its own to say; Mosquitto's default is 20.
INFLIGHT = 20
# An order finds room at once, however much of the tree waits.
INFLIGHT_OTHERS = 12
DENIED = "the broker's access list denies it: `hembar doctor` looks for all such topics"


class Speaker:
    """One connection's publishing; made anew with each connection.

    Args:
        connection: Open.
        outbox: What waits.
        on_dropped: Told of each order that has expired, and of whatever the broker did not let through.
    """

    def __init__(self, connection: Connection, outbox: Outbox, on_dropped: Callable[[Dropped], None]) -> None:
        self._connection, self._outbox, self._on_dropped = connection, outbox, on_dropped
        self._loop = asyncio.get_running_loop()
        self._underway = 0
        self._soon = False

    def pump(self) -> None:
        """Publish as much as there is room for, at the end of this turn of the event loop."""
        if not self._soon:
            self._soon = True
            self._loop.call_soon(self._publish)

    def _publish(self) -> None:
        self._soon = False
        if self._connection.lost.done():
            return
        with self._connection.together():
            self._start(INFLIGHT, orders_only=True)
            self._start(INFLIGHT_OTHERS, orders_only=False)
        if len(self._outbox):
            self._connection.acknowledge()

    def _start(self, inflight: int, *, orders_only: bool) -> None:
        room = inflight - self._underway
        if room <= 0:
            return
        batch, late = self._outbox.take(room, now_s=self._loop.time(), orders_only=orders_only)
        for dropped in late:
            self._on_dropped(dropped)
        for publication in batch:
            self._underway += publication.qos > 0
            self._connection.publish(publication, partial(self._acknowledged, publication))

    def _acknowledged(self, publication: Publication, allowed: bool) -> None:
        self._underway -= 1
        if not allowed:
            self._on_dropped(Dropped(publication=publication, reason=DENIED))
        if len(self._outbox):
            self.pump()
