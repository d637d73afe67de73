"""Light outdoors on level ground, in lx."""

from __future__ import annotations

from typing import Final

from bridge.adapters.sensors.source import Scale, Source, Usual, read
from bridge.core.events import ReadingHeard
from bridge.core.values import Moment

NAME: Final = "illuminance"
# One footcandle is 10.763910 lx (NIST SP 811, 2008, appendix B.8).
UNITS = {"lx": Scale(), "klx": Scale(factor=1000.0), "fc": Scale(factor=10.76391)}
USUAL = Usual(low=0.0, high=200000.0, stale_s=900.0, grain=500.0, stuck_h=24.0, rests_at=0.0)


def decode(source: Source, payload: bytes, at: Moment) -> ReadingHeard | None:
    return read(source, payload, at, UNITS)
