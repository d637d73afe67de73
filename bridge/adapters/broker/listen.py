"""What a dashboard or voice assistant publishes on a topic of its own, read as the owner's settings say.

One message is one number or one word, bare or found in a JSON document by a JSON pointer. A number becomes
percent open exactly and is then rounded to the nearest whole percent, halves up (further open); what lies
outside its range is refused before that. Which shade or group follows is a name here and nothing more.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum
from types import MappingProxyType
from typing import assert_never

from bridge.adapters.broker.messages import Incoming, Subscription
from bridge.adapters.doors import bounded, read_json, refuse, shown
from bridge.core.errors import LinkError
from bridge.core.events import Button, Percent, Press

TEXT_BYTES_MAX = 256
# A JSON number (RFC 8259, section 6) of bounded length; its exponent is short enough to be worked out.
_NUMBER = re.compile(r"-?(?:0|[1-9][0-9]{0,14})(?:\.[0-9]{1,25})?(?:[eE][+-]?[0-9]{1,2})?")
_INDEX = re.compile(r"0|[1-9][0-9]{0,8}")
_WHOLE = Decimal(1)


class Says(StrEnum):
    """What a number on a topic means."""

    PERCENT_OPEN = "percent open"
    PERCENT_CLOSED = "percent closed"
    FRACTION_OPEN = "fraction open"
    FRACTION_CLOSED = "fraction closed"
    BYTE_OPEN = "byte open"
    BYTE_CLOSED = "byte closed"

    @property
    def full(self) -> int:
        """The number at the far end of its range, which begins at 0."""
        return {"percent": 100, "fraction": 1, "byte": 255}[self.split()[0]]

    @property
    def closed(self) -> bool:
        """Whether it grows as the shade is lowered."""
        return self.endswith("closed")


Meaning = Percent | Press


@dataclass(frozen=True, slots=True, kw_only=True)
class Listen:
    """One topic, as the owner says that it is to be read.

    Attributes:
        topic: Without wildcards.
        shade: The shade that follows, or None for a group.
        group: The group that follows, or None for a shade.
        says: What a number means; None when only words are taken.
        words: The owner's words, spelt exactly so, and what each means.
        pointer: Where in a JSON document the number or word is (RFC 6901); None when the message is bare.
        source: Who asks, in words the owner reads.
        retained: A message that the broker handed back, or its sender retained, counts.
        qos: Asked of the broker, 0 to 2.
    """

    topic: str
    shade: str | None
    group: str | None
    says: Says | None
    words: Mapping[str, Meaning] = field(default_factory=lambda: MappingProxyType({}))
    pointer: str | None = None
    source: str
    retained: bool = False
    qos: int = 1


class AbsentError(LinkError):
    """The document is sound and has nothing at the pointer: this message is about something else."""


def subscriptions(listens: Iterable[Listen]) -> tuple[Subscription, ...]:
    """Return one filter for each topic; tables of one topic agree on `retained` and `qos`."""
    by_topic = {each.topic: each for each in listens}
    return tuple(
        Subscription(topic=topic, live=not each.retained, qos=each.qos) for topic, each in by_topic.items()
    )


def read(listen: Listen, message: Incoming) -> Meaning:
    """Return what a message on the topic asks for.

    Raises:
        AbsentError: there is nothing at the pointer.
        LinkError: it is retained and that is not accepted, or it is no number or word of the owner's.
    """
    if message.retained and not listen.retained:
        raise refuse(
            listen.topic,
            "it is retained: a wish of unknown age moves no shade",
            remedy="publish it without retaining, or write retained = true in its [[listen]]",
        )
    return _meaning(listen, _text(listen, message.payload))


def pointed(document: object, pointer: str, *, where: str) -> object:
    """Return the value at a JSON pointer (RFC 6901), itself checked by `is_pointer`.

    Raises:
        AbsentError: the document has nothing there.
    """
    for part in _parts(pointer):
        if isinstance(document, dict) and part in document:
            document = document[part]
        elif isinstance(document, list) and _INDEX.fullmatch(part) and int(part) < len(document):
            document = document[int(part)]
        else:
            raise AbsentError(where=where, problem=f"it has nothing at {pointer!a}", remedy="it was ignored")
    return document


def spelt(value: object) -> str:
    """Return a JSON string, number or truth value as the text that a bare message would have."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return value if isinstance(value, str) else repr(value)


def is_pointer(text: str) -> bool:
    """Say whether a text is a JSON pointer (RFC 6901, section 3)."""
    return re.fullmatch(r"(/([^~/]|~[01])*)*", text, re.DOTALL) is not None


def to_pointer(parts: Iterable[str]) -> str:
    """Return the pointer that leads through these keys and indices."""
    return "".join("/" + part.replace("~", "~0").replace("/", "~1") for part in parts)


def is_number(text: str) -> bool:
    """Say whether a text is a number as JSON writes it, in ASCII and of bounded length."""
    return _NUMBER.fullmatch(text) is not None


def _parts(pointer: str) -> list[str]:
    return [part.replace("~1", "/").replace("~0", "~") for part in pointer.split("/")[1:]]


def _text(listen: Listen, payload: bytes) -> str:
    """Return the number or word as text, bare or out of the document."""
    where = listen.topic
    if listen.pointer is not None:
        value = pointed(read_json(payload, where=where), listen.pointer, where=where)
        if value is None or isinstance(value, dict | list):
            kind = "null" if value is None else "an object" if isinstance(value, dict) else "an array"
            raise refuse(where, f"at {listen.pointer!a} is {kind}, not a number or a word")
        return spelt(value)
    bounded(payload, where=where, limit=TEXT_BYTES_MAX)
    try:
        return payload.decode("utf-8")
    except UnicodeDecodeError as error:
        raise refuse(where, f"{shown(payload)} is not UTF-8 text") from error


def _meaning(listen: Listen, text: str) -> Meaning:
    if text in listen.words:
        return listen.words[text]
    if listen.says is None:
        raise refuse(listen.topic, f"{_shown(text)} is none of {', '.join(listen.words)}")
    if not is_number(text):
        known = f" and none of {', '.join(listen.words)}" if listen.words else ""
        raise refuse(listen.topic, f"{_shown(text)} is not a number{known}")
    return Percent(open_pct=_open_pct(Decimal(text), listen.says, where=listen.topic))


def _open_pct(value: Decimal, says: Says, *, where: str) -> int:
    # -0 is a number to JSON, and lies in no range that a slider has.
    if value.is_signed() or value > says.full:
        raise refuse(where, f"{_shown(str(value))} is not between 0 and {says.full}")
    match says:
        case Says.BYTE_OPEN | Says.BYTE_CLOSED:
            if value != value.to_integral_value():
                raise refuse(where, f"{_shown(str(value))} is not a whole number")
            percent = value * 100 / 255
        case Says.FRACTION_OPEN | Says.FRACTION_CLOSED:
            percent = value * 100
        case Says.PERCENT_OPEN | Says.PERCENT_CLOSED:
            percent = value
        case _:
            assert_never(says)
    opened = 100 - percent if says.closed else percent
    return int(opened.quantize(_WHOLE, rounding=ROUND_HALF_UP))


def _shown(text: str) -> str:
    return shown(text.encode("utf-8", "surrogatepass"))


def word_means(value: object) -> Meaning | None:
    """Return what the owner lets a word mean: 0 to 100, or up, stop, down; None for anything else."""
    if isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 100:
        return Percent(open_pct=value)
    if isinstance(value, str) and value in tuple(Button):
        return Press(button=Button(value))
    return None
