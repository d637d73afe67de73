import math
from datetime import UTC, datetime, timedelta, timezone

import pytest

from bridge.core.errors import RequestError
from bridge.core.sun.sky import (
    Place,
    SunPosition,
    apparent_elevation_deg,
    century,
    direction,
    epoch_s,
    position_of,
    slow_terms,
    solar_minutes,
    sun_at,
    utc_of,
)

NOON = datetime(2026, 6, 21, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "altitude_m", "named"),
    [
        (90.1, 0, 0, "latitude: 90.1 is outside -90 to 90 degrees"),
        (0, -180.5, 0, "longitude: -180.5 is outside -180 to 180 degrees"),
        (0, 0, 10_000, "altitude: 10000 is outside -500 to 9000 m"),
    ],
)
def test_a_place_off_the_ground_is_refused(
    latitude_deg: float, longitude_deg: float, altitude_m: float, named: str
) -> None:
    with pytest.raises(RequestError, match=named):
        Place(latitude_deg=latitude_deg, longitude_deg=longitude_deg, altitude_m=altitude_m)


@pytest.mark.parametrize(
    ("elevation_deg", "azimuth_deg", "named"),
    [(91, 0, "sun elevation: 91"), (0, 361, "sun azimuth: 361"), (0, -1, "sun azimuth: -1")],
)
def test_a_direction_that_is_none_is_refused(elevation_deg: float, azimuth_deg: float, named: str) -> None:
    with pytest.raises(RequestError, match=named):
        SunPosition(elevation_deg=elevation_deg, azimuth_deg=azimuth_deg)


def test_a_naive_time_is_refused() -> None:
    with pytest.raises(RequestError, match="2026-06-21T12:00:00 has no offset from UTC; add one"):
        epoch_s(NOON.replace(tzinfo=None))


@pytest.mark.parametrize("year", [1900, 2100])
def test_a_year_without_formulas_is_refused(year: int) -> None:
    with pytest.raises(RequestError, match=f"year {year} is outside 1901 to 2099"):
        epoch_s(datetime(year, 1, 1, tzinfo=UTC))


def test_seconds_and_times_go_round() -> None:
    assert utc_of(epoch_s(NOON)) == NOON


def test_the_century_counts_from_noon_of_the_year_2000() -> None:
    assert century(epoch_s(datetime(2000, 1, 1, 12, tzinfo=UTC))) == 0.0


def test_the_declination_turns_at_the_solstice() -> None:
    declination_deg, eot_min = slow_terms(epoch_s(NOON))
    assert declination_deg == pytest.approx(23.44, abs=0.01)
    # Almanacs give about -1.9 minutes for 21 June (common knowledge).
    assert eot_min == pytest.approx(-1.9, abs=0.1)


def test_true_solar_time_runs_ahead_in_the_east() -> None:
    assert solar_minutes(600.0, 15.0, 2.0) == 10.0 + 60.0 + 2.0


def test_the_direction_has_unit_length() -> None:
    towards = direction(Place(latitude_deg=51.5, longitude_deg=0), epoch_s(NOON))
    assert math.hypot(*towards) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("towards", "elevation_deg", "azimuth_deg"),
    [((0, 1, 0), 0, 0), ((1, 0, 0), 0, 90), ((0, -1, 0), 0, 180), ((-1, 0, 0), 0, 270), ((0, 0, 1), 90, 0)],
)
def test_azimuth_runs_clockwise_from_north(
    towards: tuple[float, float, float], elevation_deg: float, azimuth_deg: float
) -> None:
    assert position_of(towards) == SunPosition(elevation_deg=elevation_deg, azimuth_deg=azimuth_deg)


def test_every_offset_of_one_instant_gives_one_sun() -> None:
    place = Place(latitude_deg=-18.1, longitude_deg=178.4)
    local = NOON.astimezone(timezone(timedelta(hours=13)))
    assert sun_at(place, local) == sun_at(place, NOON)


def test_at_the_pole_the_sun_stands_as_high_as_its_declination() -> None:
    pole = Place(latitude_deg=90, longitude_deg=0)
    assert sun_at(pole, NOON).elevation_deg == pytest.approx(slow_terms(epoch_s(NOON))[0], abs=1e-9)


def test_the_sun_moves_within_a_second() -> None:
    place = Place(latitude_deg=0, longitude_deg=0)
    before, after = (sun_at(place, NOON + timedelta(hours=4, seconds=s)) for s in (0.0, 0.5))
    assert before.elevation_deg - after.elevation_deg > 0.001


def test_the_air_lifts_a_low_sun_by_about_half_a_degree() -> None:
    # 34 minutes of arc at the horizon, common to almanacs.
    lifted = apparent_elevation_deg(-0.5)
    assert lifted is not None
    assert lifted + 0.5 == pytest.approx(34 / 60, abs=0.07)


@pytest.mark.parametrize("elevation_deg", [-0.834, -5.11, -10.0, -90.0])
def test_a_sun_below_the_horizon_has_no_apparent_place(elevation_deg: float) -> None:
    assert apparent_elevation_deg(elevation_deg) is None


def test_thin_air_bends_less() -> None:
    dense, thin = apparent_elevation_deg(5), apparent_elevation_deg(5, pressure_hpa=820, temperature_c=11)
    assert dense is not None
    assert thin is not None
    assert 5 < thin < dense
