"""What the broker remembers of each shade: a retained JSON message, so that a new disk need not start blind.

Topic: `<boards root>/memory/<bridge device>/<shade>`. What a memory is worth is decided in core; here it is
written, and read strictly: anything that is not exactly a memory is refused.
"""

from __future__ import annotations

import json
from typing import Annotated, Final

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from bridge.adapters.broker.messages import Incoming, Publication, Subscription
from bridge.adapters.doors import read_json, refuse
from bridge.core.position.memory import Memory
from bridge.core.values import BoardId, Interval, ShadeId

VERSION: Final = 1
BYTES_MAX = 1024
# Numbers of steps, boots and orders past this are absurd, and half of what the board contract can carry.
MAGNITUDE_MAX = 2**30
DROP_MAX_MM = 1e5


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
    value = read_json(payload, where=where, limit=BYTES_MAX)
    try:
        return _Wire.model_validate(value).plain()
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        place = ".".join(str(part) for part in fault["loc"]) or "payload"
        problem = f"{place} is {ascii(fault['input'])[:60]}: {fault['msg'][:120]}"
        raise refuse(where, problem) from error


def _ordered(pair: list[int]) -> list[int]:
    if pair[0] > pair[1]:
        raise ValueError("the lower end is the greater")
    return pair


_Number = Annotated[int, Field(ge=0, le=MAGNITUDE_MAX)]
_Steps = Annotated[int, Field(ge=-MAGNITUDE_MAX, le=MAGNITUDE_MAX)]
_Pair = Annotated[list[_Steps], Field(min_length=2, max_length=2), AfterValidator(_ordered)]
_Drop = Annotated[float, Field(ge=-DROP_MAX_MM, le=DROP_MAX_MM)]


class _Wire(BaseModel):
    model_config = ConfigDict(strict=True, extra="ignore", frozen=True)

    v: Annotated[int, Field(ge=VERSION, le=VERSION)]
    term: _Number
    seq: _Number
    board: Annotated[str, Field(pattern=r"^[a-z0-9-]{1,64}$")]
    channel: Annotated[int, Field(ge=0, le=999)]
    drive: Annotated[str, Field(pattern=r"^[0-9a-f]{12}$")]
    boot: _Number
    n: _Number
    stalls: _Number
    base: _Pair
    anchor: _Pair
    low_mm: _Drop
    high_mm: _Drop

    def plain(self) -> Memory:
        return Memory(
            term=self.term,
            seq=self.seq,
            board=BoardId(self.board),
            channel=self.channel,
            drive=self.drive,
            boot=self.boot,
            n=self.n,
            stalls=self.stalls,
            base=Interval(low=self.base[0], high=self.base[1]),
            anchor=Interval(low=self.anchor[0], high=self.anchor[1]),
            low_mm=self.low_mm,
            high_mm=self.high_mm,
        )
