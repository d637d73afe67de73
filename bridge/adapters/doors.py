"""The doors where bytes from strangers become plain values, or are refused with a short reason.

The size is bounded before anything is parsed. A refusal is a LinkError whose `problem` shows the offending
value, cut short; nothing is clamped, guessed or repaired. What the values mean is not known here.
"""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from enum import StrEnum
from typing import Any, Never, TypeVar

from bridge.core.errors import LinkError

LIMIT_BYTES = 8192
_INTEGER = re.compile(rb"-?(0|[1-9][0-9]{0,18})")
_DIGITS_MAX = 20
_SHOWN = 40
_Word = TypeVar("_Word", bound=StrEnum)


def shown(payload: bytes) -> str:
    """Return the beginning of a payload as printable ASCII in quotes."""
    text = ascii(payload[:_SHOWN].decode("utf-8", "backslashreplace"))
    return text if len(payload) <= _SHOWN else f"{text}... ({len(payload)} bytes)"


def refuse(where: str, problem: str, *, remedy: str = "it was ignored") -> LinkError:
    """Return the refusal of a payload at a topic."""
    return LinkError(where=where, problem=problem, remedy=remedy)


def bounded(payload: bytes, *, where: str, limit: int) -> bytes:
    """Return the payload if it has between 1 and `limit` bytes.

    Raises:
        LinkError: it is empty or larger.
    """
    if not payload:
        raise refuse(where, "the payload is empty")
    if len(payload) > limit:
        raise refuse(where, f"{len(payload)} bytes; at most {limit} are read")
    return payload


def read_integer(payload: bytes, *, where: str, limit: int = 64) -> int:
    """Return the whole number that the payload spells in ASCII digits, `-` in front when negative.

    One number has one spelling: no sign `+`, no leading zero, no `-0`, no space, no underscore.

    Raises:
        LinkError: anything else, and more than 19 digits.
    """
    bounded(payload, where=where, limit=limit)
    if _INTEGER.fullmatch(payload) is None or payload == b"-0":
        raise refuse(where, f"{shown(payload)} is not a whole number in plain digits")
    return int(payload)


def read_word(payload: bytes, *, where: str, words: Iterable[str], limit: int = 64) -> str:
    """Return the payload as one of `words`, spelt exactly so.

    Raises:
        LinkError: it is none of them.
    """
    bounded(payload, where=where, limit=limit)
    known = tuple(words)
    for word in known:
        if payload == word.encode("ascii"):
            return word
    raise refuse(where, f"{shown(payload)} is none of {', '.join(known)}")


def read_json(payload: bytes, *, where: str, limit: int = LIMIT_BYTES) -> object:
    """Return the JSON value of a payload (RFC 8259, and no duplicate keys, as its section 4 advises).

    Raises:
        LinkError: empty, larger than `limit` bytes, not strict UTF-8, not JSON, nested too deep, a number
            that is not finite or longer than 20 digits, a key given twice, or half a surrogate pair.
    """
    bounded(payload, where=where, limit=limit)
    try:
        value: object = json.loads(
            payload.decode("utf-8"),
            object_pairs_hook=_unique,
            parse_constant=_constant,
            parse_float=_finite,
            parse_int=_whole,
        )
        if b"\\u" in payload:  # only an escape can smuggle in half a surrogate pair
            json.dumps(value, ensure_ascii=False).encode("utf-8")
    except UnicodeError as error:
        raise refuse(where, f"{shown(payload)} is not UTF-8 text") from error
    except RecursionError as error:
        raise refuse(where, f"{shown(payload)} is nested too deep") from error
    except json.JSONDecodeError as error:
        raise refuse(where, f"{shown(payload)} is not JSON at character {error.pos}") from error
    except _UnfitError as error:
        raise refuse(where, str(error)) from error
    return value


