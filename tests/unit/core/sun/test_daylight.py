from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from bridge.core.errors import RequestError
from bridge.core.sun.daylight import daylight, local_day, sun_on_facade
from bridge.core.sun.sky import Place
from bridge.core.sun.window import Facade, HorizonPoint

LONDON = Place(latitude_deg=51.5, longitude_deg=-0.13)
NORTH_CAPE = Place(latitude_deg=71.0, longitude_deg=25.8)


def day(text: str, zone: str = "UTC") -> tuple[datetime, datetime]:
    found = local_day(date.fromisoformat(text), ZoneInfo(zone))
    return found.start_utc, found.end_utc


@pytest.mark.parametrize(
    ("text", "zone", "hours"),
    [
        ("2025-03-30", "Europe/London", 23),
        ("2025-10-26", "Europe/London", 25),
        ("2025-06-01", "Europe/London", 24),
        # Clocks that jump at midnight itself: the day begins at one.
        ("2025-09-07", "America/Santiago", 23),
        ("2025-04-05", "America/Santiago", 25),
        # Half an hour.
        ("2025-10-05", "Australia/Lord_Howe", 23.5),
    ],
)
def test_a_calendar_day_has_the_hours_of_its_clocks(text: str, zone: str, hours: float) -> None:
    assert local_day(date.fromisoformat(text), ZoneInfo(zone)).hours == hours


def test_a_date_that_the_zone_skipped_is_refused() -> None:
    with pytest.raises(RequestError, match="2011-12-30 does not exist in Pacific/Apia"):
        day("2011-12-30", "Pacific/Apia")


@pytest.mark.parametrize("text", ["1900-12-31", "2100-01-01", "9999-12-31", "0001-01-01"])
def test_a_date_without_formulas_is_refused(text: str) -> None:
    with pytest.raises(RequestError, match=f"{text} is outside 1901 to 2099"):
        day(text)


@pytest.mark.parametrize("text", ["1901-01-01", "2099-12-31"])
def test_the_first_and_last_date_work(text: str) -> None:
    events = daylight(LONDON, local_day(date.fromisoformat(text), ZoneInfo("Pacific/Auckland")))
    assert len(events.transit_utc) == 1


@pytest.mark.parametrize(
    ("text", "rises", "sets", "state"),
    [
        ("2026-03-20", 1, 1, "normal"),
        ("2026-05-12", 1, 0, "sun up at local midnight"),
        ("2026-06-21", 0, 0, "sun always up"),
        ("2026-08-01", 1, 2, "sun up at local midnight"),
        ("2026-12-21", 0, 0, "sun never up"),
    ],
)
def test_polar_days_have_a_state(text: str, rises: int, sets: int, state: str) -> None:
    events = daylight(NORTH_CAPE, local_day(date.fromisoformat(text), ZoneInfo("Europe/Oslo")))
    assert (len(events.sunrise_utc), len(events.sunset_utc), events.state) == (rises, sets, state)


def test_where_clocks_run_late_the_sun_sets_before_it_rises() -> None:
    reykjavik = Place(latitude_deg=64.15, longitude_deg=-21.94)
    events = daylight(reykjavik, local_day(date(2026, 6, 21), ZoneInfo("Atlantic/Reykjavik")))
    assert events.sunset_utc < events.sunrise_utc
    assert events.state == "sun up at local midnight"


def test_rises_and_sets_alternate_over_a_summer() -> None:
    first = date(2026, 5, 1)
    days = [
        daylight(NORTH_CAPE, local_day(first + timedelta(days=k), ZoneInfo("Europe/Oslo")))
        for k in range(105)
    ]
    rises = [at for events in days for at in events.sunrise_utc]
    sets = [at for events in days for at in events.sunset_utc]
    assert len(rises) == len(sets)
    assert all(rise < fall for rise, fall in zip(rises, sets, strict=True))
    assert all(fall < rise for fall, rise in zip(sets, rises[1:], strict=False))


def test_a_day_of_23_hours_may_miss_the_transit_and_one_of_25_hold_two() -> None:
    zone = ZoneInfo("Europe/London")

    def transits(day: date) -> set[int]:
        places = [Place(latitude_deg=10, longitude_deg=longitude) for longitude in range(-180, 181, 5)]
        return {len(daylight(place, local_day(day, zone)).transit_utc) for place in places}

    assert transits(date(2026, 3, 29)) == {0, 1}
    assert transits(date(2026, 6, 1)) == {1}
    assert transits(date(2026, 10, 25)) == {1, 2}


def test_the_north_side_has_sun_morning_and_evening_in_summer() -> None:
    span = local_day(date(2026, 6, 21), ZoneInfo("Europe/London"))
    assert len(sun_on_facade(LONDON, span, Facade(azimuth_deg=0))) == 2


def test_sun_that_lasts_over_midnight_is_cut_at_the_ends_of_the_day() -> None:
    span = local_day(date(2026, 6, 21), ZoneInfo("Europe/Oslo"))
    spans = sun_on_facade(NORTH_CAPE, span, Facade(azimuth_deg=0))
    assert spans[0][0] == span.start_utc
    assert spans[-1][1] == span.end_utc


def test_a_wall_without_sun_has_no_hours() -> None:
    span = local_day(date(2026, 12, 21), ZoneInfo("Europe/London"))
    assert sun_on_facade(LONDON, span, Facade(azimuth_deg=0)) == ()


def test_a_tower_cuts_the_hours_in_two() -> None:
    span = local_day(date(2026, 3, 20), UTC)
    corners = ((170.0, 0.0), (170.1, 60.0), (190.0, 60.0), (190.1, 0.0))
    tower = tuple(HorizonPoint(azimuth_deg=azimuth, elevation_deg=top) for azimuth, top in corners)
    (whole,) = sun_on_facade(LONDON, span, Facade(azimuth_deg=180))
    before, after = sun_on_facade(LONDON, span, Facade(azimuth_deg=180, horizon=tower))
    assert abs((before[0] - whole[0]).total_seconds()) < 1
    assert abs((after[1] - whole[1]).total_seconds()) < 1
    # At noon of the equinox the azimuth runs at 15 / sin(51.5) degrees an hour: 20 degrees in 63 minutes.
    assert (after[0] - before[1]).total_seconds() / 60 == pytest.approx(63, abs=2)


@pytest.mark.parametrize("azimuth_deg", [170.0, 171.1, 172.3, 173.4, 180.0, 184.7])
def test_a_chimney_of_a_degree_is_not_stepped_over(azimuth_deg: float) -> None:
    span = local_day(date(2026, 3, 20), UTC)
    edges = ((0.0, 0.0), (0.1, 60.0), (1.1, 60.0), (1.2, 0.0))
    chimney = tuple(HorizonPoint(azimuth_deg=azimuth_deg + turn, elevation_deg=top) for turn, top in edges)
    before, after = sun_on_facade(LONDON, span, Facade(azimuth_deg=180, horizon=chimney))
    assert 180 < (after[0] - before[1]).total_seconds() < 240
