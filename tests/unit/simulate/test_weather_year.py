"""A stretch of invented weather at ten facades: what they share must not show."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time

import numpy as np

from bridge.core.spec import ShadeSpec
from bridge.core.sun.window import Facade, HorizonPoint
from bridge.core.surroundings import Quiet, Restraint
from bridge.simulate.weather_file import WeatherYear
from bridge.simulate.weather_year import FOLLOWED, PLANNED, ShadeYear, YearOutside, shade_year, year_outside
from tests.scene import shade_spec
from tests.weather import AZORES, WINDOW, choice

DAYS = 12
RULES = (
    choice("wind"),
    choice("rain"),
    choice("ice", freezing_c=10.0),
    choice("night", until=time(7, 30)),
    choice("sun-depth"),
    choice("heat", outdoor_c=17.0),
    choice("warmth", outdoor_c=13.0),
    choice("schedule", times=((time(21, 30), 10.0),)),
)
RESTRAINT = Restraint(quiet=Quiet(begins=time(22, 30), ends=time(6)))


def invented() -> WeatherYear:
    """Return days of April with clouds, gusts, showers and cold mornings."""
    minutes = np.arange(DAYS * 1440, dtype=np.float64)
    return WeatherYear(
        name="Gull Point",
        place=AZORES.place,
        offset_h=-1.0,
        utc_s=datetime(2025, 4, 20, 1, tzinfo=UTC).timestamp() + 60.0 * minutes,
        dni_wpm2=np.where(np.sin(minutes / 190) > -0.3, 700.0, 0.0),
        dhi_wpm2=np.full(minutes.shape, 90.0),
        outdoor_c=14 - 6 * np.cos(minutes / 1440 * 2 * np.pi),
        wind_mps=4 + 3 * np.sin(minutes / 700),
        rain_mmph=np.where(minutes % 5000 < 90, 0.8, 0.0),
        month_c=(19.0, 19.0, 19.0, 9.0, *[19.0] * 8),
        months=np.where(minutes < 11 * 1440, 4, 5).astype(np.int64),
    )


def facades() -> list[ShadeSpec]:
    """Return ten shades all around a house, every third with something in its view."""
    hill = (HorizonPoint(azimuth_deg=80, elevation_deg=0), HorizonPoint(azimuth_deg=200, elevation_deg=30))
    return [
        shade_spec(
            "landing",
            rules=RULES,
            window=replace(WINDOW, facade=Facade(azimuth_deg=36.0 * at, horizon=hill if at % 3 == 0 else ())),
        )
        for at in range(10)
    ]


def reckoned(outside: YearOutside, spec: ShadeSpec) -> ShadeYear:
    return shade_year(outside, spec, RESTRAINT, told=lambda _what, _share: None)


def test_ten_facades_at_once_give_exactly_what_each_gives_alone() -> None:
    shared = year_outside(AZORES, invented(), gust_factor=1.5)
    together = [reckoned(shared, spec) for spec in facades()]
    alone = [reckoned(year_outside(AZORES, invented(), gust_factor=1.5), spec) for spec in facades()]
    assert [dict(each.rows) for each in together] == [dict(each.rows) for each in alone]
    # They are told apart by more than their sun.
    assert len({each.rows[PLANNED].moves for each in together}) > 3
    assert all(each.rows[PLANNED].retracts and each.rows[FOLLOWED].moves for each in together)


def test_the_order_of_the_facades_does_not_show() -> None:
    shared = year_outside(AZORES, invented(), gust_factor=1.5)
    there = [reckoned(shared, spec).rows for spec in facades()]
    back = [reckoned(shared, spec).rows for spec in reversed(facades())]
    assert there == back[::-1]


def test_hours_of_daylight_and_months_are_those_of_the_weather() -> None:
    found = reckoned(year_outside(AZORES, invented(), gust_factor=1.5), facades()[5])
    assert found.cooling == (1, 2, 3, *range(5, 13))
    assert found.heating == (4,)
    # Late April at 38.5° north has 13.4 hours of daylight (by any almanac; from memory).
    assert abs(found.hours / DAYS - 13.4) < 0.2
    up = found.rows["always up"]
    assert up.view_h == found.hours
    assert up.heating_kwhpm2 > up.cooling_kwhpm2 > 0
