"""The sun at a window: angles, what stands in its way, how deep it reaches, where the hem bar must be.

Heights are in metres above the floor, azimuths clockwise from true north. Depth is measured on a
horizontal plane, square to the facade. Nothing here knows about time or place.
"""

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from bridge.core.errors import RequestError
from bridge.core.sun.checked import within
from bridge.core.sun.sky import SunPosition

# Below this the depth is no longer a number; the sun crosses it in less than a microsecond.
_LOWEST_SUN_DEG = 1e-9
_TALLEST_M = 1000.0

LimitState = Literal["open", "partial", "closed", "no direct sun"]


@dataclass(frozen=True, slots=True, kw_only=True)
class HorizonPoint:
    """A corner of what hides the sky.

    Args:
        azimuth_deg: Clockwise from true north, 0 to 360.
        elevation_deg: Top of the obstruction seen from the window, 0 to 90.

    Raises:
        RequestError: a value is outside its range.
    """

    azimuth_deg: float
    elevation_deg: float

    def __post_init__(self) -> None:
        """Refuse what is not a direction."""
        within(self.azimuth_deg, where="horizon azimuth", low=0, high=360, unit="degrees",
               remedy="give degrees clockwise from true north")  # fmt: skip
        within(self.elevation_deg, where="horizon elevation", low=0, high=90, unit="degrees",
               remedy="give degrees above level; leave out what lies lower")  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Facade:
    """A vertical wall with its view.

    Args:
        azimuth_deg: Where the wall looks to, clockwise from true north, 0 to 360.
        horizon: Obstructions in order of azimuth, linear in between and around north; may be empty.

    Raises:
        RequestError: the azimuth is outside its range, or the horizon is not in order of azimuth.
    """

    azimuth_deg: float
    horizon: tuple[HorizonPoint, ...] = ()

    def __post_init__(self) -> None:
        """Refuse an impossible wall or a tangled horizon."""
        within(self.azimuth_deg, where="facade azimuth", low=0, high=360, unit="degrees",
               remedy="give degrees clockwise from true north; a wall that looks south is 180")  # fmt: skip
        for before, after in pairwise(self.horizon):
            if after.azimuth_deg <= before.azimuth_deg:
                raise RequestError(
                    where="horizon",
                    problem=f"azimuth {after.azimuth_deg:g} follows {before.azimuth_deg:g}",
                    remedy="list the points by rising azimuth, each once; for an upright edge use two "
                    "azimuths a tenth of a degree apart",
                )
        if self.horizon and self.horizon[-1].azimuth_deg - self.horizon[0].azimuth_deg >= 360.0:
            raise RequestError(
                where="horizon",
                problem="azimuths 0 and 360 are the same direction",
                remedy="keep one of the two",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Overhang:
    """A level slab above the window, taken as wide as the sun's shadow needs.

    Args:
        depth_m: How far it stands out from the glass, 0 or more.
        height_m: Its underside above the floor.

    Raises:
        RequestError: a value is outside its range.
    """

    depth_m: float
    height_m: float

    def __post_init__(self) -> None:
        """Refuse impossible sizes."""
        within(self.depth_m, where="overhang depth", low=0, high=_TALLEST_M, unit="m",
               remedy="give metres out from the glass")  # fmt: skip
        within(self.height_m, where="overhang height", low=0, high=_TALLEST_M, unit="m",
               remedy="give metres from the floor to its underside")  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """The glass, and the plane on which the depth of the sun is measured.

    Args:
        sill_m: Lower edge of the glass, 0 or more.
        head_m: Upper edge of the glass, above the sill.
        plane_m: Height of the plane, 0 for the floor.
        overhang: Above the head, or None.

    Raises:
        RequestError: a height is outside its range, or they contradict each other.
    """

    sill_m: float
    head_m: float
    plane_m: float = 0.0
    overhang: Overhang | None = None

    def __post_init__(self) -> None:
        """Refuse heights that contradict each other."""
        for where, value in (("sill", self.sill_m), ("head", self.head_m), ("plane", self.plane_m)):
            within(value, where=where, low=0, high=_TALLEST_M, unit="m", remedy="give metres above the floor")
        if self.head_m <= self.sill_m:
            raise RequestError(
                where="head",
                problem=f"{self.head_m:g} m is not above the sill at {self.sill_m:g} m",
                remedy="give the heights of the lower and the upper edge of the glass",
            )
        if self.overhang is not None and self.overhang.height_m < self.head_m:
            raise RequestError(
                where="overhang height",
                problem=f"{self.overhang.height_m:g} m is below the head at {self.head_m:g} m",
                remedy="give the underside of an overhang that is level with the head or above it",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowAngles:
    """The sun as the wall sees it.

    Args:
        incidence_deg: Between the sun and the wall's outward normal, 0 to 180.
        shadow_angle_deg: Horizontal, sun azimuth minus facade azimuth, -180 to 180.
        profile_angle_deg: Elevation projected on the vertical plane square to the wall; None
            without direct sun.
        direct_sun: The centre of the sun shines on the wall.
    """

    incidence_deg: float
    shadow_angle_deg: float
    profile_angle_deg: float | None
    direct_sun: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SunPatch:
    """The sunlit strip on the plane.

    Args:
        enters: There is one.
        near_m: Its edge nearest to the facade, or None.
        far_m: Its farthest edge, 0 when there is none.
    """

    enters: bool
    near_m: float | None
    far_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HemLimit:
    """The most open height of the hem bar that keeps a depth limit.

    Args:
        hem_m: Above the floor, from sill to head.
        open_pct: Share of sill to head left open, 0 to 100.
        state: Whether the limit asks for anything.
    """

    hem_m: float
    open_pct: float
    state: LimitState


def incidence_deg(sun: SunPosition, *, surface_azimuth_deg: float, tilt_deg: float = 90.0) -> float:
    """Return the angle between the sun and a surface's outward normal, 0 to 180.

    Args:
        sun: May be below the horizon.
        surface_azimuth_deg: Of the normal, clockwise from true north.
        tilt_deg: 0 faces up, 90 is a wall.

    Source:
        Duffie and Beckman, Solar Engineering of Thermal Processes, equation 1.6.3.
    """
    elevation, tilt = math.radians(sun.elevation_deg), math.radians(tilt_deg)
    turn = math.radians(sun.azimuth_deg - surface_azimuth_deg)
    cosine = math.sin(elevation) * math.cos(tilt) + math.cos(elevation) * math.sin(tilt) * math.cos(turn)
    # Absorbs rounding only: the cosine of a direction with itself can come out as 1 + 2e-16.
    return math.degrees(math.acos(max(-1.0, min(1.0, cosine))))


def horizon_elevation_deg(horizon: Sequence[HorizonPoint], azimuth_deg: float) -> float:
    """Return the height of the obstruction towards `azimuth_deg` (0 to 360), 0 without any."""
    if not horizon:
        return 0.0
    first, last = horizon[0], horizon[-1]
    ring = [(last.azimuth_deg - 360.0, last.elevation_deg)]
    ring += [(point.azimuth_deg, point.elevation_deg) for point in horizon]
    ring += [(first.azimuth_deg + 360.0, first.elevation_deg)]
    above = bisect_left(ring, azimuth_deg, lo=1, key=lambda corner: corner[0])
    (low, low_top), (high, high_top) = ring[above - 1], ring[above]
    return low_top + (high_top - low_top) * (azimuth_deg - low) / (high - low)


def angles(facade: Facade, sun: SunPosition) -> WindowAngles:
    """Return how the sun stands to the wall.

    Source:
        Profile angle: Duffie and Beckman, Solar Engineering of Thermal Processes, equation 1.6.12.
    """
    shadow_deg = (sun.azimuth_deg - facade.azimuth_deg + 180.0) % 360.0 - 180.0
    hidden_below_deg = horizon_elevation_deg(facade.horizon, sun.azimuth_deg)
    direct = sun.elevation_deg > max(hidden_below_deg, _LOWEST_SUN_DEG) and abs(shadow_deg) < 90.0
    elevation, shadow = math.radians(sun.elevation_deg), math.radians(shadow_deg)
    profile = math.atan2(math.sin(elevation), math.cos(elevation) * math.cos(shadow))
    return WindowAngles(
        incidence_deg=incidence_deg(sun, surface_azimuth_deg=facade.azimuth_deg),
        shadow_angle_deg=shadow_deg,
        profile_angle_deg=math.degrees(profile) if direct else None,
        direct_sun=direct,
    )


def sun_patch(opening: Opening, profile_angle_deg: float | None, *, hem_m: float | None = None) -> SunPatch:
    """Return how deep the sun reaches on the plane.

    Args:
        opening: The glass and the plane.
        profile_angle_deg: Above 0; None without direct sun.
        hem_m: Height of the hem bar; None for a shade fully up. Above the head it hides nothing,
            below the sill it hides everything.

    Raises:
        RequestError: the hem bar is below the floor or absurdly high.
    """
    if hem_m is not None:
        within(hem_m, where="hem bar", low=0, high=_TALLEST_M, unit="m", remedy="give metres above the floor")
    top_m = opening.head_m if hem_m is None else min(hem_m, opening.head_m)
    if profile_angle_deg is None:
        return SunPatch(enters=False, near_m=None, far_m=0.0)
    slope = math.tan(math.radians(profile_angle_deg))
    if opening.overhang is not None:
        top_m = min(top_m, opening.overhang.height_m - opening.overhang.depth_m * slope)
    if top_m <= max(opening.sill_m, opening.plane_m):
        return SunPatch(enters=False, near_m=None, far_m=0.0)
    near_m = max(0.0, (opening.sill_m - opening.plane_m) / slope)
    return SunPatch(enters=True, near_m=near_m, far_m=(top_m - opening.plane_m) / slope)


def hem_for_depth(opening: Opening, profile_angle_deg: float | None, *, depth_limit_m: float) -> HemLimit:
    """Return where the hem bar must be so that the sun reaches no deeper than the limit.

    Args:
        opening: The glass and the plane.
        profile_angle_deg: Above 0; None without direct sun.
        depth_limit_m: On the plane, from the facade, 0 or more.

    Raises:
        RequestError: the limit is negative or absurdly large.

    Source:
        The work-plane protection position; relation of Tzempelikos and Shen, Building and
        Environment 67, 2013.
    """
    within(depth_limit_m, where="depth limit", low=0, high=_TALLEST_M, unit="m",
           remedy="give metres into the room, square to the facade")  # fmt: skip
    if profile_angle_deg is None:
        return HemLimit(hem_m=opening.head_m, open_pct=100.0, state="no direct sun")
    if sun_patch(opening, profile_angle_deg).far_m <= depth_limit_m:
        return HemLimit(hem_m=opening.head_m, open_pct=100.0, state="open")
    hem_m = opening.plane_m + depth_limit_m * math.tan(math.radians(profile_angle_deg))
    if hem_m <= opening.sill_m:
        return HemLimit(hem_m=opening.sill_m, open_pct=0.0, state="closed")
    open_pct = 100.0 * (hem_m - opening.sill_m) / (opening.head_m - opening.sill_m)
    return HemLimit(hem_m=hem_m, open_pct=open_pct, state="partial")
