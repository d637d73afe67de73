"""The two bounded queues beside the session, and what each of them drops. No socket and no clock here.

Outbox: orders, which have a lifetime, go before everything else, in their sequence; they expire, but are
never dropped to make room. A retained value replaces the one still waiting on its topic (states of devices
keep their sequence). Other messages, such as log lines, give up the oldest. Inbox: only when full, a message
gives way that a newer one on its topic makes stale; wall buttons last, and never the newest of them.
"""

from __future__ import annotations

import asyncio
from collections import deque
from dataclasses import dataclass
from itertools import count

from bridge.adapters.broker.messages import Incoming, Publication


@dataclass(frozen=True, slots=True, kw_only=True)
class Dropped:
    """A message that did not go out, and why."""

    publication: Publication
    reason: str


@dataclass(frozen=True, slots=True)
class _Waiting:
    publication: Publication
    expires_s: float


class Outbox:
    """What waits to be published, in sequence.

    Args:
        passing_max: How many messages that are not retained may wait.
    """

    def __init__(self, *, passing_max: int = 500) -> None:
        self._orders: deque[_Waiting] = deque()
        self._others: dict[str | int, Publication] = {}
        self._numbers = count()
        self._passing = 0  # of the others, those that are not retained
        self._passing_max = passing_max

    def __len__(self) -> int:
        return len(self._orders) + len(self._others)

    def put(self, publication: Publication, *, expires_s: float | None = None) -> Dropped | None:
        """Queue a message; `expires_s` is the monotonic time after which it must not leave any more.

        Returns what had to go for it, which may be the message itself.
        """
        if publication.retain and expires_s is None:
            self._put_value(publication)
            return None
        dropped = self._room()
        if dropped is None and len(self._orders) + self._passing >= self._passing_max:
            return Dropped(publication=publication, reason="too many orders wait")
        if expires_s is not None:
            self._orders.append(_Waiting(publication, expires_s))
        else:
            self._others[next(self._numbers)] = publication
            self._passing += 1
        return dropped

    def take(
        self, most: int, *, now_s: float, orders_only: bool = False
    ) -> tuple[list[Publication], list[Dropped]]:
        """Return the next messages, at most so many, and those that have expired meanwhile."""
        out: list[Publication] = []
        late: list[Dropped] = []
        while self._orders and len(out) < most:
            entry = self._orders.popleft()
            if now_s > entry.expires_s:
                late.append(Dropped(publication=entry.publication, reason="it waited too long"))
            else:
                out.append(entry.publication)
        while self._others and len(out) < most and not orders_only:
            out.append(self._pop(next(iter(self._others))))
        return out, late

    def clear(self) -> list[Dropped]:
        """Forget everything; returns the messages that nobody will publish again, without retained values."""
        gone = [entry.publication for entry in self._orders]
        gone += [publication for publication in self._others.values() if not publication.retain]
        self._orders.clear()
        self._others.clear()
        self._passing = 0
        return [Dropped(publication=publication, reason="the broker is gone") for publication in gone]

    def _put_value(self, publication: Publication) -> None:
        if publication.topic.endswith("/$state"):
            self._others[next(self._numbers)] = publication
            return
        # To the end: what was queued before the newest value stays before it.
        self._others.pop(publication.topic, None)
        self._others[publication.topic] = publication

    def _pop(self, key: str | int) -> Publication:
        publication = self._others.pop(key)
        self._passing -= not publication.retain
        return publication

    def _room(self) -> Dropped | None:
        if len(self._orders) + self._passing < self._passing_max:
            return None
        for key, publication in self._others.items():
            if not publication.retain:
                return Dropped(publication=self._pop(key), reason="too many messages wait")
        return None


class Inbox:
    """What has been heard and not yet been decided upon, in sequence.

    Args:
        limit: How many messages may wait, > 0.
    """

    def __init__(self, *, limit: int = 1000) -> None:
        self._limit = limit
        self._waiting: deque[Incoming] = deque()
        self._some = asyncio.Event()

    def __len__(self) -> int:
        return len(self._waiting)

    def put(self, message: Incoming) -> Incoming | None:
        """Queue a message; returns the one that had to go for it."""
        self._waiting.append(message)
        self._some.set()
        return self._shed() if len(self._waiting) > self._limit else None

    def first(self) -> Incoming | None:
        """Return the next message without taking it; None when none waits."""
        return self._waiting[0] if self._waiting else None

    async def get(self) -> Incoming:
        """Wait for the next message."""
        while not self._waiting:
            self._some.clear()
            await self._some.wait()
        return self._waiting.popleft()

    def _shed(self) -> Incoming:
        topics: set[str] = set()
        messages: set[tuple[str, bytes]] = set()
        least = (_Cost.NEWEST_BUTTON, 0)
        for index in reversed(range(len(self._waiting))):
            message = self._waiting[index]
            same = (message.topic, message.payload)
            cost = _cost(message, newer=message.topic in topics, repeated=same in messages)
            least = min(least, (cost, index))
            topics.add(message.topic)
            messages.add(same)
        shed = self._waiting[least[1]]
        del self._waiting[least[1]]
        return shed


class _Cost:
    STALE = 0
    OTHER = 1
    STALE_BUTTON = 2
    NEWEST_BUTTON = 3


def _cost(message: Incoming, *, newer: bool, repeated: bool) -> int:
    if not message.topic.endswith("/button/set"):
        return _Cost.STALE if newer else _Cost.OTHER
    stale = repeated if message.payload == b"stop" else newer
    return _Cost.STALE_BUTTON if stale else _Cost.NEWEST_BUTTON
