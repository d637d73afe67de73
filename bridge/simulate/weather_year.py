"""One shade over a weather year: its rules followed and planned ahead, beside habits without any rules."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bridge.core.plan.day import USUAL_LIMIT_M, depth_limit_m
from bridge.core.plan.figures import Figures, Weathered, figures, view
from bridge.core.plan.series import Seen, asked_series, seen_series
from bridge.core.plan.strategy import followed, planned
from bridge.core.spec import ShadeSpec
from bridge.core.sun.irradiance import DEFAULT_ALBEDO
from bridge.core.sun.series import SunSeries
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
Progress = Callable[[str, float], None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShadeYear:
    """What a year comes to.

    Attributes:
        rows: Figures by the name of the strategy.
        months: View hours by the same names, for each month, January first.
        limit_m: How deep the sun may come.
        cooling: Numbers of the cooling months.
        heating: Numbers of the heating months.
        hours: Hours of daylight.
    """

    rows: Mapping[str, Figures]
    months: Mapping[str, tuple[float, ...]]
    limit_m: float
    cooling: tuple[int, ...]
    heating: tuple[int, ...]
    hours: float


def shade_year(
    site: Site,
    spec: ShadeSpec,
    restraint: Restraint,
    year: WeatherYear,
    *,
    gust_factor: float,
    told: Progress,
    sun: SunSeries | None = None,
) -> ShadeYear:
    """Return the figures of a shade for the rules and for what people do without them.

    Args:
        site: Where the weather was measured, with the clocks of the house.
        spec: The shade with its window and rules.
        restraint: Looks, smallest move, dwell.
        year: The weather.
        gust_factor: Gusts over the mean wind.
        told: Hears what is being done and what share of it is done.
        sun: The sun of the year's minutes there, where it is known already: many shades share it.
    """
    cooling = tuple(at + 1 for at, mean in enumerate(year.month_c) if mean >= COOLING_FROM_C)
    heating = tuple(at + 1 for at, mean in enumerate(year.month_c) if mean < HEATING_BELOW_C)
    told("sun", 0.0)
    seen, ahead = _seen(site, spec, year, gust_factor, sun)
    weather = _weathered(seen, year, cooling, heating)
    asked = asked_series(seen, spec.rules)
    comfort = [each for each in spec.rules if each.rule not in ("wind", "rain", "ice", "doorway")]
    size = asked.low_pct.size
    places = {
        PLANNED: planned(
            asked,
            asked_series(ahead, comfort),
            restraint,
            local=seen.local,
            told=lambda at: told("plan", at / size),
        ),
        FOLLOWED: followed(asked, restraint, local=seen.local, told=lambda at: told("rules", at / size)),
        **_habits(seen, weather),
    }
    limit_m = depth_limit_m(spec)
    limit_m = USUAL_LIMIT_M if limit_m is None else limit_m
    told("figures", 1.0)
    return ShadeYear(
        rows={
            name: figures(
                weather,
                some,
                up=asked.up if name in (PLANNED, FOLLOWED) else None,
                limit_m=limit_m,
                from_wpm2=DISTURBS_WPM2,
            )
            for name, some in places.items()
        },
        months={name: _by_month(year, view(seen, some)) for name, some in places.items()},
        limit_m=limit_m,
        cooling=cooling,
        heating=heating,
        hours=float(np.count_nonzero(seen.sun.up > 0)) / 60,
    )


def _seen(
    site: Site, spec: ShadeSpec, year: WeatherYear, gust_factor: float, sun: SunSeries | None
) -> tuple[Seen, Seen]:
    """Return what the rules see of the weather, and what they would see under a cloudless sky."""
    ahead = seen_series(site, spec, year.utc_s, sun=sun, outdoor_c=year.outdoor_c)
    ghi = year.dni_wpm2 * np.maximum(0.0, ahead.sun.up) + year.dhi_wpm2
    seen = seen_series(
        site,
        spec,
        year.utc_s,
        sun=ahead.sun,
        ghi_wpm2=ghi,
        outdoor_c=year.outdoor_c,
        wind_mps=year.wind_mps,
        gust_mps=year.wind_mps * gust_factor,
        **({} if year.rain_mmph is None else {"rain_mmph": year.rain_mmph}),
    )
    return seen, ahead


def _weathered(
    seen: Seen, year: WeatherYear, cooling: tuple[int, ...], heating: tuple[int, ...]
) -> Weathered:
    beam = np.where(seen.wall.direct_sun, year.dni_wpm2 * seen.wall.cos_incidence, 0.0)
    ghi = year.dni_wpm2 * np.maximum(0.0, seen.sun.up) + year.dhi_wpm2
    return Weathered(
        seen=seen,
        beam_wpm2=beam,
        on_glass_wpm2=beam + year.dhi_wpm2 / 2 + ghi * DEFAULT_ALBEDO / 2,
        cooling=np.isin(year.months, cooling),
        heating=np.isin(year.months, heating),
    )


def _habits(seen: Seen, weather: Weathered) -> dict[str, Floats]:
    """Return what people do without rules: nothing, or by the sun on the window, or by the clock."""
    size = seen.local.shape
    clock_h = seen.local % 1440.0 / 60.0
    by_day = (clock_h >= CLOCK_UP_H) & (clock_h < CLOCK_DOWN_H)
    return {
        "always up": np.full(size, 100.0),
        "always down": np.zeros(size),
        "down while the sun is on it": np.where(weather.beam_wpm2 >= DISTURBS_WPM2, 0.0, 100.0),
        f"clock, {CLOCK_UP_H} h up, {CLOCK_DOWN_H} h down": np.where(by_day, 100.0, 0.0),
    }


def _by_month(year: WeatherYear, flags: NDArray[np.bool_]) -> tuple[float, ...]:
    return tuple(float(np.count_nonzero(flags & (year.months == month))) / 60 for month in range(1, 13))


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
