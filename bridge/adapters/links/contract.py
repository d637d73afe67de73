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
from typing import Final

from bridge.adapters.doors import Fields
from bridge.core.contract import VERSION, Do, Link, Order, Report, Sense, Why
from bridge.core.events import LinkHeard, ReportHeard
from bridge.core.values import BoardId, Moment

NAME: Final = "contract"
MAGNITUDE_MAX = 2**31
BECAUSE_MAX = 200

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
            link, boot = _link(Fields(payload, where=topic))
            return LinkHeard(at=at, board=BoardId(board), link=link, boot=boot, retained=retained)
        case [board, channel, "report"] if _ID.fullmatch(board) and _CHANNEL.fullmatch(channel):
            report = _report(Fields(payload, where=topic))
            return ReportHeard(
                at=at, board=BoardId(board), channel=int(channel), report=report, retained=retained
            )
        case _:
            return None


def _link(said: Fields) -> tuple[Link, int | None]:
    return said.word("link", Link), _some(said, "boot", 0)


def _report(said: Fields) -> Report:
    said.whole("v", VERSION, VERSION)
    return Report(
        boot=said.whole("boot", 0, MAGNITUDE_MAX),
        n=said.whole("n", 0, MAGNITUDE_MAX),
        count=None if said.null("count") else said.whole("count", -MAGNITUDE_MAX, MAGNITUDE_MAX),
        kept=said.flag("kept"),
        moving=said.flag("moving"),
        awake=said.flag("awake"),
        why=said.word("why", Why),
        seq=said.whole("seq", 0, MAGNITUDE_MAX),
        to=_some(said, "to", -MAGNITUDE_MAX),
        answers=_some(said, "answers", 0),
        senses=() if said.absent("senses") else said.words("senses", Sense),
        pulses_per_turn=_ratio(said),
        because=None if _silent(said, "because") else said.printable("because", BECAUSE_MAX),
        term=_some(said, "term", 0),
        kept_since=_some(said, "kept_since", 0),
        stalls=0 if said.absent("stalls") else said.whole("stalls", 0, MAGNITUDE_MAX),
    )


def _some(said: Fields, key: str, low: int) -> int | None:
    return None if _silent(said, key) else said.whole(key, low, MAGNITUDE_MAX)


def _ratio(said: Fields) -> Fraction | None:
    if _silent(said, "pulses_per_turn"):
        return None
    return Fraction(*said.wholes("pulses_per_turn", 1, MAGNITUDE_MAX, count=2))


def _silent(said: Fields, key: str) -> bool:
    return said.absent(key) or said.null(key)
