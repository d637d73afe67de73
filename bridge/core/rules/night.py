"""Nobody looks in after dark: lowered while the sun is well below the horizon."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import time

from bridge.core.rules.clock import hhmm, within
from bridge.core.rules.demand import Demand
from bridge.core.rules.view import View

NAME = "night"
NEEDS = (("window",),)


@dataclass(frozen=True, slots=True, kw_only=True)
class Params:
    """When it is dark, and how far to lower.

    Attributes:
        sun_below_deg: Dark while the sun's centre is lower than this, -18 to 5.
        open_pct: How far open at most, 0 to 100.
        until: Not after this clock time in the morning, however dark; None for as long as it is dark.
        only_when_present: Lower only while somebody is there; without a fresh reading it stays as it was, and
            without a sensor somebody is.

    Source:
        Lights are wanted indoors, so a room can be looked into, from a few degrees below the horizon; -6
        is the end of civil twilight (common practice).
    """

    sun_below_deg: float = -3.0
    open_pct: float = 0.0
    until: time | None = None
    only_when_present: bool = False

    def __post_init__(self) -> None:
        """Refuse what can't be meant."""
        if not -18 <= self.sun_below_deg <= 5:
            raise ValueError("sun_below_deg must be -18 to 5")
        if not 0 <= self.open_pct <= 100:
            raise ValueError("open_pct must be 0 to 100")


def demand(view: View, params: Params) -> Demand | None:
    """Return how far open the shade may be in the dark, else None."""
    if view.sun is None or view.sun.elevation_deg >= params.sun_below_deg:
        return None
    if params.only_when_present and not _somebody_is_there(view):
        return None
    if params.until is not None and within(view.clock, params.until, time(12)):
        return None
    until = "" if params.until is None else f", until {hhmm(params.until)}"
    return Demand(
        at_most_pct=params.open_pct,
        why=f"it is dark: the sun is {-view.sun.elevation_deg:.0f}° below the horizon "
        f"(yours: {-params.sun_below_deg:.0f}°){until}",
    )


def _somebody_is_there(view: View) -> bool:
    there = view.readings.yes("presence")
    # That a sensor falls silent starts no motion.
    return view.stands if there is None and "presence" in view.readings.fitted else there is not False
