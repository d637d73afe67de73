"""The air outdoors, in °C."""

from __future__ import annotations

from typing import Final

from bridge.adapters.sensors.source import CELSIUS, Source, Usual, read
from bridge.core.events import ReadingHeard
from bridge.core.values import Moment

NAME: Final = "outdoor-temperature"
UNITS = CELSIUS
# Lowest and highest air temperatures on record are -89.2 and 56.7 °C (WMO archive of extremes, from memory).
USUAL = Usual(low=-90.0, high=60.0, stale_s=3600.0, grain=0.1, rate_per_min=5.0, stuck_h=24.0)


def decode(source: Source, payload: bytes, at: Moment) -> ReadingHeard | None:
    return read(source, payload, at, UNITS)
