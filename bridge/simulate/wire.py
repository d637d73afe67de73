"""A board's own reading and writing of the wire; the bridge's codec is no part of it.

Bytes come from strangers: bounded in size before parsing, strict JSON, whole numbers only.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, NoReturn, TypeVar

from bridge.core.contract import VERSION, Do, Then, Toward

PAYLOAD_MAX = 2048
NUMBER_MAX = 2**53

T = TypeVar("T", Do, Then, Toward)


@dataclass(frozen=True, slots=True, kw_only=True)
class Publish:
    """One message that a board sends, always at QoS 1."""

    topic: str
    payload: bytes
    retain: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """An order as the board understood it; every field that its `do` needs is there."""

    do: Do
    term: int
    boot: int
    seq: int
    seen: int
    to: int = 0
    low: int = 0
    high: int = 0
    pps: int = 0
    ramp: int | None = None
    then: Then = Then.STAY
    toward: Toward = Toward.UPPER
    at_most: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Unreadable:
    """No order, though addressed to this channel; `seq` where it could be read."""

    seq: int | None
    stop: bool = False


class _MalformedError(Exception):
    pass


def _refuse_constant(name: str) -> NoReturn:
    raise ValueError(name)


def read_json(payload: bytes) -> Mapping[str, Any] | None:
    """The JSON object in `payload`; None for anything else."""
    if len(payload) > PAYLOAD_MAX:
        return None
    try:
        value = json.loads(payload.decode("utf-8"), parse_constant=_refuse_constant)
    except (ValueError, RecursionError):
        return None
    return value if isinstance(value, dict) else None


def read_order(payload: bytes) -> Heard | Unreadable:
    """An order, or what little could be read of it."""
    data = read_json(payload)
    if data is None:
        return Unreadable(seq=None)
    try:
        return _heard(data)
    except (_MalformedError, KeyError):
        seq = data.get("seq")
        return Unreadable(seq=seq if _whole(seq) else None, stop=data.get("do") == Do.STOP)


def _heard(data: Mapping[str, Any]) -> Heard:
    if not _whole(data.get("v")) or data["v"] != VERSION:
        raise _MalformedError
    do = _word(Do, data, "do")
    order = Heard(
        do=do,
        term=_number(data, "term", least=0),
        boot=_number(data, "boot", least=0),
        seq=_number(data, "seq", least=0),
        seen=_number(data, "seen", least=0),
        ramp=_number(data, "ramp") if do is Do.GO or data.get("ramp") is not None else None,
    )
    if do is Do.GO:
        order = replace(
            order,
            to=_number(data, "to"),
            low=_number(data, "low"),
            high=_number(data, "high"),
            pps=_number(data, "pps"),
            then=_word(Then, data, "then"),
        )
    elif do is Do.SEEK:
        order = replace(
            order,
            at_most=_number(data, "at_most", least=1),
            toward=_word(Toward, data, "toward"),
            pps=_number(data, "pps"),
        )
    return order


def _whole(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and abs(value) <= NUMBER_MAX


def _number(data: Mapping[str, Any], key: str, *, least: int = -NUMBER_MAX) -> int:
    value = data[key]
    if not _whole(value) or value < least:
        raise _MalformedError
    return int(value)


def _word(kind: type[T], data: Mapping[str, Any], key: str) -> T:
    try:
        return kind(data[key])
    except ValueError:
        raise _MalformedError from None


def write(data: Mapping[str, Any]) -> bytes:
    return json.dumps(data, separators=(",", ":")).encode("ascii")
