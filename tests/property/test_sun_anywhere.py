"""The sun at any place and on any date: no exception, one sun for both paths, events that make sense."""

import math
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from astral import Observer
from astral.sun import zenith_and_azimuth
from hypothesis import assume, example, given
from hypothesis import strategies as st

from bridge.core.errors import RequestError
from bridge.core.sun.daylight import LocalDay, daylight, local_day, sun_on_facade
from bridge.core.sun.series import far_series, sun_series, wall_series
from bridge.core.sun.sky import HORIZON_DEG, Place, direction, position_of, sun_at
from bridge.core.sun.window import (
    Facade,
    HorizonPoint,
    Opening,
    angles,
    hem_for_depth,
    horizon_elevation_deg,
    sun_patch,
)

# Whole hours and quarters, both sides of the date line, clocks that change at midnight or by half an hour.
ZONES = (
    "UTC", "Europe/London", "America/New_York", "America/St_Johns", "America/Havana", "America/Santiago",
    "Asia/Kathmandu", "Asia/Kolkata", "Asia/Gaza", "Australia/Lord_Howe", "Pacific/Chatham", "Pacific/Apia",
    "Pacific/Kiritimati", "Pacific/Fiji", "Pacific/Niue", "Etc/GMT+12", "Etc/GMT-14", "Antarctica/Troll",
    "Arctic/Longyearbyen", "Africa/Casablanca", "Asia/Pyongyang", "America/Caracas",
)  # fmt: skip
FIRST, LAST = date(2020, 1, 1), date(2035, 12, 31)

latitudes = st.one_of(
    st.floats(-90, 90), st.sampled_from([-90.0, -66.6, -66.5, 0.0, 65.7, 66.5, 67.4, 89.9, 90.0])
)
longitudes = st.one_of(st.floats(-180, 180), st.sampled_from([-180.0, 0.0, 180.0]))
places = st.builds(lambda lat, lon: Place(latitude_deg=lat, longitude_deg=lon), latitudes, longitudes)
dates = st.dates(FIRST, LAST)
instants = st.datetimes(datetime(2020, 1, 1), datetime(2035, 12, 31), timezones=st.just(UTC))  # noqa: DTZ001  the strategy adds the zone
azimuths = st.floats(0, 360)


def apart_deg(one: tuple[float, float, float], other: tuple[float, float, float]) -> float:
    return math.degrees(2 * math.asin(min(1.0, math.dist(one, other) / 2)))


def towards(elevation_deg: float, azimuth_deg: float) -> tuple[float, float, float]:
    elevation, azimuth = math.radians(elevation_deg), math.radians(azimuth_deg)
    level = math.cos(elevation)
    return level * math.sin(azimuth), level * math.cos(azimuth), math.sin(elevation)


@given(place=places, day=dates, zone=st.sampled_from(ZONES), facade_deg=azimuths)
@example(place=Place(latitude_deg=90, longitude_deg=0), day=date(2026, 3, 18), zone="UTC", facade_deg=0)
@example(
    place=Place(latitude_deg=-90, longitude_deg=180), day=date(2026, 9, 20), zone="Etc/GMT-14", facade_deg=1
)
@example(
    place=Place(latitude_deg=43.83, longitude_deg=87.62), day=date(2025, 3, 28), zone="UTC", facade_deg=2
)
def test_any_day_anywhere_has_events_that_make_sense(
    place: Place, day: date, zone: str, facade_deg: float
) -> None:
    span = local_day(day, ZoneInfo(zone))
    events = daylight(place, span)
    for at in (*events.sunrise_utc, *events.sunset_utc):
        assert span.start_utc <= at <= span.end_utc
        assert abs(sun_at(place, at).elevation_deg - HORIZON_DEG) < 0.001
    assert abs(len(events.sunrise_utc) - len(events.sunset_utc)) <= 1
    for at in events.transit_utc:
        # On the meridian: to the north or the south, not beside it.
        assert abs(direction(place, at.timestamp())[0]) < 1e-6
    assert_shining(place, span, facade_deg)


def assert_shining(place: Place, span: LocalDay, facade_deg: float) -> None:
    facade = Facade(azimuth_deg=facade_deg)
    previous = span.start_utc
    for start, end in sun_on_facade(place, span, facade):
        assert previous <= start < end <= span.end_utc
        middle = start + (end - start) / 2
        if end - start > timedelta(seconds=10):
            assert angles(facade, sun_at(place, middle)).direct_sun
        previous = end


@given(place=places, day=dates, zone=st.sampled_from(ZONES))
def test_two_days_hold_the_events_of_both(place: Place, day: date, zone: str) -> None:
    one, other = (local_day(d, ZoneInfo(zone)) for d in (day, day + timedelta(days=1)))
    assert one.end_utc == other.start_utc
    whole = daylight(place, LocalDay(start_utc=one.start_utc, end_utc=other.end_utc))
    parts = [daylight(place, part) for part in (one, other)]
    for kind in ("sunrise_utc", "sunset_utc", "transit_utc"):
        joined = [at for part in parts for at in getattr(part, kind)]
        assert len(joined) == len(getattr(whole, kind))


