"""What walls share: clocks, light and weather, against the same reckoned for one instant."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from bridge.core.plan.outside import measured, outside_series
from bridge.core.rules.seeing import zone_of
from bridge.core.sun.irradiance import clear_sky, on_wall, split_measured
from bridge.core.sun.sky import apparent_elevation_deg, sun_at, utc_of
from bridge.core.sun.window import Facade
from tests.weather import AZORES

# The clocks there go forward at 01:00 UTC on 29 March 2026.
TIMES = datetime(2026, 3, 28, 6, tzinfo=UTC).timestamp() + np.arange(0, 2 * 86400, 1740.0)
ANY_WALL = Facade(azimuth_deg=200)


def test_the_local_week_goes_by_the_clocks_of_the_house() -> None:
    local = outside_series(AZORES, TIMES).local
    for at, minute in zip(TIMES.tolist(), local.tolist(), strict=True):
        clock = utc_of(at).astimezone(zone_of(AZORES.timezone))
        assert minute == pytest.approx(clock.weekday() * 1440 + clock.hour * 60 + clock.minute)


def test_rows_by_day_are_those_with_the_sun_above_the_horizon() -> None:
    outside = outside_series(AZORES, TIMES)
    up = [sun_at(AZORES.place, utc_of(at)).elevation_deg > 0 for at in TIMES.tolist()]
    assert 0 < sum(up) < len(up)
    assert outside.by_day.tolist() == np.flatnonzero(up).tolist()
    assert outside.sun_by_day.up.tolist() == outside.sun.up[outside.by_day].tolist()


def test_light_of_sky_and_ground_is_that_of_one_instant() -> None:
    cloudless = outside_series(AZORES, TIMES)
    grey = measured(cloudless, ghi_wpm2=np.full(TIMES.shape, 250.0))
    for row in range(0, TIMES.size, 7):
        utc = utc_of(float(TIMES[row]))
        sun, day = sun_at(AZORES.place, utc), utc.timetuple().tm_yday
        clear = clear_sky(
            apparent_elevation_deg(sun.elevation_deg), day_of_year=day, altitude_m=AZORES.place.altitude_m
        )
        split = split_measured(250.0, elevation_deg=sun.elevation_deg, day_of_year=day)
        for found, sky in ((cloudless, clear), (grey, split)):
            falls = on_wall(sky, sun=sun, facade=ANY_WALL)
            diffuse = falls.sky_diffuse_wpm2 + falls.ground_wpm2
            assert found.diffuse_wpm2[row] == pytest.approx(diffuse, rel=1e-3, abs=0.05)
            assert found.dni_wpm2[row] == pytest.approx(sky.dni_wpm2, rel=1e-3, abs=0.5)


def test_a_reading_that_is_left_out_is_not_fitted() -> None:
    outside = measured(outside_series(AZORES, TIMES, outdoor_c=np.full(TIMES.shape, 12.0)), wind_mps=TIMES)
    assert np.isnan(outside.gust_mps).all()
    assert outside.outdoor_c.tolist() == [12.0] * TIMES.size
