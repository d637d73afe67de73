"""Wake up by daylight: before the alarm the shade is raised step by step."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import time
from math import floor

from bridge.core.rules.clock import EVERY_DAY, Day, hhmm, is_day, minutes_since
from bridge.core.rules.demand import Demand
from bridge.core.rules.view import View

NAME = "dawn-light"


@dataclass(frozen=True, slots=True, kw_only=True)
class Params:
    """When to be awake, and how the light comes.

    Attributes:
        awake_at: The clock time at which the shade is fully raised to `open_pct`.
        over_min: How long before that it begins, 5 to 120.
        steps: In how many moves it rises, 1 to 20.
        open_pct: How far open at the end, 1 to 100.
        lasts_min: How long after `awake_at` the rule still asks for that, 0 to 600.
        days: On which days.
        sun_above_deg: It stays down while the sun is lower than this, so that a dark morning stays private;
            -18 to 10.

    Source:
        Light that rises over half an hour before waking (common practice of dawn simulation); -6 degrees,
        civil twilight, is when outdoor light begins to help.
    """

    awake_at: time
    over_min: float = 30.0
    steps: int = 4
    open_pct: float = 60.0
    lasts_min: float = 60.0
    days: tuple[Day, ...] = EVERY_DAY
    sun_above_deg: float = -6.0

    def __post_init__(self) -> None:
        """Refuse what can't be meant."""
        spans = {
            "over_min": (5, 120),
            "steps": (1, 20),
            "open_pct": (1, 100),
            "lasts_min": (0, 600),
            "sun_above_deg": (-18, 10),
        }
        for name, (low, high) in spans.items():
            if not low <= getattr(self, name) <= high:
                raise ValueError(f"{name} must be {low} to {high}")
        if not self.days:
            raise ValueError("days must name at least one")


def demand(view: View, params: Params) -> Demand | None:
    """Return how far open the shade must be by now, or None outside of the rule's time."""
    # Minutes since the light began, over midnight as well.
    begun_min = (minutes_since(view.local, params.awake_at) + params.over_min) % 1440.0
    if begun_min >= params.over_min + params.lasts_min or not is_day(view.local, params.days):
        return None
    if view.sun is not None and view.sun.elevation_deg < params.sun_above_deg:
        return None
    step = min(params.steps, 1 + floor(begun_min / params.over_min * params.steps))
    pct = params.open_pct * step / params.steps
    return Demand(
        at_least_pct=pct,
        why=f"daylight to wake by at {hhmm(params.awake_at)}: step {step} of {params.steps}, {pct:.0f} %",
    )
