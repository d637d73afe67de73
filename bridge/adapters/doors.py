"""The doors where bytes from strangers become plain values, or are refused with a short reason.

The size is bounded before anything is parsed. A refusal is a LinkError whose `problem` shows the offending
value, cut short; nothing is clamped, guessed or repaired. What the values mean is not known here.
"""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from collections.abc import Iterable
from typing import Any, Never

from bridge.core.errors import LinkError

LIMIT_BYTES = 8192
_INTEGER = re.compile(rb"-?(0|[1-9][0-9]{0,18})")
_DIGITS_MAX = 20
_SHOWN = 40


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
