"""Where the sun stands, seen from a place at an instant.

The slow terms (declination, equation of time) are astral's. The turn to the local horizon is done
here with vectors, because astral's own clamps latitudes at 89.8 degrees, loses the azimuth near the
zenith and ignores fractions of a second. Elevations are of the sun's centre, without refraction;
refraction is a separate step. Times are aware; a naive time is refused.
"""

import math
from dataclasses import dataclass
from datetime import UTC, datetime

from astral.sun import eq_of_time, sun_declination

from bridge.core.errors import RequestError
from bridge.core.sun.checked import within

# The NOAA formulas behind astral state their accuracy for these years.
FIRST_YEAR, LAST_YEAR = 1901, 2099
# Sun's radius 0.26667 and refraction at the horizon 0.5667 (Reda and Andreas 2004, 3.11.2).
HORIZON_DEG = -0.8333
LOWEST_REFRACTED_DEG = -(0.26667 + 0.5667)
_DAY_MIN = 1440.0

Vector = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A point on the ground.

    Args:
        latitude_deg: North positive, -90 to 90.
        longitude_deg: East positive, -180 to 180.
        altitude_m: Above sea level; thins the air of the clear sky, does not move the sun.

    Raises:
        RequestError: a value is outside its range.
    """

    latitude_deg: float
    longitude_deg: float
    altitude_m: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is not on the ground."""
        within(self.latitude_deg, where="latitude", low=-90, high=90, unit="degrees",
               remedy="give degrees, north positive, south negative")  # fmt: skip
        within(self.longitude_deg, where="longitude", low=-180, high=180, unit="degrees",
               remedy="give degrees, east positive, west negative")  # fmt: skip
        within(self.altitude_m, where="altitude", low=-500, high=9000, unit="m",
               remedy="give metres above sea level")  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class SunPosition:
    """Direction of the sun's centre.

    Args:
        elevation_deg: Above the horizon, without refraction, -90 to 90.
        azimuth_deg: Clockwise from true north, 0 to 360.

    Raises:
        RequestError: a value is outside its range.
    """

    elevation_deg: float
    azimuth_deg: float

    def __post_init__(self) -> None:
        """Refuse what is not a direction."""
        within(self.elevation_deg, where="sun elevation", low=-90, high=90, unit="degrees",
               remedy="give degrees above the horizon, negative below it")  # fmt: skip
        within(self.azimuth_deg, where="sun azimuth", low=0, high=360, unit="degrees",
               remedy="give degrees clockwise from true north; east is 90, west 270")  # fmt: skip


def epoch_s(at: datetime) -> float:
    """Return seconds since 1970-01-01T00:00:00Z.

    Raises:
        RequestError: the time is naive, or its year is outside 1901 to 2099.
    """
    if at.tzinfo is None or at.utcoffset() is None:
        raise RequestError(
            where="time",
            problem=f"{at.isoformat()} has no offset from UTC",
            remedy="add one, for example Z or +02:00",
        )
    if not FIRST_YEAR <= at.year <= LAST_YEAR:
        raise RequestError(
            where="time",
            problem=f"year {at.year} is outside {FIRST_YEAR} to {LAST_YEAR}, where the sun's formulas hold",
            remedy="ask for a year within that range",
        )
    return at.timestamp()


def utc_of(time_s: float) -> datetime:
    """Return the aware UTC time of seconds since 1970."""
    return datetime.fromtimestamp(time_s, tz=UTC)


def century(time_s: float) -> float:
    """Return Julian centuries since J2000.0, of seconds since 1970."""
    return (time_s / 86400.0 + 2440587.5 - 2451545.0) / 36525.0


def slow_terms(time_s: float) -> tuple[float, float]:
    """Return the sun's declination in degrees and the equation of time in minutes.

    Source:
        astral, after the NOAA solar calculations (Meeus, Astronomical Algorithms, low precision).
    """
    t = century(time_s)
    return sun_declination(t), eq_of_time(t)


def solar_minutes(time_s: float, longitude_deg: float, eot_min: float) -> float:
    """Return true solar time in minutes since 1970, not wrapped; 720 modulo 1440 at transit."""
    return time_s / 60.0 + eot_min + 4.0 * longitude_deg


def direction(place: Place, time_s: float) -> Vector:
    """Return the unit vector towards the sun's centre as (east, north, up).

    Args:
        place: The observer.
        time_s: Seconds since 1970, UTC.
    """
    declination_deg, eot_min = slow_terms(time_s)
    turn_min = solar_minutes(time_s, place.longitude_deg, eot_min) % _DAY_MIN
    hour_angle = math.radians(turn_min / 4.0 - 180.0)
    declination, latitude = math.radians(declination_deg), math.radians(place.latitude_deg)
    cos_d, sin_d, cos_h = math.cos(declination), math.sin(declination), math.cos(hour_angle)
    cos_l, sin_l = math.cos(latitude), math.sin(latitude)
    return (
        -cos_d * math.sin(hour_angle),
        sin_d * cos_l - cos_d * cos_h * sin_l,
        sin_d * sin_l + cos_d * cos_h * cos_l,
    )


def position_of(towards: Vector) -> SunPosition:
    """Return elevation and azimuth of a unit vector (east, north, up)."""
    east, north, up = towards
    azimuth_deg = math.degrees(math.atan2(east, north)) % 360.0
    return SunPosition(
        elevation_deg=math.degrees(math.atan2(up, math.hypot(east, north))), azimuth_deg=azimuth_deg
    )


def sun_at(place: Place, at: datetime) -> SunPosition:
    """Return the position of the sun's centre, without refraction.

    Within 0.02 degrees of the Solar Position Algorithm from 2020 to 2035.

    Args:
        place: The observer.
        at: An aware time of any offset.

    Raises:
        RequestError: the time is naive, or its year is outside 1901 to 2099.
    """
    return position_of(direction(place, epoch_s(at)))


def apparent_elevation_deg(
    elevation_deg: float, *, pressure_hpa: float = 1013.25, temperature_c: float = 12.0
) -> float | None:
    """Return the elevation as seen through the air, or None when no part of the sun is visible.

    Args:
        elevation_deg: Of the centre, without refraction.
        pressure_hpa: At the place; the mean for the year is enough.
        temperature_c: At the place; the mean for the year is enough.

    Source:
        Reda and Andreas, Solar Position Algorithm for Solar Radiation Applications,
        NREL/TP-560-34302, 2008, equation 42.
    """
    if elevation_deg < LOWEST_REFRACTED_DEG:
        return None
    bend_min = 1.02 / math.tan(math.radians(elevation_deg + 10.3 / (elevation_deg + 5.11)))
    return elevation_deg + pressure_hpa / 1010.0 * 283.0 / (273.0 + temperature_c) * bend_min / 60.0
