"""The sun of many instants at once, for days and years.

The same formulas as `sky`, `window` and `irradiance`, on numpy arrays; a test holds them together.
Declination and equation of time come from astral at whole hours and are linear in between (off by
less than 0.00001 degrees). Import this file where it is used: it brings numpy, which costs the daemon
memory that it does not need.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bridge.core.errors import RequestError
from bridge.core.sun.irradiance import (
    DEFAULT_TURBIDITY,
    extraterrestrial_wpm2,
    relative_pressure,
)
from bridge.core.sun.sky import LOWEST_REFRACTED_DEG, Place, epoch_s, slow_terms, utc_of
from bridge.core.sun.window import Facade, Opening

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Rows = NDArray[np.int64] | Flags

_KNOT_S = 3600.0
_LOWEST_SUN = math.sin(math.radians(1e-9))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SunSeries:
    """Unit vectors towards the sun's centre, without refraction; all arrays have one shape (n,).

    Args:
        utc_s: Seconds since 1970.
        east: Component to the east.
        north: Component to the north.
        up: Component upward.
    """

    utc_s: Floats
    east: Floats
    north: Floats
    up: Floats

    @property
    def elevation_deg(self) -> Floats:
        """Above the horizon, shape (n,)."""
        return np.degrees(np.arctan2(self.up, np.hypot(self.east, self.north)))

    @property
    def azimuth_deg(self) -> Floats:
        """Clockwise from true north, 0 to 360, shape (n,)."""
        return np.degrees(np.arctan2(self.east, self.north)) % 360.0

    def of(self, rows: Rows) -> "SunSeries":
        """Return the sun of some of the instants."""
        return SunSeries(
            utc_s=self.utc_s[rows], east=self.east[rows], north=self.north[rows], up=self.up[rows]
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WallSeries:
    """The sun as a wall sees it; arrays of shape (n,).

    Args:
        direct_sun: The centre of the sun shines on the wall.
        cos_incidence: Cosine of the angle to the outward normal.
        slope: Tangent of the profile angle; NaN without direct sun.
    """

    direct_sun: Flags
    cos_incidence: Floats
    slope: Floats

    def of(self, rows: Rows) -> "WallSeries":
        """Return the same for some of the instants."""
        return WallSeries(
            direct_sun=self.direct_sun[rows],
            cos_incidence=self.cos_incidence[rows],
            slope=self.slope[rows],
        )


def sun_series(place: Place, utc_s: Floats) -> SunSeries:
    """Return the sun at many instants.

    Args:
        place: The observer.
        utc_s: Seconds since 1970, rising, at least one, shape (n,).

    Raises:
        RequestError: no instant, not in rising order, or outside the years 1901 to 2099.
    """
    if utc_s.size == 0 or bool(np.any(np.diff(utc_s) < 0)):
        raise RequestError(
            where="series of times",
            problem="it is empty or not in order",
            remedy="give at least one time, earliest first",
        )
    for end in (utc_s[0], utc_s[-1]):
        epoch_s(utc_of(float(end)))
    declination, eot_min = _slow_terms(utc_s)
    hour_angle = np.radians((utc_s / 60.0 + eot_min + 4.0 * place.longitude_deg) % 1440.0 / 4.0 - 180.0)
    cos_l, sin_l = math.cos(math.radians(place.latitude_deg)), math.sin(math.radians(place.latitude_deg))
    cos_d, sin_d, cos_h = np.cos(declination), np.sin(declination), np.cos(hour_angle)
    return SunSeries(
        utc_s=utc_s,
        east=-cos_d * np.sin(hour_angle),
        north=sin_d * cos_l - cos_d * cos_h * sin_l,
        up=sin_d * sin_l + cos_d * cos_h * cos_l,
    )


def _slow_terms(utc_s: Floats) -> tuple[Floats, Floats]:
    """Return declination in radians and equation of time in minutes, shape (n,)."""
    first = math.floor(utc_s[0] / _KNOT_S)
    last = math.floor(utc_s[-1] / _KNOT_S) + 1
    knots = np.arange(first, last + 1, dtype=np.float64) * _KNOT_S
    # Sparse times over decades would need more knots than there are times.
    at = knots if knots.size < utc_s.size else utc_s
    terms = np.array([slow_terms(float(t)) for t in at])
    declination, eot_min = np.radians(terms[:, 0]), terms[:, 1]
    return np.interp(utc_s, at, declination), np.interp(utc_s, at, eot_min)


def wall_series(sun: SunSeries, facade: Facade) -> WallSeries:
    """Return how the sun stands to a wall, with its horizon."""
    turn = math.radians(facade.azimuth_deg)
    cos_incidence = sun.east * math.sin(turn) + sun.north * math.cos(turn)
    direct = (sun.up > _LOWEST_SUN) & (cos_incidence > 0)
    if facade.horizon:
        azimuths = [point.azimuth_deg for point in facade.horizon]
        tops = [point.elevation_deg for point in facade.horizon]
        facing = np.flatnonzero(direct)
        some = sun.of(facing)
        hidden_below = np.interp(some.azimuth_deg, azimuths, tops, period=360.0)
        direct[facing] = some.elevation_deg > hidden_below
    slope = np.full(sun.up.shape, np.nan)
    np.divide(sun.up, cos_incidence, out=slope, where=direct)
    return WallSeries(direct_sun=direct, cos_incidence=cos_incidence, slope=slope)


def far_series(opening: Opening, wall: WallSeries, *, hem_m: Floats | float | None = None) -> Floats:
    """Return how deep the sun reaches on the plane in metres, 0 where it does not enter, shape (n,).

    Args:
        opening: The glass and the plane.
        wall: The sun as the wall sees it.
        hem_m: Height of the hem bar, one for all or shape (n,); None for a shade fully up.
    """
    top = np.minimum(opening.head_m if hem_m is None else hem_m, np.full(wall.slope.shape, opening.head_m))
    if opening.overhang is not None:
        top = np.minimum(top, opening.overhang.height_m - opening.overhang.depth_m * wall.slope)
    # A comparison with NaN is false, so instants without direct sun stay 0.
    enters = top > max(opening.sill_m, opening.plane_m)
    far = np.zeros(wall.slope.shape)
    np.divide(top - opening.plane_m, wall.slope, out=far, where=enters & wall.direct_sun)
    return far


def hem_series(opening: Opening, wall: WallSeries, *, depth_limit_m: float) -> Floats:
    """Return the most open height of the hem bar that keeps a depth limit, in metres, shape (n,).

    Args:
        opening: The glass and the plane.
        wall: The sun as the wall sees it.
        depth_limit_m: On the plane, from the facade, 0 or more.
    """
    wanted = np.clip(opening.plane_m + depth_limit_m * wall.slope, opening.sill_m, opening.head_m)
    deeper = far_series(opening, wall) > depth_limit_m
    return np.where(deeper, wanted, opening.head_m)


def _apparent_sine(sun: SunSeries) -> Floats:
    """Return the sine of the elevation with refraction, 0 at night; as `sky.apparent_elevation_deg`."""
    true_deg = sun.elevation_deg
    seen = true_deg >= LOWEST_REFRACTED_DEG
    # Anything harmless stands in for the night, where the formula has a pole.
    safe_deg = np.where(seen, true_deg, 45.0)
    bend_min = 1.02 / np.tan(np.radians(safe_deg + 10.3 / (safe_deg + 5.11)))
    apparent_deg = safe_deg + 1013.25 / 1010.0 * 283.0 / 285.0 * bend_min / 60.0
    return np.where(seen, np.sin(np.radians(np.maximum(apparent_deg, 0.0))), 0.0)


def _outside_series(utc_s: Floats) -> Floats:
    """Return the sunlight above the air in W/m2, shape (n,)."""
    days = np.floor(utc_s / 86400.0).astype("datetime64[D]")
    numbers = (days - days.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.int64) + 1
    by_number: Floats = np.array([extraterrestrial_wpm2(number) for number in range(367)])
    outside: Floats = by_number[numbers]
    return outside


def clear_sky_series(
    sun: SunSeries, *, altitude_m: float = 0.0, turbidity: float = DEFAULT_TURBIDITY
) -> tuple[Floats, Floats, Floats]:
    """Return global, direct normal and diffuse irradiance of a cloudless sky, W/m2, each shape (n,).

    Args:
        sun: The instants.
        altitude_m: Above sea level.
        turbidity: Linke turbidity, 1 to 10.

    Source:
        As `irradiance.clear_sky`.
    """
    sine = _apparent_sine(sun)
    lit = sine > 0
    safe = np.where(lit, sine, 1.0)
    mass = 1.0 / (safe + 0.50572 * (6.07995 + np.degrees(np.arcsin(safe))) ** -1.6364)
    mass *= relative_pressure(altitude_m)
    outside = _outside_series(sun.utc_s)
    fh1, fh2 = math.exp(-altitude_m / 8000.0), math.exp(-altitude_m / 1250.0)
    cg1, cg2 = 5.09e-05 * altitude_m + 0.868, 3.92e-05 * altitude_m + 0.0387
    ghi = cg1 * outside * safe * np.exp(-cg2 * mass * (fh1 + fh2 * (turbidity - 1.0)))
    beam = outside * (0.664 + 0.163 / fh1) * np.exp(-0.09 * mass * (turbidity - 1.0))
    diffuse_share = (0.1 - 0.2 * math.exp(-turbidity)) / (0.1 + 0.882 / fh1)
    ghi, dni = np.where(lit, ghi, 0.0), np.where(lit, np.minimum(beam, ghi * (1 - diffuse_share) / safe), 0.0)
    return ghi, dni, ghi - dni * safe


def split_series(sun: SunSeries, ghi_wpm2: Floats) -> tuple[Floats, Floats, Floats]:
    """Return global, direct normal and diffuse irradiance of a measured global one, W/m2, each shape (n,).

    Args:
        sun: The instants.
        ghi_wpm2: Measured on level ground, 0 or more, shape (n,).

    Source:
        As `irradiance.split_measured`.
    """
    outside = _outside_series(sun.utc_s)
    kt = ghi_wpm2 / (outside * np.maximum(sun.up, 0.065))
    middle = 0.9511 - 0.1604 * kt + 4.388 * kt**2 - 16.638 * kt**3 + 12.336 * kt**4
    share = np.where(kt <= 0.22, 1.0 - 0.09 * kt, np.where(kt <= 0.8, middle, 0.165))
    high = sun.elevation_deg >= 3.0
    dni = np.where(high, np.minimum(ghi_wpm2 * (1.0 - share) / np.where(high, sun.up, 1.0), outside), 0.0)
    return ghi_wpm2, dni, np.where(high, ghi_wpm2 - dni * sun.up, ghi_wpm2)
