"""The weather at the demo house, and who sits in its study: invented, and the same at the same instant.

Clouds pass, the wind breathes, the sun is where it is. Nothing here knows a broker.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from math import pi, sin

from bridge.core.sun.irradiance import clear_sky
from bridge.core.sun.sky import Place, apparent_elevation_deg, sun_at

PLACE = Place(latitude_deg=47.2, longitude_deg=-8.5)
# Local solar time is UTC less this.
BEHIND_H = 0.57
AT_THE_DESK_H = (8.0, 18.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Roof:
    """What the station on the roof reads.

    Attributes:
        gust_mps: Strongest wind since its last message.
        sun_wpm2: Irradiance on level ground.
        rain_mmph: Rain.
        air_c: Temperature.
    """

    gust_mps: float
    sun_wpm2: float
    rain_mmph: float
    air_c: float


def roof_at(at: datetime, *, squall_mps: float = 0.0) -> Roof:
    """Return what the station reads at an instant.

    Args:
        at: Aware UTC.
        squall_mps: A gust on top of the ordinary wind.
    """
    seconds, hour = at.timestamp(), _solar_hour(at)
    sun = sun_at(PLACE, at)
    clear = clear_sky(
        apparent_elevation_deg(sun.elevation_deg), day_of_year=at.timetuple().tm_yday, altitude_m=0.0
    )
    clouds = 0.3 * max(0.0, sin(2 * pi * seconds / 5400)) + 0.1 * max(0.0, sin(2 * pi * seconds / 700))
    season_c = 13.0 + 6.0 * sin(2 * pi * (at.timetuple().tm_yday - 115) / 365)
    return Roof(
        gust_mps=round(4.0 + 1.5 * sin(2 * pi * seconds / 240) + 0.4 * sin(seconds / 3) + squall_mps, 1),
        sun_wpm2=round(clear.ghi_wpm2 * (1.0 - clouds), 0),
        rain_mmph=0.0,
        air_c=round(season_c + 3.5 * sin(2 * pi * (hour - 9) / 24), 1),
    )


def at_the_desk(at: datetime) -> bool:
    """Say whether somebody sits in the study."""
    begins, ends = AT_THE_DESK_H
    return begins <= _solar_hour(at) < ends


def _solar_hour(at: datetime) -> float:
    return (at.hour + at.minute / 60 - BEHIND_H) % 24
