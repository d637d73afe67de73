import numpy as np
import pytest

from bridge.core.errors import RequestError
from bridge.core.sun.irradiance import clear_sky
from bridge.core.sun.series import (
    clear_sky_series,
    far_series,
    hem_series,
    sun_series,
    wall_series,
)
from bridge.core.sun.sky import Place, apparent_elevation_deg, sun_at, utc_of
from bridge.core.sun.window import Facade, HorizonPoint, Opening, Overhang, angles, hem_for_depth, sun_patch

PLACE = Place(latitude_deg=47.4, longitude_deg=8.5, altitude_m=430)
# Every 17 minutes over ten days of October.
TIMES = np.arange(1_790_000_000.0, 1_790_864_000.0, 1020.0)
HORIZON = tuple(
    HorizonPoint(azimuth_deg=azimuth, elevation_deg=top)
    for azimuth, top in ((20.0, 0.0), (150.0, 5.0), (200.0, 25.0), (260.0, 8.0))
)
FACADES = [Facade(azimuth_deg=200), Facade(azimuth_deg=200, horizon=HORIZON), Facade(azimuth_deg=0)]
OPENINGS = [
    Opening(sill_m=0.9, head_m=2.1),
    Opening(sill_m=0.0, head_m=2.2, plane_m=0.75, overhang=Overhang(depth_m=0.8, height_m=2.4)),
]


@pytest.mark.parametrize("times", [TIMES, TIMES[:1], TIMES[::400]])
def test_many_instants_at_once_give_the_sun_of_each(times: np.ndarray) -> None:
    sun = sun_series(PLACE, times)
    each = [sun_at(PLACE, utc_of(float(t))) for t in times]
    assert sun.elevation_deg == pytest.approx(np.array([s.elevation_deg for s in each]), abs=1e-5)
    assert sun.azimuth_deg == pytest.approx(np.array([s.azimuth_deg for s in each]), abs=1e-4)


@pytest.mark.parametrize("facade", FACADES)
@pytest.mark.parametrize("opening", OPENINGS)
@pytest.mark.parametrize("hem_m", [None, 1.3])
def test_many_instants_at_once_give_the_window_of_each(
    facade: Facade, opening: Opening, hem_m: float | None
) -> None:
    sun = sun_series(PLACE, TIMES)
    wall = wall_series(sun, facade)
    far, hem = far_series(opening, wall, hem_m=hem_m), hem_series(opening, wall, depth_limit_m=1.0)
    for k, t in enumerate(TIMES):
        seen = angles(facade, sun_at(PLACE, utc_of(float(t))))
        assert wall.direct_sun[k] == seen.direct_sun
        assert np.isnan(wall.slope[k]) == (seen.profile_angle_deg is None)
        patch = sun_patch(opening, seen.profile_angle_deg, hem_m=hem_m)
        assert far[k] == pytest.approx(patch.far_m, rel=1e-3, abs=1e-5)
        limit = hem_for_depth(opening, seen.profile_angle_deg, depth_limit_m=1.0)
        assert hem[k] == pytest.approx(limit.hem_m, abs=1e-4)


def test_a_hem_bar_of_its_own_for_every_instant() -> None:
    wall = wall_series(sun_series(PLACE, TIMES), FACADES[0])
    hems = np.linspace(0.5, 2.5, TIMES.size)
    far = far_series(OPENINGS[0], wall, hem_m=hems)
    for k in range(0, TIMES.size, 7):
        assert far[k] == far_series(OPENINGS[0], wall, hem_m=float(hems[k]))[k]


def test_many_instants_at_once_give_the_clear_sky_of_each() -> None:
    sun = sun_series(PLACE, TIMES)
    ghi, dni, dhi = clear_sky_series(sun, altitude_m=430, turbidity=4)
    for k, t in enumerate(TIMES):
        at = utc_of(float(t))
        position = sun_at(PLACE, at)
        sky = clear_sky(
            apparent_elevation_deg(position.elevation_deg),
            day_of_year=at.timetuple().tm_yday,
            altitude_m=430,
            turbidity=4,
        )
        assert (ghi[k], dni[k], dhi[k]) == pytest.approx((sky.ghi_wpm2, sky.dni_wpm2, sky.dhi_wpm2), abs=1e-2)


@pytest.mark.parametrize("times", [[], [10.0, 5.0]])
def test_times_out_of_order_are_refused(times: list[float]) -> None:
    with pytest.raises(RequestError, match="series of times: it is empty or not in order; give at least one"):
        sun_series(PLACE, np.array(times))


def test_times_without_formulas_are_refused() -> None:
    with pytest.raises(RequestError, match="year 2100 is outside 1901 to 2099"):
        sun_series(PLACE, np.array([0.0, 4_102_444_800.0]))
