"""Keep the summer's heat out: when the sun is strong on the glass and it is warm, lower."""

from __future__ import annotations

from dataclasses import dataclass

from bridge.core.rules.demand import Demand
from bridge.core.rules.view import Season, View

NAME = "heat"
NEEDS = (("window",),)


@dataclass(frozen=True, slots=True, kw_only=True)
class Params:
    """When it is too warm, and how far to lower.

    Attributes:
        indoor_c: Warm indoors from here, 10 to 40.
        outdoor_c: Warm outdoors from here; asked only without a fresh indoor reading, -10 to 45. Without
            either reading it is warm in summer.
        from_wpm2: Strong sunlight on the glass, 0 to 1500.
        open_pct: How far open the shade may be then, 0 to 100: leave some view.
        away_open_pct: The same when nobody is present by the sensors; without a fresh reading that stays as
            it was, at first as if somebody were.
        back_c: Once lowered it goes on until this much cooler, 0 to 10.

    Source:
        233 W/m2 on the window, above which occupants close their blinds: Newsham, Indoor Environment 3,
        1994 (from memory). Temperatures and the way back: common practice.
    """

    indoor_c: float = 24.0
    outdoor_c: float = 22.0
    from_wpm2: float = 233.0
    open_pct: float = 20.0
    away_open_pct: float = 0.0
    back_c: float = 1.0

    def __post_init__(self) -> None:
        """Refuse what can't be meant."""
        spans = {
            "indoor_c": (10, 40),
            "outdoor_c": (-10, 45),
            "from_wpm2": (0, 1500),
            "open_pct": (0, 100),
            "away_open_pct": (0, 100),
            "back_c": (0, 10),
        }
        for name, (low, high) in spans.items():
            if not low <= getattr(self, name) <= high:
                raise ValueError(f"{name} must be {low} to {high}")


def demand(view: View, params: Params) -> Demand | None:
    """Return how far open the shade may be while it is warm and the sun is strong, else None."""
    if view.sun is None or not view.sun.direct:
        return None
    # Once lowered, a passing cloud does not raise it: half of the threshold ends it.
    enough_wpm2 = params.from_wpm2 / 2 if view.stands else params.from_wpm2
    if view.sun.on_glass_wpm2 < enough_wpm2:
        return None
    warm = _warm(view, params)
    if warm is None:
        return None
    away = _nobody_is_there(view, params)
    sky = "" if view.sun.measured else " under a clear sky"
    return Demand(
        at_most_pct=params.away_open_pct if away else params.open_pct,
        why=f"{view.sun.on_glass_wpm2:.0f} W/m² of sun on the glass{sky} (yours: {params.from_wpm2:.0f}) and "
        f"{warm}{', and nobody is there' if away else ''}",
    )


def _nobody_is_there(view: View, params: Params) -> bool:
    there = view.readings.yes("presence")
    if there is None and "presence" in view.readings.fitted:
        # That a sensor falls silent starts no motion.
        return view.stood is not None and view.stood.at_most_pct == params.away_open_pct
    return there is False


def _warm(view: View, params: Params) -> str | None:
    back_c = params.back_c if view.stands else 0.0
    indoor, outdoor = view.readings.of("indoor-temperature"), view.readings.of("outdoor-temperature")
    if indoor is not None:
        warm = f"{indoor:.1f} °C indoors (yours: {params.indoor_c:.1f} °C)"
        return warm if indoor >= params.indoor_c - back_c else None
    if outdoor is not None:
        warm = f"{outdoor:.1f} °C outdoors (yours: {params.outdoor_c:.1f} °C)"
        return warm if outdoor >= params.outdoor_c - back_c else None
    return "it is summer, and no temperature is measured" if view.season is Season.SUMMER else None
