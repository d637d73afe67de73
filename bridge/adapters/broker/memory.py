"""What the broker remembers of each shade: a retained JSON message, so that a new disk need not start blind.

Topic: `<boards root>/memory/<bridge device>/<shade>`. What a memory is worth is decided in core; here it is
written, and read strictly: anything that is not exactly a memory is refused.
"""

from __future__ import annotations

import json
import re
from typing import Final

from bridge.adapters.broker.messages import Incoming, Publication, Subscription
from bridge.adapters.doors import Fields
from bridge.core.position.memory import Memory
from bridge.core.values import BoardId, Interval, ShadeId

VERSION: Final = 1
BYTES_MAX = 1024
# Numbers of steps, boots and orders past this are absurd, and half of what the board contract can carry.
MAGNITUDE_MAX = 2**30
DROP_MAX_MM = 1e5
CHANNEL_MAX = 999
_BOARD = re.compile(r"[a-z0-9-]{1,64}")
_DRIVE = re.compile(r"[0-9a-f]{12}")


class MemoryShelf:
    """Where one bridge's memories lie.

    Args:
        boards_root: The topic under which the boards speak.
        device: Id of the bridge's own device in the tree.
    """

    def __init__(self, *, boards_root: str, device: str) -> None:
        self._stem = f"{boards_root}/memory/{device}"

    def subscription(self) -> Subscription:
        """Return the filter of all memories."""
        return Subscription(topic=f"{self._stem}/+")

    def shade_of(self, topic: str) -> ShadeId | None:
        """Return whose memory lies at `topic`; None when it is no memory's."""
        name = topic.removeprefix(f"{self._stem}/")
        return None if name == topic or "/" in name else ShadeId(name)

    def written(self, shade: ShadeId, memory: Memory | None) -> Publication:
        """Return what keeps a memory at the broker, or deletes it for None."""
        payload = b"" if memory is None else encode(memory)
        return Publication(topic=f"{self._stem}/{shade}", payload=payload, qos=1, retain=True)

    def read(self, message: Incoming) -> Memory:
        """Return the memory in a message.

        Raises:
            LinkError: it is none.
        """
        return decode(message.payload, where=message.topic)


def encode(memory: Memory) -> bytes:
    """Return the payload of a memory."""
    said = {
        "v": VERSION,
        "term": memory.term,
        "seq": memory.seq,
        "board": memory.board,
        "channel": memory.channel,
        "drive": memory.drive,
        "boot": memory.boot,
        "n": memory.n,
        "stalls": memory.stalls,
        "base": [memory.base.low, memory.base.high],
        "anchor": [memory.anchor.low, memory.anchor.high],
        "low_mm": memory.low_mm,
        "high_mm": memory.high_mm,
    }
    return json.dumps(said, separators=(",", ":"), allow_nan=False).encode("ascii")


def decode(payload: bytes, *, where: str) -> Memory:
    """Return the memory that a payload spells.

    Raises:
        LinkError: anything else, and numbers beyond all reason.
    """
    said = Fields(payload, where=where, limit=BYTES_MAX)
    said.whole("v", VERSION, VERSION)
    return Memory(
        term=said.whole("term", 0, MAGNITUDE_MAX),
        seq=said.whole("seq", 0, MAGNITUDE_MAX),
        board=BoardId(said.text("board", _BOARD)),
        channel=said.whole("channel", 0, CHANNEL_MAX),
        drive=said.text("drive", _DRIVE),
        boot=said.whole("boot", 0, MAGNITUDE_MAX),
        n=said.whole("n", 0, MAGNITUDE_MAX),
        stalls=said.whole("stalls", 0, MAGNITUDE_MAX),
        base=_interval(said, "base"),
        anchor=_interval(said, "anchor"),
        low_mm=said.number("low_mm", -DROP_MAX_MM, DROP_MAX_MM),
        high_mm=said.number("high_mm", -DROP_MAX_MM, DROP_MAX_MM),
    )


def _interval(said: Fields, key: str) -> Interval:
    low, high = said.wholes(key, -MAGNITUDE_MAX, MAGNITUDE_MAX, count=2)
    if low > high:
        raise said.refused(key, [low, high], "the lower end is the greater")
    return Interval(low=low, high=high)
