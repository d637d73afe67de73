"""Reading orders: bytes from strangers, bounded in size, whole numbers only.

An order that can't be read is told apart from a stop that can't: a stop is always obeyed.
"""

import json

from bridge.board import words

try:
    from typing import Any
except ImportError:  # MicroPython has no typing, and looks at no annotation
    pass


class Order:
    """An order with every field that its `do` needs; None where it has no use for one."""

    def __init__(self, data: "dict[str, Any]") -> None:
        if not whole(data.get("v")) or data["v"] != words.VERSION:
            raise ValueError("v")
        self.do: str = _word(data, "do", words.DO)
        self.term = _number(data, "term", 0)
        self.boot = _number(data, "boot", 0)
        self.seq = _number(data, "seq", 0)
        self.seen = _number(data, "seen", 0)
        self.ramp: int | None = None
        if self.do == words.GO or data.get("ramp") is not None:
            self.ramp = _number(data, "ramp", -words.NUMBER_MAX)
        self.to = self.low = self.high = self.pps = self.at_most = 0
        self.then = words.STAY
        self.toward = words.UPPER
        if self.do == words.GO:
            self._read_go(data)
        elif self.do == words.SEEK:
            self.at_most = _number(data, "at_most", 1)
            self.toward = _word(data, "toward", words.TOWARD)
            self.pps = _number(data, "pps", -words.NUMBER_MAX)

    def _read_go(self, data: "dict[str, Any]") -> None:
        self.to = _number(data, "to", -words.NUMBER_MAX)
        self.low = _number(data, "low", -words.NUMBER_MAX)
        self.high = _number(data, "high", -words.NUMBER_MAX)
        self.pps = _number(data, "pps", -words.NUMBER_MAX)
        self.then = _word(data, "then", words.THEN)


class Unreadable:
    """No order, though addressed to this channel; `seq` where it could be read."""

    def __init__(self, seq: "int | None", stop: bool) -> None:
        self.seq, self.stop = seq, stop


def read_json(payload: bytes) -> "dict[str, Any] | None":
    """The JSON object in `payload`; None for anything else."""
    if len(payload) > words.PAYLOAD_MAX:
        return None
    try:
        value = json.loads(payload.decode())
    # RuntimeError: nested too deep.
    except (ValueError, RuntimeError, MemoryError):
        return None
    return value if isinstance(value, dict) else None


def read_order(payload: bytes) -> "Order | Unreadable":
    """An order, or what little could be read of it."""
    data = read_json(payload)
    if data is None:
        return Unreadable(None, False)
    try:
        return Order(data)
    except (ValueError, KeyError):
        seq = data.get("seq")
        return Unreadable(seq if whole(seq) else None, data.get("do") == words.STOP)


def whole(value: object) -> bool:
    """Whether it is a whole number of a size that can be meant; true and false are none."""
    return type(value) is int and -words.NUMBER_MAX <= value <= words.NUMBER_MAX


def _number(data: "dict[str, Any]", key: str, least: int) -> int:
    value = data[key]
    if not whole(value) or value < least:
        raise ValueError(key)
    return int(value)


def _word(data: "dict[str, Any]", key: str, allowed: "tuple[str, ...]") -> str:
    value = data[key]
    if not isinstance(value, str) or value not in allowed:
        raise ValueError(key)
    return value
