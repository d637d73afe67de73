"""The two bounded queues beside the session, and what each of them drops. No socket and no clock here.

Outbox: orders, which have a lifetime, go before everything else, in their sequence; they expire, but are
never dropped to make room. A retained value replaces the one still waiting on its topic (states of devices
keep their sequence). Other messages, such as log lines, give up the oldest. Inbox: only when full, a message
gives way that a newer one on its topic makes stale; wall buttons last, and never the newest of them.
"""

from __future__ import annotations

import asyncio
from collections import OrderedDict, deque
from dataclasses import dataclass
from itertools import count

from bridge.adapters.broker.messages import Incoming, Publication


def room_for(shades: int) -> int:
    """Return how many messages of a kind may wait in a house: all that the broker keeps comes at once.

    Of each shade it keeps a memory, a report, a description, and for some a link or an alive topic.
    """
    return max(1000, 8 * shades)


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

    @property
    def orders(self) -> int:
        """How many orders wait."""
        return len(self._orders)

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
        self._waiting: OrderedDict[int, Incoming] = OrderedDict()
        self._numbers = count()
        # What may go when there is no room, the first kind first; the newest press of a button is in none.
        self._stale: OrderedDict[int, None] = OrderedDict()
        self._newest: OrderedDict[int, None] = OrderedDict()
        self._stale_presses: OrderedDict[int, None] = OrderedDict()
        self._last: dict[str, int] = {}
        self._last_stop: dict[str, int] = {}
        self._some = asyncio.Event()

    def __len__(self) -> int:
        return len(self._waiting)

    def put(self, message: Incoming) -> Incoming | None:
        """Queue a message; returns the one that had to go for it. Takes the same time however many wait."""
        number, topic = next(self._numbers), message.topic
        self._waiting[number] = message
        earlier = self._last.get(topic)
        if topic.endswith("/button/set"):
            self._put_press(number, message, earlier)
        else:
            if earlier is not None:
                del self._newest[earlier]
                self._stale[earlier] = None
            self._newest[number] = None
        self._last[topic] = number
        self._some.set()
        return self._shed() if len(self._waiting) > self._limit else None

    def first(self) -> Incoming | None:
        """Return the next message without taking it; None when none waits."""
        return next(iter(self._waiting.values())) if self._waiting else None

    async def get(self) -> Incoming:
        """Wait for the next message."""
        while not self._waiting:
            self._some.clear()
            await self._some.wait()
        return self._take(next(iter(self._waiting)))

    def _put_press(self, number: int, message: Incoming, earlier: int | None) -> None:
        """A newer press makes an older one stale; a `stop` only another `stop`."""
        if message.payload == b"stop":
            before = self._last_stop.get(message.topic)
            if before is not None:
                self._stale_presses[before] = None
            self._last_stop[message.topic] = number
        if earlier is not None and self._waiting[earlier].payload != b"stop":
            self._stale_presses[earlier] = None

    def _shed(self) -> Incoming:
        for kind in (self._stale, self._newest, self._stale_presses, self._waiting):
            if kind:
                return self._take(next(iter(kind)))
        raise AssertionError("a full inbox holds something")

    def _take(self, number: int) -> Incoming:
        message = self._waiting.pop(number)
        for kind in (self._stale, self._newest, self._stale_presses):
            kind.pop(number, None)
        for last in (self._last, self._last_stop):
            if last.get(message.topic) == number:
                del last[message.topic]
        return message
