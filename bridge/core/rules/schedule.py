"""A clock schedule: at these times of the day, this far open. Every other rule goes before it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import time, timedelta

from bridge.core.rules.clock import EVERY_DAY, Day, hhmm, is_day
from bridge.core.rules.demand import Demand
from bridge.core.rules.view import View

NAME = "schedule"
_LONGEST_GAP_DAYS = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Params:
    """The day's times.

    Attributes:
        times: Pairs of a clock time and percent open, at least one; each holds until the next one.
        days: Days on which these times begin; the last one holds on until the next such day's first.
    """

    times: tuple[tuple[time, float], ...]
    days: tuple[Day, ...] = EVERY_DAY

    def __post_init__(self) -> None:
        """Refuse what can't be meant."""
        if not self.times or not self.days:
            raise ValueError("times and days must name at least one")
        if len({at for at, _ in self.times}) != len(self.times):
            raise ValueError("times must differ from each other")
        if any(not 0 <= pct <= 100 for _, pct in self.times):
            raise ValueError("times must give 0 to 100 percent open")


def demand(view: View, params: Params) -> Demand | None:
    """Return the place that the schedule has for this time; None only when no such day is near."""
    falling, clock = sorted(params.times, reverse=True), view.clock
    for back in range(_LONGEST_GAP_DAYS + 1):
        day = view.local - timedelta(days=back)
        if not is_day(day, params.days):
            continue
        for at, pct in falling:
            if back > 0 or at <= clock:
                since = hhmm(at) if back == 0 else f"{hhmm(at)} of {day:%A}"
                why = f"your schedule has {pct:.0f} % from {since} on"
                return Demand(at_least_pct=pct, at_most_pct=pct, why=why)
    return None
