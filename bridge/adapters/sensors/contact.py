"""Whether a door or window is open: 1 open, 0 closed."""

from __future__ import annotations

from typing import Final

from bridge.adapters.sensors.source import Scale, Source, Usual, read
from bridge.core.events import ReadingHeard
from bridge.core.values import Moment

NAME: Final = "contact"
UNITS = {"0/1": Scale()}
# Contacts often speak only when something changes; give them a heartbeat, or a longer age limit.
USUAL = Usual(low=0.0, high=1.0, stale_s=86400.0, grain=0.5, words={"true": 1.0, "false": 0.0})


def decode(source: Source, payload: bytes, at: Moment) -> ReadingHeard | None:
    return read(source, payload, at, UNITS)
