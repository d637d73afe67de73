"""Up in the wind, and up until it has been calm for a while. For exterior shades.

A rule on a server dies with the Wi-Fi: an exterior shade needs its own wind contact, wired to its board.
"""

from __future__ import annotations

from dataclasses import dataclass

from bridge.core.rules.demand import Demand
from bridge.core.rules.view import View
from bridge.core.wind import beaufort

NAME = "wind"
AT_ONCE = ("gust", "wind")
NEEDS = (("gust", "wind"),)


@dataclass(frozen=True, slots=True, kw_only=True)
class Params:
    """How much wind the shade bears, by its maker's data sheet.

    Attributes:
        gust_limit_mps: It goes up at a gust of this, 2 to 40.
        mean_limit_mps: It goes up at a mean wind of this, 2 to 40.
        calm_share: Calm is below this share of both limits, 0.3 to 1.
        calm_min: It stays up until it has been calm for so long, 1 to 240 minutes.

    A wind sensor that is lost counts as wind. One that has not spoken yet in this run forbids lowering.

    Source:
        Resistance classes of fabric in side rails, by nominal pressure: 40, 70, 110 N/m2 (Delegated
        Regulation (EU) 2019/1188, annex); 40 N/m2 is 8 m/s by 0.625 v2 (EN 1991-1-4), and class 1 shades
        are commonly retracted at Beaufort 5, from 8.0 m/s (WMO No. 306, table 1100). Share and minutes of
        calm: common practice.
    """

    gust_limit_mps: float = 8.0
    mean_limit_mps: float = 8.0
    calm_share: float = 0.75
    calm_min: float = 15.0

    def __post_init__(self) -> None:
        """Refuse what can't be meant."""
        spans = {
            "gust_limit_mps": (2, 40),
            "mean_limit_mps": (2, 40),
            "calm_share": (0.3, 1),
            "calm_min": (1, 240),
        }
        for name, (low, high) in spans.items():
            if not low <= getattr(self, name) <= high:
                raise ValueError(f"{name} must be {low} to {high}")


def demand(view: View, params: Params) -> Demand | None:
    """Return that the shade must be up, or not be lowered, or None in calm air."""
    readings = view.readings
    lost = sorted(readings.lost.intersection(AT_ONCE))
    if lost:
        return _up(f"the {lost[0]} sensor is lost, which counts as wind")
    fitted = readings.fitted.intersection(AT_ONCE)
    if not fitted:
        return _up("there is no wind sensor for it, which counts as wind")
    limits = {"gust": params.gust_limit_mps, "wind": params.mean_limit_mps}
    for kind, limit in limits.items():
        worst = readings.highest(kind, params.calm_min * 60)
        if kind not in fitted or worst is None:
            continue
        if worst >= limit or (_was_up(view) and worst >= limit * params.calm_share):
            return _up(_blown(view, params, kind, worst=worst, limit=limit))
    return _unsure(view, params, fitted)


def _unsure(view: View, params: Params, fitted: frozenset[str]) -> Demand | None:
    """Return what follows from readings that are missing, or too young to vouch for calm."""
    readings = view.readings
    unheard = sorted(kind for kind in fitted if readings.of(kind) is None)
    if unheard:
        why = f"the {unheard[0]} sensor gives no good reading"
        return _up(why) if _was_up(view) else _not_down(why)
    steady_s = min(readings.steady_s.get(kind, 0.0) for kind in fitted)
    if _was_up(view) and steady_s < params.calm_min * 60:
        return _up(f"calm for {steady_s / 60:.0f} of the {params.calm_min:.0f} min that it needs to be")
    return None


def _was_up(view: View) -> bool:
    return view.stood is not None and view.stood.at_least_pct == 100.0


def _up(why: str) -> Demand:
    return Demand(at_least_pct=100.0, guard=True, why=why)


def _not_down(why: str) -> Demand:
    return Demand(may_lower=False, guard=True, why=why)


def _blown(view: View, params: Params, kind: str, *, worst: float, limit: float) -> str:
    what = "gust" if kind == "gust" else "wind"
    now = view.readings.of(kind)
    if now is not None and now >= limit:
        force = beaufort(now)
        return f"{what} {now:.1f} m/s (force {force.force}); your limit is {limit:.1f} m/s"
    return (
        f"{what} {worst:.1f} m/s within the last {params.calm_min:.0f} min; it stays up until that long "
        f"below {limit * params.calm_share:.1f} m/s"
    )
