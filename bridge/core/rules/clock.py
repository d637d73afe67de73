"""Days of the week and spans of the clock, as owners write them."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime, time, timedelta
from enum import StrEnum


class Day(StrEnum):
    """A day of the week."""

    MON = "mon"
    TUE = "tue"
    WED = "wed"
    THU = "thu"
    FRI = "fri"
    SAT = "sat"
    SUN = "sun"


EVERY_DAY = tuple(Day)


def is_day(local: datetime, days: Collection[Day]) -> bool:
    """Say whether a local time falls on one of these days."""
    return EVERY_DAY[local.weekday()] in days


def within(clock: time, begins: time, ends: time) -> bool:
    """Say whether the clock is in a span, its end left out; over midnight when it ends earlier."""
    if begins <= ends:
        return begins <= clock < ends
    return clock >= begins or clock < ends


def minutes_since(local: datetime, at: time) -> float:
    """Return the minutes on the clock since `at` was last shown, 0 to below 1440."""
    shown = datetime.combine(local.date(), at)
    now = local.replace(tzinfo=None)
    return ((now - shown) % timedelta(days=1)) / timedelta(minutes=1)


def hhmm(at: time) -> str:
    """Return a clock time for people."""
    return f"{at:%H:%M}"
