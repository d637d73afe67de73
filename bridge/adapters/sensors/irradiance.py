"""Global irradiance on level ground, in W/m²."""

from __future__ import annotations

from typing import Final

from bridge.adapters.sensors.source import Scale, Source, Usual, read
from bridge.core.events import ReadingHeard
from bridge.core.values import Moment

NAME: Final = "irradiance"
# One BTU(IT) per hour and square foot is 3.154591 W/m2 (NIST SP 811, 2008, appendix B.8).
UNITS = {
    "W/m2": Scale(),
    "W/m²": Scale(),
    "kW/m2": Scale(factor=1000.0),
    "BTU/(h ft2)": Scale(factor=3.154591),
}
# Beside bright clouds more arrives than the sun sends; small negative offsets at night are common.
USUAL = Usual(low=-10.0, high=1800.0, stale_s=900.0, grain=5.0, stuck_h=24.0, rests_at=0.0)


def decode(source: Source, payload: bytes, at: Moment) -> ReadingHeard | None:
    return read(source, payload, at, UNITS)
