"""Mean wind, in m/s."""

from __future__ import annotations

from typing import Final

from bridge.adapters.sensors.source import METRES_A_SECOND, Source, Usual, read
from bridge.core.events import ReadingHeard
from bridge.core.values import Moment

NAME: Final = "wind"
UNITS = METRES_A_SECOND
# Above any mean wind on land where shades hang; frozen cups stand at exactly one number.
USUAL = Usual(low=0.0, high=60.0, stale_s=120.0, grain=0.1, stuck_h=24.0)


def decode(source: Source, payload: bytes, at: Moment) -> ReadingHeard | None:
    return read(source, payload, at, UNITS)
