"""What is the same for every wall of a house at many instants: clocks, sun, light and weather.

It is reckoned once, however many facades look at it. Import this file where it is used: it brings numpy.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from bridge.core.plan.opinion import Opinion
from bridge.core.rules.seeing import zone_of
from bridge.core.rules.view import Season, season_at
from bridge.core.sun.irradiance import DEFAULT_ALBEDO
from bridge.core.sun.series import SunSeries, clear_sky_series, split_series, sun_series
from bridge.core.surroundings import RuleChoice, Site

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Rows = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outside:
    """What the rules see outside, minute by minute; arrays of shape (n,), NaN where a sensor says nothing.

    Attributes:
        local: Minutes since Monday 00:00 on the clocks of the house.
        summer: It is summer there.
        sun: Where the sun stands.
        elevation_deg: How high.
        by_day: Rows with the sun above the horizon, shape (k,).
        sun_by_day: The sun of these rows, arrays of shape (k,).
        dni_wpm2: Light from the sun's direction, square to it, as the rules reckon it.
        diffuse_wpm2: Light of sky and ground on any wall.
        outdoor_c: Outdoor temperature.
        wind_mps: Mean wind.
        gust_mps: Gusts.
        rain_mmph: Rain.
        answers: What rules have asked that look at no wall; walls share it.
    """

    local: Floats
    summer: Flags
    sun: SunSeries
    elevation_deg: Floats
    by_day: Rows
    sun_by_day: SunSeries
    dni_wpm2: Floats
    diffuse_wpm2: Floats
    outdoor_c: Floats
    wind_mps: Floats
    gust_mps: Floats
    rain_mmph: Floats
    answers: dict[RuleChoice, tuple[Opinion, ...]] = field(default_factory=dict)


def outside_series(site: Site, utc_s: Floats, **readings: Floats) -> Outside:
    """Return what is outside of a house.

    Args:
        site: Where it stands.
        utc_s: Whole minutes in order, seconds since 1970, shape (n,).
        readings: `ghi_wpm2`, `outdoor_c`, `wind_mps`, `gust_mps`, `rain_mmph`, each of shape (n,); one left
            out is not fitted, and without the first the sky is cloudless.
    """
    sun = sun_series(site.place, utc_s)
    ghi, dni, dhi = clear_sky_series(sun, altitude_m=site.place.altitude_m)
    none = np.full(utc_s.shape, np.nan)
    local, summer = _local(site, utc_s)
    by_day = np.flatnonzero(sun.up > 0)
    cloudless = Outside(
        local=local,
        summer=summer,
        sun=sun,
        elevation_deg=sun.elevation_deg,
        by_day=by_day,
        sun_by_day=sun.of(by_day),
        dni_wpm2=dni,
        diffuse_wpm2=diffuse_on_wall(ghi, dhi),
        outdoor_c=none,
        wind_mps=none,
        gust_mps=none,
        rain_mmph=none,
    )
    return measured(cloudless, **readings)


def measured(outside: Outside, *, ghi_wpm2: Floats | None = None, **readings: Floats) -> Outside:
    """Return the same instants with other readings, as named for `outside_series`."""
    found = replace(outside, **readings, answers={})  # type: ignore[arg-type]  # fields by name
    if ghi_wpm2 is None:
        return found
    ghi, dni, dhi = split_series(outside.sun, ghi_wpm2)
    return replace(found, dni_wpm2=dni, diffuse_wpm2=diffuse_on_wall(ghi, dhi))


def diffuse_on_wall(ghi_wpm2: Floats, dhi_wpm2: Floats) -> Floats:
    """Return the light of sky and ground on a wall, W/m2, shape (n,); as `irradiance.on_wall`."""
    return dhi_wpm2 / 2.0 + ghi_wpm2 * DEFAULT_ALBEDO / 2.0


def _local(site: Site, utc_s: Floats) -> tuple[Floats, Flags]:
    """Return minutes of the local week and whether it is summer; clocks change on quarters of an hour."""
    zone = zone_of(site.timezone)
    quarters, which = np.unique(np.floor(utc_s / 900.0), return_inverse=True)
    clocks = [datetime.fromtimestamp(q * 900.0, tz=UTC).astimezone(zone) for q in quarters.tolist()]
    offset_s = np.array([clock.utcoffset().total_seconds() for clock in clocks])  # type: ignore[union-attr]  # aware
    summer = np.array([season_at(each, site.place.latitude_deg) is Season.SUMMER for each in clocks])
    # 1970-01-01 was a Thursday.
    return ((utc_s + offset_s[which]) / 60.0 + 3 * 1440.0) % 10080.0, summer[which]