class Fields:
    """A JSON object from a stranger: the keys that are asked for are read strictly, all others ignored.

    Every reader raises LinkError when its key is missing or its value is anything else.

    Args:
        payload: The bytes.
        where: The topic.
        limit: The most bytes that are read.
    """

    def __init__(self, payload: bytes, *, where: str, limit: int = LIMIT_BYTES) -> None:
        value = read_json(payload, where=where, limit=limit)
        self._where = where
        if not isinstance(value, dict):
            raise self.refused("payload", value, "it must be an object")
        self._said: dict[str, object] = value

    def absent(self, key: str) -> bool:
        """Say whether the key is not there at all."""
        return key not in self._said

    def null(self, key: str) -> bool:
        """Say whether the key is there and null."""
        return not self.absent(key) and self._said[key] is None

    def whole(self, key: str, low: int, high: int) -> int:
        """Return a whole number within bounds, both included; 1.0 is none."""
        return self._whole(key, self._value(key), low, high)

    def wholes(self, key: str, low: int, high: int, *, count: int) -> tuple[int, ...]:
        """Return exactly so many whole numbers within bounds."""
        values = self._list(key)
        if len(values) != count:
            raise self.refused(key, values, f"it must have {count} numbers")
        return tuple(self._whole(f"{key}.{place}", each, low, high) for place, each in enumerate(values))

    def number(self, key: str, low: float, high: float) -> float:
        """Return a number within bounds, both included."""
        value = self._value(key)
        if type(value) not in (int, float) or not low <= value <= high:  # type: ignore[operator]  # a number
            raise self.refused(key, value, f"it must be a number from {low:g} to {high:g}")
        return float(value)  # type: ignore[arg-type]  # as above

    def flag(self, key: str) -> bool:
        """Return JSON's own true or false."""
        value = self._value(key)
        if value is True or value is False:
            return value
        raise self.refused(key, value, "it must be true or false")

    def word(self, key: str, words: type[_Word]) -> _Word:
        """Return one of the words, spelt exactly so."""
        return self._word(key, self._value(key), words)

    def words(self, key: str, words: type[_Word]) -> tuple[_Word, ...]:
        """Return a list of such words, no longer than there are words."""
        values = self._list(key)
        if len(values) > len(words):
            raise self.refused(key, values, f"it must have {len(words)} words at most")
        return tuple(self._word(f"{key}.{place}", each, words) for place, each in enumerate(values))

    def text(self, key: str, pattern: re.Pattern[str]) -> str:
        """Return a text that matches a pattern from end to end."""
        value = self._value(key)
        if isinstance(value, str) and pattern.fullmatch(value):
            return value
        raise self.refused(key, value, f"it must be text like {pattern.pattern}")

    def printable(self, key: str, most: int) -> str:
        """Return a text of at most so many characters, every one of which can be printed."""
        value = self._value(key)
        if isinstance(value, str) and len(value) <= most and value.isprintable():
            return value
        raise self.refused(key, value, f"it must be printable text of at most {most} characters")

    def refused(self, key: str, value: object, why: str) -> LinkError:
        """Return the refusal of a value."""
        return refuse(self._where, f"{key} is {ascii(value)[:60]}: {why[:120]}")

    def _value(self, key: str) -> object:
        try:
            return self._said[key]
        except KeyError:
            raise refuse(self._where, f"{key} is missing") from None

    def _list(self, key: str) -> Sequence[object]:
        value = self._value(key)
        if isinstance(value, list):
            return value
        raise self.refused(key, value, "it must be a list")

    def _whole(self, key: str, value: object, low: int, high: int) -> int:
        if type(value) is int and low <= value <= high:  # true is an int too
            return value
        raise self.refused(key, value, f"it must be a whole number from {low} to {high}")

    def _word(self, key: str, value: object, words: type[_Word]) -> _Word:
        try:
            return words(value)  # type: ignore[arg-type]  # whatever it is, it is one of them or refused
        except ValueError:
            raise self.refused(key, value, f"it must be one of {', '.join(words)}") from None


class _UnfitError(Exception):
    """JSON by its grammar, but nothing that we take."""


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        times = Counter(key for key, _ in pairs)
        twice = next(key for key, count in times.items() if count > 1)
        raise _UnfitError(f"the key {ascii(twice)[:_SHOWN]} is given twice")
    return found


def _constant(name: str) -> Never:
    raise _UnfitError(f"{name} is not a number")


def _finite(digits: str) -> float:
    value = float(digits)
    if not math.isfinite(value):
        raise _UnfitError(f"{digits[:_SHOWN]} is not a finite number")
    return value


def _whole(digits: str) -> int:
    if len(digits) > _DIGITS_MAX:
        raise _UnfitError(f"a number of {len(digits)} digits")
    return int(digits)