@given(place=places, at=instants)
def test_the_sun_is_that_of_astral_where_astral_is_well(place: Place, at: datetime) -> None:
    assume(abs(place.latitude_deg) < 89.8)
    at = at.replace(microsecond=0)
    observer = Observer(place.latitude_deg, place.longitude_deg)
    zenith_deg, azimuth_deg = zenith_and_azimuth(observer, at, with_refraction=False)
    ours = direction(place, at.timestamp())
    assert 90 - zenith_deg == pytest.approx(position_of(ours).elevation_deg, abs=1e-5)
    # astral gives up the azimuth where cos(latitude) times sin(zenith) is small.
    if math.cos(math.radians(place.latitude_deg)) * math.sin(math.radians(zenith_deg)) > 0.0011:
        assert apart_deg(towards(90 - zenith_deg, azimuth_deg), ours) < 1e-4


@given(place=places, at=instants, seconds=st.floats(1, 3e7), count=st.integers(1, 50))
def test_both_paths_see_one_sun(place: Place, at: datetime, seconds: float, count: int) -> None:
    assume(at.timestamp() + seconds < 4e9)
    times = np.linspace(at.timestamp(), at.timestamp() + seconds, count)
    sun = sun_series(place, times)
    for k, time_s in enumerate(times):
        vector = (float(sun.east[k]), float(sun.north[k]), float(sun.up[k]))
        assert apart_deg(vector, direction(place, float(time_s))) < 1e-5


@given(
    place=places,
    at=instants,
    facade_deg=azimuths,
    tops=st.lists(st.floats(0, 60), max_size=6),
    hem_m=st.floats(0, 3),
)
def test_both_paths_see_one_patch_of_sun(
    place: Place, at: datetime, facade_deg: float, tops: list[float], hem_m: float
) -> None:
    corners = [HorizonPoint(azimuth_deg=60.0 * k, elevation_deg=top) for k, top in enumerate(tops)]
    facade, opening = Facade(azimuth_deg=facade_deg, horizon=tuple(corners)), Opening(sill_m=0.9, head_m=2.1)
    sun = sun_at(place, at)
    seen = angles(facade, sun)
    wall = wall_series(sun_series(place, np.array([at.timestamp()])), facade)
    # At a grazing sun rounding decides; neither answer is wrong.
    assume(abs(seen.incidence_deg - 90) > 1e-3)
    assume(abs(seen.shadow_angle_deg) < 89.999 or abs(seen.shadow_angle_deg) > 90.001)
    grazed_deg = horizon_elevation_deg(facade.horizon, sun.azimuth_deg)
    assume(abs(sun.elevation_deg - grazed_deg) > 1e-3)
    assert bool(wall.direct_sun[0]) == seen.direct_sun
    patch = sun_patch(opening, seen.profile_angle_deg, hem_m=hem_m)
    assert float(far_series(opening, wall, hem_m=hem_m)[0]) == pytest.approx(patch.far_m, rel=1e-3, abs=1e-6)


@given(
    profile_deg=st.floats(0.01, 89.99),
    sill_m=st.floats(0, 2),
    height_m=st.floats(0.1, 3),
    plane_m=st.floats(0, 1),
    limit_m=st.floats(0, 10),
)
def test_the_hem_bar_keeps_its_limit_and_no_more(
    profile_deg: float, sill_m: float, height_m: float, plane_m: float, limit_m: float
) -> None:
    opening = Opening(sill_m=sill_m, head_m=sill_m + height_m, plane_m=plane_m)
    limit = hem_for_depth(opening, profile_deg, depth_limit_m=limit_m)
    assert sun_patch(opening, profile_deg, hem_m=limit.hem_m).far_m <= limit_m + 1e-9
    if limit.state == "partial":
        higher = sun_patch(opening, profile_deg, hem_m=limit.hem_m + 0.001)
        assert higher.far_m > limit_m
    assert 0 <= limit.open_pct <= 100


def answer_to(zone: str, day: date) -> float | str:
    try:
        return local_day(day, ZoneInfo(zone)).hours
    except RequestError as refusal:
        return refusal.problem


@given(zone=st.sampled_from(ZONES), day=st.dates())
@example(zone="Pacific/Apia", day=date(2011, 12, 30))
def test_every_date_is_answered_or_refused(zone: str, day: date) -> None:
    answer = answer_to(zone, day)
    if not 1901 <= day.year <= 2099:
        assert answer == f"{day} is outside 1901 to 2099, where the sun's formulas hold"
    elif isinstance(answer, str):
        assert f"{day} does not exist in {zone}" in answer
    else:
        assert 20 <= answer <= 48
