"""Messages on the owner's listen topics become requests, or lines that say why not.

Reading is the adapter's; what becomes of a request is the house's. Lines about refused messages are bounded
in time for each topic, since a stranger's topic may speak as often as it likes.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby

from structlog.typing import FilteringBoundLogger

from bridge.adapters.broker import listen
from bridge.adapters.broker.listen import AbsentError, Listen
from bridge.adapters.broker.messages import Incoming, Subscription
from bridge.core.errors import LinkError
from bridge.core.events import Asked, Event, GroupAsked, TopicHeard
from bridge.core.values import GroupId, Moment, Rank, ShadeId
from bridge.shell import logs

LINES_APART_S = 10.0

# Whom a message was for, and why nothing was done.
Warn = Callable[[ShadeId | GroupId, str], None]


@dataclass(slots=True)
class _Told:
    at_s: float
    since: int = 0


class Listening:
    """The owner's listen topics.

    Args:
        listens: As the settings give them.
        log: The logger.
        warn: Tells the watchers of a shade or group.
    """

    def __init__(self, listens: Iterable[Listen], log: FilteringBoundLogger, warn: Warn) -> None:
        by_topic = sorted(listens, key=lambda each: each.topic)
        self._tables = {topic: tuple(some) for topic, some in groupby(by_topic, key=lambda each: each.topic)}
        self._log, self._warn = log, warn
        self._told: dict[str, _Told] = {}
        self._before: dict[str, str] = {}

    def begin(self, heard: Mapping[str, str]) -> None:
        """A session begins: what the broker hands back in it may be as old as what is remembered now.

        Messages that waited in a kept session come first, and must not make an older retained one look new.
        """
        self._before = dict(heard)

    def subscriptions(self) -> tuple[Subscription, ...]:
        """Return one filter for each topic."""
        return listen.subscriptions(each for tables in self._tables.values() for each in tables)

    def hears(self, topic: str) -> bool:
        """Say whether the owner listens to a topic."""
        return topic in self._tables

    def events(self, message: Incoming, at: Moment, heard: Mapping[str, str]) -> Iterator[Event]:
        """Return what a message asks for, one event for each table of its topic that could read it.

        Args:
            message: On one of the topics.
            at: Now.
            heard: What the house remembers of topics whose retained messages count.
        """
        tables = self._tables[message.topic]
        if tables[0].retained:
            mark = hashlib.sha256(message.payload).hexdigest()[:16]
            if message.retained and mark in (heard.get(message.topic), self._before.get(message.topic)):
                self._log.debug("listen.message.known", topic=message.topic)
                return
            # First, so that a crash on the way leaves a wish undone rather than done twice.
            yield TopicHeard(at=at, topic=message.topic, mark=mark)
        wishes, errors = self._read(tables, message)
        yield from (_asked(each, meaning, at) for each, meaning in wishes)
        told = [(each, error) for each, error in errors if not isinstance(error, AbsentError)]
        if told or not wishes:
            self._refuse(message, told or errors, at)

    def _read(
        self, tables: tuple[Listen, ...], message: Incoming
    ) -> tuple[list[tuple[Listen, listen.Meaning]], list[tuple[Listen, LinkError]]]:
        wishes, errors = [], []
        for each in tables:
            try:
                wishes.append((each, listen.read(each, message)))
            except LinkError as error:
                errors.append((each, error))
        return wishes, errors

    def _refuse(self, message: Incoming, errors: list[tuple[Listen, LinkError]], at: Moment) -> None:
        told = self._told.get(message.topic)
        if told is not None and at.mono_s - told.at_s < LINES_APART_S:
            told.since += 1
            return
        self._told[message.topic] = _Told(at.mono_s)
        for each, problem in {_of(each): error.problem for each, error in errors}.items():
            self._warn(each, f"a message on {message.topic} was refused: {problem}")
        error = errors[0][1]
        self._log.warning(
            "listen.message.refused",
            topic=message.topic,
            problem=error.problem,
            remedy=error.remedy,
            payload=logs.shown(message.payload),
            retained=message.retained,
            untold=0 if told is None else told.since,
        )


def _of(each: Listen) -> ShadeId | GroupId:
    if each.group is not None:
        return GroupId(each.group)
    assert each.shade is not None, "the settings name a shade or a group"
    return ShadeId(each.shade)


def _asked(each: Listen, meaning: listen.Meaning, at: Moment) -> Event:
    if each.group is not None:
        return GroupAsked(at=at, group=GroupId(each.group), want=meaning, rank=Rank.HAND, source=each.source)
    return Asked(at=at, shade=ShadeId(_of(each)), want=meaning, rank=Rank.HAND, source=each.source)
