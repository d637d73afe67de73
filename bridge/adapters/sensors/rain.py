"""Rain, in mm/h; a sensor that only says wet or dry counts as 1 mm/h and 0."""

from __future__ import annotations

from typing import Final

from bridge.adapters.sensors.source import Scale, Source, Usual, read
from bridge.core.events import ReadingHeard
from bridge.core.values import Moment

NAME: Final = "rain"
# An inch is 25.4 mm.
UNITS = {"mm/h": Scale(), "in/h": Scale(factor=25.4), "0/1": Scale()}
USUAL = Usual(low=0.0, high=500.0, stale_s=1800.0, grain=0.05, words={"true": 1.0, "false": 0.0})


def decode(source: Source, payload: bytes, at: Moment) -> ReadingHeard | None:
    return read(source, payload, at, UNITS)
