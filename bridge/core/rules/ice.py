"""Nothing starts when it is near freezing and wet: a hem bar frozen to its rail tears the cloth.

For exterior shades. Only a stop is above it.
"""

from __future__ import annotations

from dataclasses import dataclass

from bridge.core.rules.demand import Demand
from bridge.core.rules.view import View

NAME = "ice"
AT_ONCE = ("outdoor-temperature", "rain")
NEEDS = (("outdoor-temperature",),)


@dataclass(frozen=True, slots=True, kw_only=True)
class Params:
    """When ice must be reckoned with.

    Attributes:
        freezing_c: Near freezing below this outdoors, -5 to 10.
        wet_h: Rain or snow within so many hours counts as wet, 0.5 to 72.
        thaw_c: Once it has blocked, it goes on until this much warmer, 0 to 10.

    Without a fresh temperature the rule has no opinion: it would also keep the shade down in a gale. Without
    a fresh rain reading near freezing counts as wet.

    Source:
        Common practice: sensors and eaves are a degree or two apart, and wet cloth stays wet for hours in the
        cold.
    """

    freezing_c: float = 3.0
    wet_h: float = 6.0
    thaw_c: float = 1.0

    def __post_init__(self) -> None:
        """Refuse what can't be meant."""
        for name, (low, high) in {"freezing_c": (-5, 10), "wet_h": (0.5, 72), "thaw_c": (0, 10)}.items():
            if not low <= getattr(self, name) <= high:
                raise ValueError(f"{name} must be {low:g} to {high:g}")


def demand(view: View, params: Params) -> Demand | None:
    """Return that the shade must stay where it is, or None when no ice is to be feared."""
    outdoor = view.readings.of("outdoor-temperature")
    limit = params.freezing_c + (params.thaw_c if view.stands else 0.0)
    if outdoor is None or outdoor >= limit:
        return None
    wet_mmph = view.readings.highest("rain", params.wet_h * 3600)
    if view.readings.of("rain") is not None and not wet_mmph:
        return None
    wet = f"wet within the last {params.wet_h:g} h" if wet_mmph else "perhaps wet, as no rain is measured"
    return Demand(
        may_lower=False,
        may_raise=False,
        guard=True,
        why=f"{outdoor:.1f} °C outdoors (yours: {params.freezing_c:.1f} °C) and {wet}: ice may hold it",
    )
