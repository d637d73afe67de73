"""The two-way link: the board contract, version 1, as JSON on MQTT topics. No socket here.

Topics under a root: `<board>/link` and `<board>/<channel>/report` from the board, `<board>/<channel>/order`
to it. Keys that we do not know are ignored, since newer boards may say more; keys that we know are strict.
What a count means is not known here.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from fractions import Fraction
from typing import Annotated, Final, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from bridge.adapters.doors import read_json, refuse
from bridge.core.contract import VERSION, Do, Link, Order, Report, Sense, Why
from bridge.core.events import LinkHeard, ReportHeard
from bridge.core.values import BoardId, Moment

NAME: Final = "contract"
MAGNITUDE_MAX = 2**31

# After v, term, boot, seq, seen and do, in this sequence.
KEYS: Mapping[Do, tuple[str, ...]] = {
    Do.TELL: (),
    Do.GO: ("to", "low", "high", "pps", "ramp", "then"),
    Do.STOP: ("ramp",),
    Do.SEEK: ("toward", "at_most", "pps", "ramp"),
    Do.SLEEP: (),
    Do.WAKE: (),
}
_ID = re.compile(r"[a-z0-9](?:[a-z0-9-]{0,62}[a-z0-9])?")
_CHANNEL = re.compile(r"0|[1-9][0-9]{0,2}")


def subscriptions(root: str) -> tuple[str, ...]:
    """Return the topic filters of all that boards say."""
    return (f"{root}/+/link", f"{root}/+/+/report")


def order_topic(root: str, *, board: BoardId, channel: int) -> str:
    """Return where a channel listens."""
    return f"{root}/{board}/{channel}/order"


def encode(order: Order, *, root: str, board: BoardId, channel: int) -> tuple[str, bytes]:
    """Return the topic and the payload of an order; to be sent at QoS 1 and never retained."""
    said: dict[str, object] = {
        "v": VERSION,
        "term": order.term,
        "boot": order.boot,
        "seq": order.seq,
        "seen": order.seen,
        "do": order.do,
    }
    for key in KEYS[order.do]:
        value = getattr(order, key)
        assert value is not None, f"{order.do} needs {key}"
        said[key] = value
    payload = json.dumps(said, separators=(",", ":"), allow_nan=False)
    return order_topic(root, board=board, channel=channel), payload.encode("ascii")


def decode(
    root: str, topic: str, payload: bytes, *, retained: bool, at: Moment
) -> LinkHeard | ReportHeard | None:
    """Return what a board said, or None when the topic is none of a board's.

    Raises:
        LinkError: the topic is a board's and the payload is not what the contract allows.
    """
    levels = topic.removeprefix(f"{root}/").split("/") if topic.startswith(f"{root}/") else []
    match levels:
        case [board, "link"] if _ID.fullmatch(board):
            link = _model(_Link, payload, topic)
            return LinkHeard(at=at, board=BoardId(board), link=link.link, boot=link.boot, retained=retained)
        case [board, channel, "report"] if _ID.fullmatch(board) and _CHANNEL.fullmatch(channel):
            report = _model(_Report, payload, topic).plain()
            return ReportHeard(
                at=at, board=BoardId(board), channel=int(channel), report=report, retained=retained
            )
        case _:
            return None


def _printable(text: str) -> str:
    if not text.isprintable():
        raise ValueError("it has characters that cannot be printed")
    return text


_Count = Annotated[int, Field(ge=-MAGNITUDE_MAX, le=MAGNITUDE_MAX)]
_Number = Annotated[int, Field(ge=0, le=MAGNITUDE_MAX)]
_Positive = Annotated[int, Field(ge=1, le=MAGNITUDE_MAX)]
# Not a Literal: those take true and 1.0 for 1.
_Version = Annotated[int, Field(ge=VERSION, le=VERSION)]
# In strict mode a word is not yet a member of its enum; the words themselves stay exact.
_Lax = Field(strict=False)


class _Wire(BaseModel):
    model_config = ConfigDict(strict=True, extra="ignore", frozen=True)


class _Link(_Wire):
    link: Annotated[Link, _Lax]
    boot: _Number | None = None


class _Report(_Wire):
    v: _Version
    boot: _Number
    n: _Number
    count: _Count | None
    kept: bool
    moving: bool
    awake: bool
    why: Annotated[Why, _Lax]
    seq: _Number
    to: _Count | None = None
    answers: _Number | None = None
    senses: Annotated[list[Annotated[Sense, _Lax]], Field(max_length=len(Sense))] = []
    pulses_per_turn: Annotated[list[_Positive], Field(min_length=2, max_length=2)] | None = None
    because: Annotated[str, Field(max_length=200), AfterValidator(_printable)] | None = None
    term: _Number | None = None
    kept_since: _Number | None = None
    stalls: _Number = 0

    def plain(self) -> Report:
        return Report(
            boot=self.boot,
            n=self.n,
            count=self.count,
            kept=self.kept,
            moving=self.moving,
            awake=self.awake,
            why=self.why,
            seq=self.seq,
            to=self.to,
            answers=self.answers,
            senses=tuple(self.senses),
            pulses_per_turn=Fraction(*self.pulses_per_turn) if self.pulses_per_turn else None,
            because=self.because,
            term=self.term,
            kept_since=self.kept_since,
            stalls=self.stalls,
        )


_W = TypeVar("_W", bound=_Wire)


def _model(kind: type[_W], payload: bytes, topic: str) -> _W:
    value = read_json(payload, where=topic)
    try:
        return kind.model_validate(value)
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        place = ".".join(str(part) for part in fault["loc"]) or "payload"
        problem = f"{place} is {ascii(fault['input'])[:60]}: {fault['msg'][:120]}"
        raise refuse(topic, problem) from error
