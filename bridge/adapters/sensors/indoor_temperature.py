"""The air in the room, in °C."""

from __future__ import annotations

from typing import Final

from bridge.adapters.sensors.source import CELSIUS, Source, Usual, read
from bridge.core.events import ReadingHeard
from bridge.core.values import Moment

NAME: Final = "indoor-temperature"
UNITS = CELSIUS
USUAL = Usual(low=-30.0, high=60.0, stale_s=3600.0, grain=0.1, rate_per_min=5.0, stuck_h=48.0)


def decode(source: Source, payload: bytes, at: Moment) -> ReadingHeard | None:
    return read(source, payload, at, UNITS)
