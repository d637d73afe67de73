"""What the rules ask at many instants at once, for days and years.

The same answers as the files of `rules/`, on numpy arrays; a test holds them together, and one
that every rule has its entry. Hysteresis is a latch. Import this file where it is used: it brings numpy.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bridge.core.errors import RequestError
from bridge.core.rules.catalogue import rules
from bridge.core.rules.demand import Demand
from bridge.core.rules.seeing import rank_of, zone_of
from bridge.core.rules.view import Readings, Season, View, season_at
from bridge.core.spec import ShadeSpec
from bridge.core.sun.irradiance import DEFAULT_ALBEDO
from bridge.core.sun.series import (
    SunSeries,
    WallSeries,
    clear_sky_series,
    hem_series,
    split_series,
    sun_series,
    wall_series,
)
from bridge.core.surroundings import RuleChoice, Site

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """What the rules see, minute by minute; arrays of shape (n,), NaN where a sensor says nothing.

    Attributes:
        spec: The shade.
        local: Minutes since Monday 00:00 on the clocks of the house.
        summer: It is summer there.
        sun: Where the sun stands.
        wall: The same, as the wall sees it.
        beam_wpm2: Direct sunlight on the glass, as the rules reckon it.
        on_glass_wpm2: All sunlight on the glass.
        outdoor_c: Outdoor temperature.
        wind_mps: Mean wind.
        gust_mps: Gusts.
        rain_mmph: Rain.
    """

    spec: ShadeSpec
    local: Floats
    summer: Flags
    sun: SunSeries
    wall: WallSeries
    beam_wpm2: Floats
    on_glass_wpm2: Floats
    outdoor_c: Floats
    wind_mps: Floats
    gust_mps: Floats
    rain_mmph: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Asked:
    """What the rules come to; arrays of shape (n,).

    Attributes:
        low_pct: No lower than this; what was only yielded to a lost demand is left out.
        high_pct: No further open than this.
        up: Wind or rain wants it up.
        still: Nothing may start, for ice.
    """

    low_pct: Floats
    high_pct: Floats
    up: Flags
    still: Flags


def seen_series(
    site: Site, spec: ShadeSpec, utc_s: Floats, *, sun: SunSeries | None = None, **readings: Floats
) -> Seen:
    """Return what the rules of a shade see.

    Args:
        site: Where the house stands.
        spec: The shade; it has a window.
        utc_s: Whole minutes in order, seconds since 1970, shape (n,).
        sun: The sun of these instants where it is known already.
        readings: `ghi_wpm2`, `outdoor_c`, `wind_mps`, `gust_mps`, `rain_mmph`; one left out is not fitted,
            and without the first the sky is cloudless.
    """
    assert spec.window is not None, "the sun needs a window"
    sun = sun or sun_series(site.place, utc_s)
    wall = wall_series(sun, spec.window.facade)
    if "ghi_wpm2" in readings:
        ghi, dni, dhi = split_series(sun, readings["ghi_wpm2"])
    else:
        ghi, dni, dhi = clear_sky_series(sun, altitude_m=site.place.altitude_m)
    beam = np.where(wall.direct_sun, dni * wall.cos_incidence, 0.0)
    none = np.full(utc_s.shape, np.nan)
    local, summer = _local(site, utc_s)
    return Seen(
        spec=spec,
        local=local,
        summer=summer,
        sun=sun,
        wall=wall,
        beam_wpm2=beam,
        on_glass_wpm2=beam + dhi / 2.0 + ghi * DEFAULT_ALBEDO / 2.0,
        **{name: readings.get(name, none) for name in ("outdoor_c", "wind_mps", "gust_mps", "rain_mmph")},
    )


def asked_series(seen: Seen, chosen: Sequence[RuleChoice]) -> Asked:
    """Return what several rules come to, by rank, as `decided` does one by one.

    Raises:
        RequestError: a rule that has no answer here.
    """
    size = seen.local.shape
    low, high, firm = np.zeros(size), np.full(size, 100.0), np.zeros(size)
    up, still = np.zeros(size, dtype=bool), np.zeros(size, dtype=bool)
    for choice in sorted(chosen, key=lambda each: -rank_of(each.rule)):
        if choice.rule not in SERIES:
            raise RequestError(
                where=f"rule {choice.rule!r}",
                problem="it can't be reckoned over many instants",
                remedy="leave it out of these settings to see the year without it",
            )
        if choice.params is None:
            continue
        if choice.rule == "ice":
            still |= _ice(seen, choice.params)
            continue
        bottom, top = SERIES[choice.rule](seen, choice.params)
        if choice.rule in ("wind", "rain"):
            up |= bottom >= 100.0
        above, below = bottom > high, top < low
        firm = np.where(above | below | (bottom <= low), firm, bottom)
        low, high = (
            np.where(above, high, np.where(below, low, np.maximum(low, bottom))),
            np.where(above, high, np.where(below, low, np.minimum(high, top))),
        )
    return Asked(low_pct=firm, high_pct=high, up=up, still=still)


def _local(site: Site, utc_s: Floats) -> tuple[Floats, Flags]:
    """Return minutes of the local week and whether it is summer; clocks change on quarters of an hour."""
    zone = zone_of(site.timezone)
    quarters, which = np.unique(np.floor(utc_s / 900.0), return_inverse=True)
    clocks = [datetime.fromtimestamp(q * 900.0, tz=UTC).astimezone(zone) for q in quarters.tolist()]
    offset_s = np.array([clock.utcoffset().total_seconds() for clock in clocks])  # type: ignore[union-attr]  # aware
    summer = np.array([season_at(each, site.place.latitude_deg) is Season.SUMMER for each in clocks])
    # 1970-01-01 was a Thursday.
    return ((utc_s + offset_s[which]) / 60.0 + 3 * 1440.0) % 10080.0, summer[which]


def latched(start: Flags, keep: Flags) -> Flags:
    """Return where something stands that begins with `start` and lasts while `keep`, which it implies."""
    at = np.arange(start.size)
    begun = np.maximum.accumulate(np.where(start, at, -1))
    broken = np.maximum.accumulate(np.where(keep, -1, at))
    return (begun > broken) & keep


def _within(happens: Flags, minutes: float) -> Flags:
    """Return where something has happened at most so many minutes ago."""
    at = np.arange(happens.size, dtype=np.float64)
    last = np.maximum.accumulate(np.where(happens, at, -np.inf))
    return at - last <= minutes


def _limited(where: Flags, top: Floats | float) -> tuple[Floats, Floats]:
    return np.zeros(where.shape), np.where(where, top, 100.0)


def _at_least(where: Flags, bottom: Floats | float) -> tuple[Floats, Floats]:
    return np.where(where, bottom, 0.0), np.full(where.shape, 100.0)


def _sun_depth(seen: Seen, params: Any) -> tuple[Floats, Floats]:
    window, drop_m = seen.spec.window, seen.spec.travel.roll.drop_mm / 1000
    assert window is not None
    hem_m = hem_series(window.opening, seen.wall, depth_limit_m=params.depth_limit_m)
    lowered = np.clip((window.upper_m - hem_m) / drop_m, 0.0, 1.0)
    pct = np.floor(100.0 * (1.0 - lowered) + 1e-9)
    where = (hem_m < window.opening.head_m) & (seen.beam_wpm2 >= params.from_wpm2)
    return _limited(where & seen.wall.direct_sun, pct)


def _heat(seen: Seen, params: Any) -> tuple[Floats, Floats]:
    known, sun = ~np.isnan(seen.outdoor_c), seen.wall.direct_sun
    warm = np.where(known, seen.outdoor_c >= params.outdoor_c, seen.summer)
    still_warm = np.where(known, seen.outdoor_c >= params.outdoor_c - params.back_c, seen.summer)
    start = sun & (seen.on_glass_wpm2 >= params.from_wpm2) & warm
    keep = sun & (seen.on_glass_wpm2 >= params.from_wpm2 / 2) & still_warm
    return _limited(latched(start, keep), params.open_pct)


def _warmth(seen: Seen, params: Any) -> tuple[Floats, Floats]:
    dark = seen.sun.elevation_deg <= 0
    worth = ~dark & seen.wall.direct_sun & (seen.on_glass_wpm2 >= params.from_wpm2)
    start = (dark | worth) & (seen.outdoor_c < params.outdoor_c)
    stands = latched(start, (dark | worth) & (seen.outdoor_c < params.outdoor_c + params.back_c))
    return _at_least(stands & worth, params.open_pct)[0], _limited(stands & dark, params.night_open_pct)[1]


def _night(seen: Seen, params: Any) -> tuple[Floats, Floats]:
    dark = seen.sun.elevation_deg < params.sun_below_deg
    if params.until is not None:
        until = params.until.hour * 60 + params.until.minute + params.until.second / 60
        clock = seen.local % 1440.0
        late = (clock >= until) & (clock < 720) if until <= 720 else (clock >= until) | (clock < 720)
        dark &= ~late
    return _limited(dark, params.open_pct)


def _wind(seen: Seen, params: Any) -> tuple[Floats, Floats]:
    blows = np.zeros(seen.local.shape, dtype=bool)
    stirs, fitted = blows.copy(), False
    for mps, limit in ((seen.gust_mps, params.gust_limit_mps), (seen.wind_mps, params.mean_limit_mps)):
        fitted = fitted or not bool(np.all(np.isnan(mps)))
        blows |= _within(mps >= limit, params.calm_min)
        stirs |= _within(mps >= limit * params.calm_share, params.calm_min)
    return _at_least(latched(blows, stirs | blows) if fitted else ~blows, 100.0)


def _rain(seen: Seen, params: Any) -> tuple[Floats, Floats]:
    return _at_least(_within(seen.rain_mmph >= params.from_mmph, params.dry_min), 100.0)


def _ice(seen: Seen, params: Any) -> Flags:
    dry = np.isnan(seen.rain_mmph)
    wet = dry | _within(seen.rain_mmph > 0, params.wet_h * 60)
    start = wet & (seen.outdoor_c < params.freezing_c)
    return latched(start, wet & (seen.outdoor_c < params.freezing_c + params.thaw_c))


def _nothing(seen: Seen, params: Any) -> tuple[Floats, Floats]:  # noqa: ARG001  a door is not foreseen
    return _limited(np.zeros(seen.local.shape, dtype=bool), 100.0)


def _schedule(seen: Seen, params: Any) -> tuple[Floats, Floats]:
    return _by_the_clock(seen, "schedule", params)


def _dawn_light(seen: Seen, params: Any) -> tuple[Floats, Floats]:
    low, high = _by_the_clock(seen, "dawn-light", params)
    return np.where(seen.sun.elevation_deg < params.sun_above_deg, 0.0, low), high


def _by_the_clock(seen: Seen, rule: str, params: object) -> tuple[Floats, Floats]:
    """Return what a rule of the clock asks: its own file is asked for every minute of a week."""
    monday = datetime(2026, 1, 5, tzinfo=UTC)
    view = View(
        utc=monday,
        local=monday,
        season=Season.WINTER,
        sun=None,
        window=None,
        mounting=seen.spec.mounting,
        drop_m=1.0,
        open_pct=None,
        readings=Readings(),
    )
    demand = rules()[rule].demand
    week = [demand(replace(view, local=monday + timedelta(minutes=m)), params) for m in range(10080)]
    at = np.floor(seen.local + 1e-6).astype(np.int64) % 10080
    return _table(week, lambda each: each.at_least_pct, 0.0)[at], _table(
        week, lambda each: each.at_most_pct, 100.0
    )[at]


def _table(week: Iterable[Demand | None], of: Callable[[Demand], float], none: float) -> Floats:
    return np.array([none if each is None else of(each) for each in week])


SERIES: dict[str, Callable[[Seen, Any], tuple[Floats, Floats]]] = {
    "sun-depth": _sun_depth,
    "heat": _heat,
    "warmth": _warmth,
    "night": _night,
    "schedule": _schedule,
    "dawn-light": _dawn_light,
    "doorway": _nothing,
    "wind": _wind,
    "rain": _rain,
    "ice": _nothing,
}
