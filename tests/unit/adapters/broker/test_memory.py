"""A memory at the broker: written and read back the same; anything else is refused."""

from __future__ import annotations

import json
from typing import Any

import pytest

from bridge.adapters.broker.memory import MAGNITUDE_MAX, MemoryShelf, decode, encode
from bridge.adapters.broker.messages import Incoming
from bridge.core.errors import LinkError
from bridge.core.position.memory import Memory
from bridge.core.values import BoardId, Interval, ShadeId

MEMORY = Memory(
    term=5,
    seq=38,
    board=BoardId("attic-board"),
    channel=0,
    drive="0123456789ab",
    boot=412,
    n=118,
    stalls=0,
    base=Interval(low=-143, high=-60),
    anchor=Interval(low=-130, high=-70),
    low_mm=716.5,
    high_mm=724.0,
)
SHELF = MemoryShelf(boards_root="shade-boards", device="hembar")


def changed(**said: Any) -> bytes:
    return json.dumps({**json.loads(encode(MEMORY)), **said}).encode()


def test_a_memory_comes_back_as_it_was_written() -> None:
    kept = SHELF.written(ShadeId("study"), MEMORY)
    assert (kept.topic, kept.retain, kept.qos) == ("shade-boards/memory/hembar/study", True, 1)
    assert SHELF.read(Incoming(topic=kept.topic, payload=kept.payload, retained=True)) == MEMORY
    assert SHELF.shade_of(kept.topic) == "study"


def test_forgetting_deletes_the_topic() -> None:
    gone = SHELF.written(ShadeId("study"), None)
    assert (gone.payload, gone.retain) == (b"", True)


@pytest.mark.parametrize(
    "topic",
    ["shade-boards/memory/hembar", "shade-boards/memory/other/study", "shade-boards/memory/hembar/a/b"],
)
def test_other_topics_hold_no_memory_of_ours(topic: str) -> None:
    assert SHELF.shade_of(topic) is None


def test_what_a_newer_version_adds_is_ignored() -> None:
    assert decode(changed(more="yes"), where="topic") == MEMORY


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"null",
        b"[]",
        b"{}",
        b"\xff",
        b"{" * 1000,
        changed(v=2),
        changed(v=True),
        changed(term=-1),
        changed(seq=MAGNITUDE_MAX + 1),
        changed(seq=1.0),
        changed(boot="412"),
        changed(n=None),
        changed(board="A/b"),
        changed(channel=-1),
        changed(drive="0123456789aX"),
        changed(base=[1]),
        changed(base=[2, 1]),
        changed(anchor=[0, 10**12]),
        changed(low_mm=1e9),
        encode(MEMORY).replace(b"716.5", b"NaN"),
        encode(MEMORY).replace(b"716.5", b"1e999"),
        changed(pad="x" * 2000),
    ],
)
def test_rubbish_is_refused(payload: bytes) -> None:
    with pytest.raises(LinkError):
        decode(payload, where="topic")
