"""One shade over a weather year: its rules followed and planned ahead, beside habits without any rules."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bridge.core.plan.day import USUAL_LIMIT_M, depth_limit_m
from bridge.core.plan.figures import Figures, Months, Weathered, figures, months_of, weathered
from bridge.core.plan.outside import Outside, diffuse_on_wall, measured, outside_series
from bridge.core.plan.series import asked_series, seen_of, seen_under
from bridge.core.plan.strategy import followed, planned
from bridge.core.spec import ShadeSpec
from bridge.core.surroundings import Restraint, Site
from bridge.simulate.weather_file import WeatherYear

Floats = NDArray[np.float64]
# Months whose mean is warmer than this count as cooling months, colder than that as heating months (common
# practice: base temperatures of degree days).
COOLING_FROM_C, HEATING_BELOW_C = 18.0, 15.0
# Weaker direct sun on the glass disturbs nobody; as the rule for the depth of the sun has it.
DISTURBS_WPM2 = 50.0
CLOCK_UP_H, CLOCK_DOWN_H = 8, 20
PLANNED, FOLLOWED = "rules, planned ahead", "rules, look by look"
UP, DOWN, BY_SUN = "always up", "always down", "down while the sun is on it"
CLOCK = f"clock, {CLOCK_UP_H} h up, {CLOCK_DOWN_H} h down"
ROWS = (PLANNED, FOLLOWED, UP, DOWN, BY_SUN, CLOCK)
# What share of a shade's work is done when its plan is, and when its rules have been followed.
PLAN_SHARE, RULES_SHARE = 0.7, 0.9
Progress = Callable[[str, float], None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class YearOutside:
    """A weather year as all shades of a house share it; arrays of shape (n,).

    Attributes:
        clear: What the rules would see under a cloudless sky: all that is known beforehand.
        real: What they see.
        dni_wpm2: Direct sunlight, square to it, as it truly was.
        months: What every wall gets.
        habits: Percent open by what people do without rules and whatever the window, by its name.
        cooling: Numbers of the cooling months.
        heating: Numbers of the heating months.
    """

    clear: Outside
    real: Outside
    dni_wpm2: Floats
    months: Months
    habits: Mapping[str, Floats]
    cooling: tuple[int, ...]
    heating: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShadeYear:
    """What a year comes to.

    Attributes:
        rows: Figures by the name of the strategy, in the order of `ROWS`.
        limit_m: How deep the sun may come.
        cooling: Numbers of the cooling months.
        heating: Numbers of the heating months.
        hours: Hours of daylight.
    """

    rows: Mapping[str, Figures]
    limit_m: float
    cooling: tuple[int, ...]
    heating: tuple[int, ...]
    hours: float


def year_outside(site: Site, year: WeatherYear, *, gust_factor: float) -> YearOutside:
    """Return what all shades of a house share.

    Args:
        site: Where the weather was measured, with the clocks of the house.
        year: The weather.
        gust_factor: Gusts over the mean wind.
    """
    cooling = tuple(at + 1 for at, mean in enumerate(year.month_c) if mean >= COOLING_FROM_C)
    heating = tuple(at + 1 for at, mean in enumerate(year.month_c) if mean < HEATING_BELOW_C)
    clear = outside_series(site, year.utc_s, outdoor_c=year.outdoor_c)
    ghi = year.dni_wpm2 * np.maximum(0.0, clear.sun.up) + year.dhi_wpm2
    return YearOutside(
        clear=clear,
        real=measured(
            clear,
            ghi_wpm2=ghi,
            wind_mps=year.wind_mps,
            gust_mps=year.wind_mps * gust_factor,
            **({} if year.rain_mmph is None else {"rain_mmph": year.rain_mmph}),
        ),
        dni_wpm2=year.dni_wpm2,
        months=months_of(
            clear.sun,
            diffuse_on_wall(ghi, year.dhi_wpm2),
            cooling=np.isin(year.months, cooling),
            heating=np.isin(year.months, heating),
        ),
        habits=_habits(clear.local),
        cooling=cooling,
        heating=heating,
    )


def shade_year(outside: YearOutside, spec: ShadeSpec, restraint: Restraint, *, told: Progress) -> ShadeYear:
    """Return the figures of a shade for the rules and for what people do without them.

    Args:
        outside: The weather year.
        spec: The shade with its window and rules.
        restraint: Looks, smallest move, dwell.
        told: Hears what is being done and what share of it is done.
    """
    ahead = seen_of(outside.clear, spec)
    seen = seen_under(ahead, outside.real)
    beam_wpm2 = outside.dni_wpm2[seen.lit] * seen.lit_wall.cos_incidence
    weather = weathered(seen, outside.months, beam_wpm2, from_wpm2=DISTURBS_WPM2)
    asked = asked_series(seen, spec.rules)
    comfort = [each for each in spec.rules if each.rule not in ("wind", "rain", "ice", "doorway")]
    local, size = outside.real.local, asked.low_pct.size
    places = {
        PLANNED: planned(
            asked,
            asked_series(ahead, comfort),
            restraint,
            local=local,
            told=lambda at: told("plan", PLAN_SHARE * at / size),
        ),
        FOLLOWED: followed(
            asked,
            restraint,
            local=local,
            told=lambda at: told("rules", PLAN_SHARE + (RULES_SHARE - PLAN_SHARE) * at / size),
        ),
        BY_SUN: _by_sun(weather, size),
        **outside.habits,
    }
    limit_m = depth_limit_m(spec)
    limit_m = USUAL_LIMIT_M if limit_m is None else limit_m
    told("figures", RULES_SHARE)
    return ShadeYear(
        rows={
            name: figures(
                weather,
                places[name],
                up=asked.up if name in (PLANNED, FOLLOWED) else None,
                limit_m=limit_m,
            )
            for name in ROWS
        },
        limit_m=limit_m,
        cooling=outside.cooling,
        heating=outside.heating,
        hours=float(outside.months.daylight_min[-1]) / 60,
    )


def _habits(local: Floats) -> dict[str, Floats]:
    clock_h = local % 1440.0 / 60.0
    by_day = (clock_h >= CLOCK_UP_H) & (clock_h < CLOCK_DOWN_H)
    return {
        UP: np.full(local.shape, 100.0),
        DOWN: np.zeros(local.shape),
        CLOCK: np.where(by_day, 100.0, 0.0),
    }


def _by_sun(weather: Weathered, size: int) -> Floats:
    places = np.full(size, 100.0)
    places[weather.strong] = 0.0
    return places


def at_the_weather(site: Site | None, year: WeatherYear) -> Site:
    """Return the place of the weather: the sun must be that of its irradiance.

    The clocks are the house's own when it is near, else the file's standard time.
    """
    place = year.place
    if site is not None:
        here = site.place
        far = max(abs(here.latitude_deg - place.latitude_deg), abs(here.longitude_deg - place.longitude_deg))
        if far <= 2.0:
            return replace(site, place=place)
    # Etc/GMT+5 is five hours behind, by POSIX.
    return Site(place=place, timezone=f"Etc/GMT{-round(year.offset_h):+d}")
