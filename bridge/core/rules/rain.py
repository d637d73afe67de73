"""Up in the rain, and up until it has been dry for a while. For shades whose cloth must not get wet."""

from __future__ import annotations

from dataclasses import dataclass

from bridge.core.rules.demand import Demand
from bridge.core.rules.view import View

NAME = "rain"
AT_ONCE = ("rain",)
NEEDS = (("rain",),)


@dataclass(frozen=True, slots=True, kw_only=True)
class Params:
    """What counts as rain.

    Attributes:
        from_mmph: It goes up from this on, above 0, up to 100 mm/h; a sensor that only says wet or dry counts
            as 1 mm/h.
        dry_min: It stays up until it has been dry for so long, 0 to 1440 minutes.

    A lost rain sensor starts no motion; until it is back the shade is not lowered by rules.

    Source:
        0.1 mm/h is the least that gauges tell from dew (common practice).
    """

    from_mmph: float = 0.1
    dry_min: float = 20.0

    def __post_init__(self) -> None:
        """Refuse what can't be meant."""
        if not 0 < self.from_mmph <= 100:
            raise ValueError("from_mmph must be above 0, up to 100")
        if not 0 <= self.dry_min <= 1440:
            raise ValueError("dry_min must be 0 to 1440")


def demand(view: View, params: Params) -> Demand | None:
    """Return that the shade must be up, or not be lowered, or None in dry air."""
    readings = view.readings
    worst = readings.highest("rain", params.dry_min * 60)
    now = readings.of("rain")
    if now is not None and now >= params.from_mmph:
        return Demand(
            at_least_pct=100.0,
            guard=True,
            why=f"rain, {now:.1f} mm/h; yours is {params.from_mmph:.1f} mm/h",
        )
    if worst is not None and worst >= params.from_mmph:
        return Demand(at_least_pct=100.0, guard=True, why=f"rain within the last {params.dry_min:.0f} min")
    if now is None:
        return Demand(may_lower=False, why="no rain reading: it may be raining")
    return None
