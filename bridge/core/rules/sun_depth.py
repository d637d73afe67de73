"""No sun deeper in the room than the owner lets it: the hem bar hangs as low as that needs, and no lower."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor

from bridge.core.rules.demand import Demand
from bridge.core.rules.view import View
from bridge.core.sun.window import hem_for_depth, sun_patch

NAME = "sun-depth"
NEEDS = (("window",),)


@dataclass(frozen=True, slots=True, kw_only=True)
class Params:
    """How deep the sun may come.

    Attributes:
        depth_limit_m: Into the room, on the plane that the window names, 0 to 20.
        from_wpm2: Weaker direct sunlight on the glass disturbs nobody, 0 to 1000. Without a fresh
            irradiance or light reading a cloudless sky is taken, so the shade rather lowers.

    Source:
        50 W/m2 of direct sunlight, above which occupants close their blinds: Reinhart and Voss,
        Lighting Research and Technology 35, 2003; used in the same way by Reinhart, Solar Energy 77, 2004
        (both from memory).
    """

    depth_limit_m: float = 1.0
    from_wpm2: float = 50.0

    def __post_init__(self) -> None:
        """Refuse what can't be meant."""
        if not 0 <= self.depth_limit_m <= 20:
            raise ValueError("depth_limit_m must be 0 to 20")
        if not 0 <= self.from_wpm2 <= 1000:
            raise ValueError("from_wpm2 must be 0 to 1000")


def demand(view: View, params: Params) -> Demand | None:
    """Return how far open the shade may be, or None while the sun comes no deeper than it may."""
    sun, window = view.sun, view.window
    if sun is None or window is None or sun.profile_deg is None or sun.beam_wpm2 < params.from_wpm2:
        return None
    limit_m = params.depth_limit_m
    limit = hem_for_depth(window.opening, sun.profile_deg, depth_limit_m=limit_m)
    if limit.state == "open":
        return None
    far_m = sun_patch(window.opening, sun.profile_deg).far_m
    sky = "" if sun.measured else "; a clear sky is taken, as no light is measured"
    return Demand(
        # A whole percent, rounded down: never further open than the limit allows.
        at_most_pct=float(floor(view.open_pct_for_hem(limit.hem_m) + 1e-9)),
        why=f"{sun.in_words} would reach {far_m:.1f} m; your limit is {limit_m:.1f} m{sky}",
    )
