"""Free heat in the cold months: sun on the glass comes in by day, and the cloth keeps warmth in by night."""

from __future__ import annotations

from dataclasses import dataclass

from bridge.core.rules.demand import Demand
from bridge.core.rules.view import View

NAME = "warmth"
NEEDS = (("window",),)


@dataclass(frozen=True, slots=True, kw_only=True)
class Params:
    """When heat is wanted.

    Attributes:
        indoor_c: Heat is welcome while it is colder than this indoors, 5 to 30.
        outdoor_c: Heat is welcome while it is colder than this outdoors, -30 to 25; asked only without a
            fresh indoor reading. Without either reading the rule has no opinion.
        from_wpm2: Sunlight on the glass that is worth letting in, 0 to 1000.
        open_pct: How far open to let it in, 0 to 100.
        night_open_pct: How far open at most after dark when it is that cold, 0 to 100; 100 for no opinion.
        back_c: Once asked for it goes on until this much warmer, 0 to 10.

    Source:
        Common practice: a double pane of U 1.2 W/(m2 K) loses about 25 W/m2 at 20 K, so sunlight of 100
        W/m2 at g 0.6 is a gain with a margin.
    """

    indoor_c: float = 21.0
    outdoor_c: float = 12.0
    from_wpm2: float = 100.0
    open_pct: float = 100.0
    night_open_pct: float = 0.0
    back_c: float = 1.0

    def __post_init__(self) -> None:
        """Refuse what can't be meant."""
        spans = {
            "indoor_c": (5, 30),
            "outdoor_c": (-30, 25),
            "from_wpm2": (0, 1000),
            "open_pct": (0, 100),
            "night_open_pct": (0, 100),
            "back_c": (0, 10),
        }
        for name, (low, high) in spans.items():
            if not low <= getattr(self, name) <= high:
                raise ValueError(f"{name} must be {low} to {high}")


def demand(view: View, params: Params) -> Demand | None:
    """Return how far to open for the sun, or to lower for the night, while it is cold; else None."""
    if view.sun is None:
        return None
    cold = _cold(view, params)
    if cold is None:
        return None
    if view.sun.elevation_deg <= 0:
        return Demand(at_most_pct=params.night_open_pct, why=f"{cold}, and it is dark: cloth keeps warmth in")
    if not view.sun.direct or view.sun.on_glass_wpm2 < params.from_wpm2:
        return None
    sky = "" if view.sun.measured else " under a clear sky"
    return Demand(
        at_least_pct=params.open_pct,
        why=f"{cold}, and {view.sun.on_glass_wpm2:.0f} W/m² of sun on the glass{sky} are free heat",
    )


def _cold(view: View, params: Params) -> str | None:
    back_c = params.back_c if view.stands else 0.0
    indoor, outdoor = view.readings.of("indoor-temperature"), view.readings.of("outdoor-temperature")
    if indoor is not None:
        cold = f"{indoor:.1f} °C indoors (yours: {params.indoor_c:.1f} °C)"
        return cold if indoor < params.indoor_c + back_c else None
    if outdoor is not None:
        cold = f"{outdoor:.1f} °C outdoors (yours: {params.outdoor_c:.1f} °C)"
        return cold if outdoor < params.outdoor_c + back_c else None
    return None
