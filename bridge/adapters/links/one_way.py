"""The one-way link: plain numbers on a board's topic, and what is heard there of others. No socket here.

A number has one spelling: ASCII digits, a point and decimals where the unit has them. What a stranger sends
that is no such number is still heard, since a board may act on it. What a number means is not known here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from fractions import Fraction
from typing import Final

from bridge.adapters.doors import bounded, refuse
from bridge.core.errors import LinkError
from bridge.core.events import AliveHeard, TargetHeard
from bridge.core.spec import OneWayLink, ShadeSpec
from bridge.core.values import Moment

NAME: Final = "one-way"
NUMBER_MAX = 24
WORD_MAX = 64
_NUMBER = re.compile(rb"-?(?:0|[1-9][0-9]{0,9})(?:\.[0-9]{1,9})?")


def subscriptions(shades: Iterable[ShadeSpec]) -> tuple[str, ...]:
    """Return the topics on which something is heard of boards that never report, each once."""
    topics: dict[str, None] = {}
    for spec in shades:
        if isinstance(spec.link, OneWayLink):
            topics |= dict.fromkeys(_topics(spec.link))
    return tuple(topics)


def by_topic(shades: Iterable[ShadeSpec]) -> dict[str, list[ShadeSpec]]:
    """Return the shades that each topic of a one-way board may concern, in their order."""
    found: dict[str, list[ShadeSpec]] = {}
    for spec in shades:
        if isinstance(spec.link, OneWayLink):
            for topic in dict.fromkeys(_topics(spec.link)):
                found.setdefault(topic, []).append(spec)
    return found


def _topics(link: OneWayLink) -> list[str]:
    alive = [] if link.alive is None else [link.alive.topic]
    stop = [] if link.stop is None else [link.stop.topic]
    return [link.topic, *stop, *alive]


def encode(link: OneWayLink, value: Fraction | None) -> tuple[str, bytes, bool]:
    """Return topic, payload and retain flag of a target, or of the word to halt when `value` is None."""
    if value is None:
        assert link.stop is not None, f"{link.topic} has no stop topic"
        return link.stop.topic, link.stop.payload.encode("utf-8"), False
    scaled = value * 10**link.decimals
    assert scaled.denominator == 1, f"{value} has more than {link.decimals} decimals"
    digits = f"{abs(scaled.numerator):0{link.decimals + 1}d}"
    whole, part = digits[: len(digits) - link.decimals], digits[len(digits) - link.decimals :]
    text = f"{'-' if scaled < 0 else ''}{whole}{'.' if part else ''}{part}"
    return link.topic, text.encode("ascii"), link.retained


def decode(
    shades: Iterable[ShadeSpec], topic: str, payload: bytes, *, retained: bool, at: Moment
) -> TargetHeard | AliveHeard | None:
    """Return what was heard, or None when the topic is none of a one-way board's or says nothing to it.

    Raises:
        LinkError: an alive topic says what is no short line of ASCII.
    """
    for spec in shades:
        link = spec.link
        if not isinstance(link, OneWayLink):
            continue
        if link.stop is not None and (topic, payload) == (link.stop.topic, link.stop.payload.encode("utf-8")):
            return (
                None
                if retained
                else TargetHeard(at=at, shade=spec.id, value=None, retained=False, halts=True)
            )
        if topic == link.topic:
            return TargetHeard(at=at, shade=spec.id, value=read_number(topic, payload), retained=retained)
        if link.alive is not None and topic == link.alive.topic:
            return AliveHeard(at=at, topic=topic, said=_word(topic, payload), retained=retained)
    return None


def read_number(topic: str, payload: bytes) -> Fraction | None:
    """Return the number that a payload spells, exactly; None when it is none."""
    try:
        bounded(payload, where=topic, limit=NUMBER_MAX)
    except LinkError:
        return None
    return Fraction(payload.decode("ascii")) if _NUMBER.fullmatch(payload) else None


def _word(topic: str, payload: bytes) -> str:
    try:
        text = payload[:WORD_MAX].decode("ascii")
    except UnicodeDecodeError as error:
        raise refuse(topic, "what it says is not ASCII") from error
    if not text.isprintable():
        raise refuse(topic, f"{text!a} has characters that can't be printed")
    return text
