import math

import pytest

from bridge.core.errors import RequestError
from bridge.core.sun.irradiance import (
    DARK,
    Irradiance,
    air_mass,
    clear_sky,
    clearness,
    extraterrestrial_wpm2,
    on_wall,
    relative_pressure,
    split_measured,
)
from bridge.core.sun.sky import SunPosition
from bridge.core.sun.window import Facade, HorizonPoint

SOUTH = Facade(azimuth_deg=180)


def test_the_earth_is_nearest_to_the_sun_in_january() -> None:
    year = {day: extraterrestrial_wpm2(day) for day in range(1, 367)}
    assert max(year, key=lambda day: year[day]) < 10
    assert min(year, key=lambda day: year[day]) == pytest.approx(185, abs=5)


def test_the_air_overhead_counts_one() -> None:
    assert air_mass(90) == pytest.approx(1.0, abs=0.001)


def test_half_the_air_is_below_five_and_a_half_kilometres() -> None:
    assert relative_pressure(5500) == pytest.approx(0.5, abs=0.01)
    assert relative_pressure(0) == pytest.approx(1, abs=1e-6)


@pytest.mark.parametrize("elevation", [None, 0.0, -0.3])
def test_the_night_is_dark(elevation: float | None) -> None:
    assert clear_sky(elevation, day_of_year=1) == DARK


@pytest.mark.parametrize("elevation_deg", [0.01, 1, 10, 45, 90])
def test_the_parts_of_a_clear_sky_add_up(elevation_deg: float) -> None:
    sky = clear_sky(elevation_deg, day_of_year=172)
    vertical = sky.dni_wpm2 * math.sin(math.radians(elevation_deg))
    assert sky.ghi_wpm2 == pytest.approx(vertical + sky.dhi_wpm2)
    assert min(sky.ghi_wpm2, sky.dni_wpm2, sky.dhi_wpm2) >= 0


@pytest.mark.parametrize("turbidity", [0.9, 11, float("nan")])
def test_a_turbidity_that_no_sky_has_is_refused(turbidity: float) -> None:
    with pytest.raises(RequestError, match=r"^turbidity: .* give the Linke turbidity"):
        clear_sky(30, day_of_year=1, turbidity=turbidity)


@pytest.mark.parametrize("ghi_wpm2", [-1, 2001, float("nan"), float("inf")])
def test_an_absurd_reading_is_refused(ghi_wpm2: float) -> None:
    with pytest.raises(RequestError, match=r"^irradiance: .* check the sensor and its unit"):
        split_measured(ghi_wpm2, elevation_deg=30, day_of_year=1)


@pytest.mark.parametrize(("elevation_deg", "has_beam"), [(-10, False), (2.9, False), (3.0, True)])
def test_a_low_sun_has_no_measured_beam(elevation_deg: float, has_beam: bool) -> None:
    assert (split_measured(50, elevation_deg=elevation_deg, day_of_year=1).dni_wpm2 > 0) is has_beam


@pytest.mark.parametrize("ghi_wpm2", [0, 100, 140, 141, 500, 550, 560, 700])
def test_a_split_adds_up_to_the_reading(ghi_wpm2: float) -> None:
    sky = split_measured(ghi_wpm2, elevation_deg=30, day_of_year=80)
    assert sky.dhi_wpm2 + sky.dni_wpm2 / 2 == pytest.approx(ghi_wpm2)
    assert sky.ghi_wpm2 == ghi_wpm2


def test_the_split_has_no_jump_where_its_formulas_meet() -> None:
    full = 0.5 * extraterrestrial_wpm2(80)
    for edge in (0.22, 0.8):
        below, above = (
            split_measured(full * edge * factor, elevation_deg=30, day_of_year=80)
            for factor in (0.999999, 1.000001)
        )
        assert below.dhi_wpm2 == pytest.approx(above.dhi_wpm2, rel=0.01)


def test_a_bright_cloud_adds_no_beam_beyond_that_above_the_air() -> None:
    sky = split_measured(1500, elevation_deg=5, day_of_year=80)
    assert sky.dni_wpm2 == extraterrestrial_wpm2(80)


def test_a_low_sun_does_not_blow_up_the_clearness() -> None:
    assert clearness(10, elevation_deg=0, day_of_year=80) == clearness(10, elevation_deg=-20, day_of_year=80)


SKY = Irradiance(ghi_wpm2=600, dni_wpm2=700, dhi_wpm2=150)


def test_an_obstruction_takes_the_beam_and_leaves_the_rest() -> None:
    sun = SunPosition(elevation_deg=20, azimuth_deg=180)
    hidden = Facade(azimuth_deg=180, horizon=(HorizonPoint(azimuth_deg=180, elevation_deg=30),))
    free, shaded = (on_wall(SKY, sun=sun, facade=facade) for facade in (SOUTH, hidden))
    assert free.beam_wpm2 == pytest.approx(700 * math.cos(math.radians(20)))
    assert shaded.beam_wpm2 == 0
    assert shaded.total_wpm2 == free.total_wpm2 - free.beam_wpm2 == 75 + 60


@pytest.mark.parametrize("albedo", [-0.1, 1.1])
def test_ground_that_reflects_more_than_all_is_refused(albedo: float) -> None:
    with pytest.raises(RequestError, match=r"^albedo: .* is outside 0 to 1; give the share"):
        on_wall(SKY, sun=SunPosition(elevation_deg=20, azimuth_deg=0), facade=SOUTH, albedo=albedo)
