"""What outlives the power: boots, counts, terms; a mark when a motion starts, a record when it ends.

A ring of small files, each with a number and a checksum; every write goes to the next file, so wear spreads
and the record before stays whole. The slot after the newest whole one is blank or older; if it is damaged
instead, a write was torn or a record has rotted. It may have been a mark, so no count is claimed then. What
lacks its end was torn, and nobody has heard of it; a rotten whole one may have begun a boot, so one boot
number is skipped lest it be used twice.
"""

import json
from binascii import crc32

try:
    from typing import Any
except ImportError:  # MicroPython has no typing, and looks at no annotation
    pass

# 40 writes a day are 900 a year and file; the flash bears 10,000 at least by common data sheets.
SLOTS = 16


class Line:
    """What the flash holds of one channel.

    Attributes:
        count: The last record; None when there never was one.
        clean: The record was written at rest after the last motion; False once a motion has been marked.
        kept_since: The count has been unbroken since this boot.
        term: The highest term seen.
    """

    def __init__(self, data: "Any" = None) -> None:
        part = data if isinstance(data, dict) else {}
        self.count: int | None = _whole(part.get("count"))
        self.clean = self.count is not None and part.get("clean") is True
        self.kept_since = _whole(part.get("kept_since")) or 0
        self.term = _whole(part.get("term")) or 0

    def data(self) -> "dict[str, Any]":
        """As it is written."""
        return {
            "count": self.count,
            "clean": self.clean,
            "kept_since": self.kept_since,
            "term": self.term,
        }


class Records:
    """The newest record of a board in `store`, which has `read(slot)` and `write(slot, data)`."""

    def __init__(self, store: "Any", channels: int) -> None:
        self.store = store
        self.number, self.slot, newest = 0, SLOTS - 1, {}
        broken = set()
        for slot in range(SLOTS):
            found = _unpack(store.read(slot))
            if found is None:
                broken.add(slot)
            elif found.get("number", 0) > self.number:
                self.number, self.slot, newest = found["number"], slot, found
        following = (self.slot + 1) % SLOTS
        self.damaged = following in broken or (not newest and bool(broken))
        rotten = self.damaged and not (newest and _torn(store.read(following)))
        self.boot = (_whole(newest.get("boot")) or 0) + (1 if rotten else 0)
        parts = newest.get("channels")
        parts = parts if isinstance(parts, list) else []
        self.lines = [Line(parts[each] if each < len(parts) else None) for each in range(channels)]
        for line in self.lines:
            line.clean = line.clean and not self.damaged

    def begin_boot(self) -> bool:
        """Count this power-up; False when the flash can't be written.

        A channel that had been marked starts afresh from this boot.
        """
        self.boot += 1
        for line in self.lines:
            if not line.clean:
                line.kept_since = self.boot
        return self.save()

    def save(self) -> bool:
        """Write everything into the next slot; False when the flash can't be written."""
        body = {
            "number": self.number + 1,
            "boot": self.boot,
            "channels": [line.data() for line in self.lines],
        }
        slot = (self.slot + 1) % SLOTS
        try:
            self.store.write(slot, _pack(body))
        except OSError:
            return False
        self.number, self.slot = self.number + 1, slot
        return True


def _pack(body: "dict[str, Any]") -> bytes:
    text = json.dumps(body, separators=(",", ":")).encode()
    return b"%08x %s\n" % (crc32(text) & 0xFFFFFFFF, text)


def _unpack(data: bytes) -> "dict[str, Any] | None":
    """The record in a slot; an empty one when the slot was never written, None when it is damaged."""
    if not data:
        return {}
    if data[8:9] != b" " or data[-1:] != b"\n":
        return None
    text = data[9:-1]
    if data[:8] != b"%08x" % (crc32(text) & 0xFFFFFFFF):
        return None
    try:
        body = json.loads(text.decode())
    except (ValueError, RuntimeError):
        return None
    return body if isinstance(body, dict) and _whole(body.get("number")) else None


def _torn(data: bytes) -> bool:
    """Whether a damaged record surely ends before its end; a whole one whose last byte rotted does not."""
    return data[-1:] != b"\n" and data[-2:-1] != b"}"


def _whole(value: object) -> "int | None":
    return value if type(value) is int else None
