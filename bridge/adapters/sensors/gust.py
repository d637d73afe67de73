"""Gusts, the strongest wind since the last message, in m/s."""

from __future__ import annotations

from typing import Final

from bridge.adapters.sensors.source import METRES_A_SECOND, Source, Usual, read
from bridge.core.events import ReadingHeard
from bridge.core.values import Moment

NAME: Final = "gust"
UNITS = METRES_A_SECOND
# 113.2 m/s is the strongest gust on record (WMO archive of extremes, from memory). Gusts may jump.
USUAL = Usual(low=0.0, high=114.0, stale_s=120.0, grain=0.1, stuck_h=24.0)


def decode(source: Source, payload: bytes, at: Moment) -> ReadingHeard | None:
    return read(source, payload, at, UNITS)
