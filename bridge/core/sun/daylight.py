"""What the sun does within one local calendar day: events and the hours on a wall.

Events come from a root search over the day itself, so a day of 23 or 25 hours, a day with two sunsets
and a polar day need no special case. The horizon of sunrise and sunset is -0.8333 degrees; the sun
shines on a wall from 0 degrees.
"""

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Literal

from bridge.core.errors import RequestError
from bridge.core.sun.roots import Crossing, crossings
from bridge.core.sun.sky import (
    FIRST_YEAR,
    HORIZON_DEG,
    LAST_YEAR,
    Place,
    direction,
    position_of,
    slow_terms,
    solar_minutes,
    utc_of,
)
from bridge.core.sun.window import Facade, horizon_elevation_deg

_SAMPLE_S = 600.0

DayState = Literal["normal", "sun always up", "sun never up", "sun up at local midnight"]
Interval = tuple[datetime, datetime]


@dataclass(frozen=True, slots=True, kw_only=True)
class LocalDay:
    """One calendar day of a time zone, as an interval of UTC.

    Args:
        start_utc: Its first instant.
        end_utc: The first instant of the next day.
    """

    start_utc: datetime
    end_utc: datetime

    @property
    def hours(self) -> float:
        """Length: 24, or 23 or 25 where the clocks change."""
        return (self.end_utc - self.start_utc).total_seconds() / 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Daylight:
    """Every event of one local day, in order of time.

    Args:
        sunrise_utc: Upper limb appears; empty, one or two.
        sunset_utc: Upper limb disappears; empty, one or two.
        transit_utc: Sun on the meridian, highest but for the last few seconds.
        transit_elevation_deg: Of the centre at each transit, without refraction.
        state: The kind of day.
    """

    sunrise_utc: tuple[datetime, ...]
    sunset_utc: tuple[datetime, ...]
    transit_utc: tuple[datetime, ...]
    transit_elevation_deg: tuple[float, ...]
    state: DayState


def local_day(day: date, zone: tzinfo) -> LocalDay:
    """Return the interval of UTC in which clocks of the zone show this date.

    Raises:
        RequestError: the year is outside 1901 to 2099, or the zone skipped the date.
    """
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise RequestError(
            where="date",
            problem=f"{day} is outside {FIRST_YEAR} to {LAST_YEAR}, where the sun's formulas hold",
            remedy="ask for a date within those years",
        )
    start, end = (
        datetime.combine(d, time(), tzinfo=zone).astimezone(UTC) for d in (day, day + timedelta(days=1))
    )
    if end <= start:
        raise RequestError(
            where="date",
            problem=f"{day} does not exist in {zone}; its clocks skipped that day",
            remedy="ask for the day before or after",
        )
    return LocalDay(start_utc=start, end_utc=end)


def daylight(place: Place, day: LocalDay) -> Daylight:
    """Return sunrise, sunset and transit of one local day, at any latitude."""
    start_s, end_s = day.start_utc.timestamp(), day.end_utc.timestamp()
    level = math.sin(math.radians(HORIZON_DEG))

    def above(time_s: float) -> float:
        return direction(place, time_s)[2] - level

    found = crossings(above, start_s=start_s, end_s=end_s, step_s=_SAMPLE_S)
    transits = _transits(place, start_s, end_s)
    return Daylight(
        sunrise_utc=tuple(utc_of(event.at_s) for event in found if event.rising),
        sunset_utc=tuple(utc_of(event.at_s) for event in found if not event.rising),
        transit_utc=tuple(utc_of(at_s) for at_s in transits),
        transit_elevation_deg=tuple(position_of(direction(place, t)).elevation_deg for t in transits),
        state=_state(found, up_at_start=above(start_s) >= 0, up_at_end=above(end_s) >= 0),
    )


def _state(found: list[Crossing], *, up_at_start: bool, up_at_end: bool) -> DayState:
    if not found:
        return "sun always up" if up_at_start else "sun never up"
    return "sun up at local midnight" if up_at_start or up_at_end else "normal"


def _transits(place: Place, start_s: float, end_s: float) -> list[float]:
    """Return the times at which true solar time is noon, from start to before end."""

    def solar_days(time_s: float) -> float:
        return solar_minutes(time_s, place.longitude_deg, slow_terms(time_s)[1]) / 1440.0 - 0.5

    found = []
    for noon in range(math.ceil(solar_days(start_s)), math.ceil(solar_days(end_s))):
        at_s = start_s
        # The equation of time drifts by at most 30 s a day: each round gains three digits.
        for _ in range(4):
            at_s += (noon - solar_days(at_s)) * 86400.0
        found.append(at_s)
    return found


def sun_on_facade(place: Place, day: LocalDay, facade: Facade) -> tuple[Interval, ...]:
    """Return when the sun's centre is above 0 degrees and the horizon, and in front of the wall.

    Args:
        place: The house.
        day: The day to look at; intervals are cut at its ends.
        facade: The wall and its view.
    """
    start_s, end_s = day.start_utc.timestamp(), day.end_utc.timestamp()
    turn = math.radians(facade.azimuth_deg)
    normal_east, normal_north = math.sin(turn), math.cos(turn)

    def lit(time_s: float) -> float:
        east, north, up = direction(place, time_s)
        clear = up
        if facade.horizon:
            azimuth_deg = math.degrees(math.atan2(east, north)) % 360.0
            clear -= math.sin(math.radians(horizon_elevation_deg(facade.horizon, azimuth_deg)))
        return min(clear, up, east * normal_east + north * normal_north)

    # A profile has corners that ten minutes would step over; one minute is a quarter of a degree.
    step_s = 60.0 if facade.horizon else _SAMPLE_S
    found = crossings(lit, start_s=start_s, end_s=end_s, step_s=step_s)
    edges = [start_s] if lit(start_s) >= 0 else []
    edges += [event.at_s for event in found]
    edges += [end_s] if len(edges) % 2 else []
    pairs = zip(edges[::2], edges[1::2], strict=True)
    return tuple((utc_of(rise), utc_of(fall)) for rise, fall in pairs if fall > rise)
