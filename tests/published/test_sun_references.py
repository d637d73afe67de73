"""The sun's direction against pvlib's implementation of the Solar Position Algorithm, over 16 years.

Source: Reda and Andreas, Solar Position Algorithm for Solar Radiation Applications, NREL/TP-560-34302;
its stated uncertainty is 0.0003 degrees. The bound of 0.025 degrees is ours.
"""

import math
import random
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from pvlib import clearsky, irradiance, spa

from bridge.core.sun.daylight import daylight, local_day
from bridge.core.sun.irradiance import clear_sky, split_measured
from bridge.core.sun.series import sun_series
from bridge.core.sun.sky import HORIZON_DEG, Place

START_S, END_S = 1_577_836_800, 2_082_758_400
BOUND_DEG = 0.025


def references() -> list[tuple[Place, np.ndarray]]:
    choose = random.Random(20260715)
    sets = []
    for _ in range(60):
        place = Place(
            latitude_deg=math.degrees(math.asin(choose.uniform(-1, 1))),
            longitude_deg=choose.uniform(-180, 180),
        )
        sets.append((place, np.array(sorted(choose.uniform(START_S, END_S) for _ in range(200)))))
    poles = [Place(latitude_deg=latitude, longitude_deg=30) for latitude in (-90, 90)]
    return sets + [(pole, sets[0][1]) for pole in poles]


@pytest.mark.parametrize(("place", "times"), references())
def test_the_sun_is_where_the_solar_position_algorithm_puts_it(place: Place, times: np.ndarray) -> None:
    found = spa.solar_position_numpy(
        times, place.latitude_deg, place.longitude_deg, 0, 1013.25, 12, 69.2, 0.5667, 1
    )
    elevation, azimuth = np.radians(found[3]), np.radians(found[4])
    sun = sun_series(place, times)
    east, north = np.cos(elevation) * np.sin(azimuth), np.cos(elevation) * np.cos(azimuth)
    chord = np.sqrt((sun.east - east) ** 2 + (sun.north - north) ** 2 + (sun.up - np.sin(elevation)) ** 2)
    apart_deg = np.degrees(2 * np.arcsin(chord / 2))[elevation > math.radians(-1)]
    assert apart_deg.size > 20 or abs(place.latitude_deg) == 90
    assert apart_deg.max() < BOUND_DEG


def spa_elevation_deg(place: Place, at: datetime) -> float:
    found = spa.solar_position_numpy(
        np.array([at.timestamp()]), place.latitude_deg, place.longitude_deg, 0, 1013.25, 12, 69.2, 0.5667, 1
    )
    return float(found[3][0])


@pytest.mark.parametrize("latitude_deg", [-66, -50, -20, 0, 35, 52, 60, 66])
@pytest.mark.parametrize("year", [2020, 2026, 2035])
def test_sunrise_and_sunset_are_within_90_seconds_up_to_the_polar_circles(
    latitude_deg: float, year: int
) -> None:
    place, near = Place(latitude_deg=latitude_deg, longitude_deg=17), timedelta(seconds=90)
    for ordinal in range(0, 365, 26):
        day = local_day(date(year, 1, 1) + timedelta(days=ordinal), UTC)
        events = daylight(place, day)
        assert (len(events.sunrise_utc), len(events.sunset_utc)) == (1, 1)
        for at, sign in ((events.sunrise_utc[0], 1), (events.sunset_utc[0], -1)):
            assert sign * (spa_elevation_deg(place, at + near) - HORIZON_DEG) > 0
            assert sign * (spa_elevation_deg(place, at - near) - HORIZON_DEG) < 0


@pytest.mark.parametrize("elevation_deg", [0.5, 2, 7, 20, 45, 70, 89])
@pytest.mark.parametrize("turbidity", [2, 3, 5, 7])
@pytest.mark.parametrize("altitude_m", [-100, 0, 800, 3000])
def test_the_clear_sky_is_that_of_pvlib(elevation_deg: float, turbidity: float, altitude_m: float) -> None:
    day = 100
    outside = irradiance.get_extra_radiation(day)
    mass = 1.0 / (
        math.sin(math.radians(elevation_deg)) + 0.50572 * (6.07995 + elevation_deg) ** -1.6364
    )  # Kasten and Young 1989, as pvlib has it
    mass *= ((44331.514 - altitude_m) / 11880.516) ** (1 / 0.1902632) / 1013.25
    want = clearsky.ineichen(
        90 - elevation_deg, mass, turbidity, altitude=altitude_m, dni_extra=outside, perez_enhancement=False
    )
    sky = clear_sky(elevation_deg, day_of_year=day, altitude_m=altitude_m, turbidity=turbidity)
    assert sky.ghi_wpm2 == pytest.approx(float(want["ghi"]), rel=1e-3, abs=0.01)
    assert sky.dni_wpm2 == pytest.approx(float(want["dni"]), rel=1e-3, abs=0.01)
    assert sky.dhi_wpm2 == pytest.approx(float(want["dhi"]), rel=1e-3, abs=0.01)


@pytest.mark.parametrize("ghi_wpm2", [0, 5, 80, 300, 600, 900])
@pytest.mark.parametrize("elevation_deg", [2, 3.5, 10, 30, 60])
def test_the_split_of_a_reading_is_that_of_pvlib(ghi_wpm2: float, elevation_deg: float) -> None:
    want = irradiance.erbs(ghi_wpm2, 90 - elevation_deg, 172)
    split = split_measured(ghi_wpm2, elevation_deg=elevation_deg, day_of_year=172)
    outside = float(irradiance.get_extra_radiation(172))
    if float(want["dni"]) > outside:
        # pvlib lets a reading brighter than any sun become beam; here it stays at the sun's own strength.
        assert split.dni_wpm2 == pytest.approx(outside)
    else:
        assert split.dni_wpm2 == pytest.approx(float(want["dni"]), abs=0.01)
        assert split.dhi_wpm2 == pytest.approx(float(want["dhi"]), abs=0.01)
