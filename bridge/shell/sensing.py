"""Messages on the owner's sensor topics become readings; what can't be read becomes one that says why.

Lines about messages are the core's, which knows when a sensor begins to fail; here is only who hears what.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import groupby

from bridge.adapters.broker.messages import Incoming, Subscription
from bridge.adapters.sensors.catalogue import kinds
from bridge.adapters.sensors.source import Source
from bridge.core.events import Event
from bridge.core.values import Moment


class Sensing:
    """The owner's sensors.

    Args:
        sources: As the settings give them.
    """

    def __init__(self, sources: Iterable[Source]) -> None:
        by_topic = sorted(sources, key=lambda each: each.topic)
        self._sources = {topic: tuple(some) for topic, some in groupby(by_topic, key=lambda each: each.topic)}

    def subscriptions(self) -> tuple[Subscription, ...]:
        """Return one filter for each topic."""
        return tuple(
            Subscription(
                topic=topic,
                live=not any(each.retained for each in some),
                qos=max(each.qos for each in some),
            )
            for topic, some in self._sources.items()
        )

    def hears(self, topic: str) -> bool:
        """Say whether a sensor speaks on a topic."""
        return topic in self._sources

    def events(self, message: Incoming, at: Moment) -> Iterator[Event]:
        """Return what a message says for each sensor on its topic; an old one only where it may be."""
        for source in self._sources[message.topic]:
            if message.retained and not source.retained:
                continue
            reading = kinds()[source.kind].decode(source, message.payload, at)
            if reading is not None:
                yield reading
