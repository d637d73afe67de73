"""The two bounded queues beside the session, and what each of them drops. No socket and no clock here.

Outbox: a retained value replaces the one still waiting on its topic (states of devices keep their sequence).
An order, which has a lifetime, is never dropped to make room: it goes out in its sequence or expires. Other
messages, such as log lines, give up the oldest. Inbox: only when full, a message gives way that a newer one
on its topic makes stale; wall buttons last, and never the newest of them.
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
    expires_s: float | None


class Outbox:
    """What waits to be published, in sequence.

    Args:
        passing_max: How many messages that are not retained may wait.
    """

    def __init__(self, *, passing_max: int = 500) -> None:
        self._waiting: dict[str | int, _Waiting] = {}
        self._numbers = count()
        self._passing_max = passing_max

    def __len__(self) -> int:
        return len(self._waiting)

    def put(self, publication: Publication, *, expires_s: float | None = None) -> Dropped | None:
        """Queue a message; `expires_s` is the monotonic time after which it must not leave any more.

        Returns what had to go for it, which may be the message itself.
        """
        if publication.retain and not publication.topic.endswith("/$state"):
            # To the end: what was queued before the newest value stays before it.
            self._waiting.pop(publication.topic, None)
            self._waiting[publication.topic] = _Waiting(publication, expires_s)
            return None
        dropped = None if publication.retain else self._room()
        if dropped is None and not publication.retain and self._passing() >= self._passing_max:
            return Dropped(publication=publication, reason="too many orders wait")
        self._waiting[next(self._numbers)] = _Waiting(publication, expires_s)
        return dropped

    def take(self, most: int, *, now_s: float) -> tuple[list[Publication], list[Dropped]]:
        """Return the next messages, at most so many, and those that have expired meanwhile."""
        out: list[Publication] = []
        late: list[Dropped] = []
        while self._waiting and len(out) < most:
            entry = self._waiting.pop(next(iter(self._waiting)))
            if entry.expires_s is not None and now_s > entry.expires_s:
                late.append(Dropped(publication=entry.publication, reason="it waited too long"))
            else:
                out.append(entry.publication)
        return out, late

    def clear(self) -> list[Dropped]:
        """Forget everything; returns the messages that nobody will publish again, without retained values."""
        gone = [entry.publication for entry in self._waiting.values() if not entry.publication.retain]
        self._waiting.clear()
        return [Dropped(publication=publication, reason="the broker is gone") for publication in gone]

    def _passing(self) -> int:
        return sum(not entry.publication.retain for entry in self._waiting.values())

    def _room(self) -> Dropped | None:
        if self._passing() < self._passing_max:
            return None
        for key, entry in self._waiting.items():
            if entry.expires_s is None and not entry.publication.retain:
                del self._waiting[key]
                return Dropped(publication=entry.publication, reason="too many messages wait")
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
