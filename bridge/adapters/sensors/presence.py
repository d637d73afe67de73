"""Whether somebody is there: 1 or 0."""

from __future__ import annotations

from typing import Final

from bridge.adapters.sensors.source import Scale, Source, Usual, read
from bridge.core.events import ReadingHeard
from bridge.core.values import Moment

NAME: Final = "presence"
UNITS = {"0/1": Scale()}
USUAL = Usual(low=0.0, high=1.0, stale_s=7200.0, grain=0.5, words={"true": 1.0, "false": 0.0})


def decode(source: Source, payload: bytes, at: Moment) -> ReadingHeard | None:
    return read(source, payload, at, UNITS)
