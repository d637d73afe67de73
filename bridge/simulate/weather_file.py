"""A weather year from a file of the user's, minute by minute: TMY3 or EPW, read by pvlib.

Irradiance is taken as even within each hour of the file, in its direct and diffuse parts; temperature is
linear between the hours; wind stands for the hour. Gusts are not in such files; who needs them
reckons them from the mean.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bridge.core.errors import RequestError
from bridge.core.sun.sky import Place

Floats = NDArray[np.float64]
COLUMNS = ("dni", "dhi", "temp_air", "wind_speed")
# Depth, the hours it fell in, and millimetres a unit. Both are told in millimetres by pvlib's `read_epw` and
# `read_tmy3`, after the formats' manuals; but in TMY3 files one, two, three tips of a gauge (0.254 mm each)
# stand as 3, 5, 8: tenths.
RAIN = (
    ("liquid_precipitation_depth", "liquid_precipitation_quantity", 1.0),
    ("Lprecip depth (mm)", "Lprecip quantity (hr)", 0.1),
)
MOST_RAIN_MM = 400.0
LONGEST_RAIN_H = 24
HOURS = 8760
# Not a leap year; the file's own years are mixed.
YEAR = 2025


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WeatherYear:
    """A year of weather; arrays of shape (525600,).

    Attributes:
        name: What the file calls its place.
        place: Where it was measured.
        offset_h: Its clock ahead of UTC.
        utc_s: Seconds since 1970, of the year `YEAR`.
        dni_wpm2: Direct sunlight, square to it.
        dhi_wpm2: From the rest of the sky, on level ground.
        outdoor_c: Temperature.
        wind_mps: Mean wind.
        rain_mmph: Rain, even within the hour; None when the file does not tell it.
        month_c: Mean temperature of each month, January first.
        months: Month of each minute, 1 to 12, on the file's clock.
        told: What the file's own hours come to, by name and unit, to hold against what is known of the place.
    """

    name: str
    place: Place
    offset_h: float
    utc_s: Floats
    dni_wpm2: Floats
    dhi_wpm2: Floats
    outdoor_c: Floats
    wind_mps: Floats
    rain_mmph: Floats | None
    month_c: tuple[float, ...]
    months: NDArray[np.int64]
    told: Mapping[str, float] = field(default_factory=dict)


def read_weather(path: Path) -> WeatherYear:
    """Read a weather year.

    Raises:
        RequestError: pvlib is missing, or the file is none that it reads, or has gaps.
    """
    table, meta, stamps_end = _table(path)
    missing = [name for name in COLUMNS if name not in table]
    if missing or len(table) != HOURS:
        what = f"has no {missing[0]}" if missing else f"has {len(table)} hours instead of {HOURS}"
        raise _unread(path, f"it {what}")
    hourly = {name: table[name].to_numpy(dtype=np.float64) for name in COLUMNS}
    _check(path, hourly)
    offset_h = float(meta["TZ"])
    first = datetime(YEAR, 1, 1, tzinfo=timezone(timedelta(hours=offset_h))).astimezone(UTC)
    minutes = np.arange(HOURS * 60, dtype=np.float64)
    place = Place(
        latitude_deg=float(meta["latitude"]),
        longitude_deg=float(meta["longitude"]),
        altitude_m=float(meta["altitude"]),
    )
    days = (datetime(YEAR, 1, 1, tzinfo=UTC) + timedelta(hours=hour) for hour in range(HOURS))
    months = np.array([day.month for day in days])
    # A temperature is that of the instant of its stamp.
    stamps = np.arange(HOURS) * 60.0 + (60.0 if stamps_end else 0.0)
    temp = hourly["temp_air"]
    return WeatherYear(
        name=str(meta.get("Name", meta.get("city", path.name))).strip(' "').title(),
        place=place,
        offset_h=offset_h,
        utc_s=first.timestamp() + minutes * 60.0,
        dni_wpm2=np.repeat(hourly["dni"], 60),
        dhi_wpm2=np.repeat(hourly["dhi"], 60),
        outdoor_c=np.interp(minutes, stamps, temp),
        wind_mps=np.repeat(hourly["wind_speed"], 60),
        rain_mmph=_rain(table),
        month_c=tuple(float(temp[months == month].mean()) for month in range(1, 13)),
        months=np.repeat(months, 60),
        told=_figures(table, hourly),
    )


def _figures(table: Any, hourly: dict[str, Floats]) -> dict[str, float]:
    sums = {name: hourly[name] for name in ("dni", "dhi")}
    if "ghi" in table:
        sums = {"ghi": table["ghi"].to_numpy(dtype=np.float64), **sums}
    air, wind = hourly["temp_air"], hourly["wind_speed"]
    return {
        "hours": len(table),
        **{f"{name}_kwhpm2": float(each.sum()) / 1000 for name, each in sums.items()},
        "coldest_c": float(air.min()),
        "mean_c": float(air.mean()),
        "warmest_c": float(air.max()),
        "strongest_wind_mps": float(wind.max()),
        # Beaufort 5 and 6 (WMO No. 306, table 1100).
        "hours_wind_from_8_0_mps": int(np.count_nonzero(wind >= 8.0)),
        "hours_wind_from_10_8_mps": int(np.count_nonzero(wind >= 10.8)),
    }


def _table(path: Path) -> tuple[Any, dict[str, Any], bool]:
    """Return the rows, what the file says of its place, and whether its stamps are at the hour's end."""
    try:
        with warnings.catch_warnings():
            # The libraries warn of each other's future, not of this file.
            warnings.simplefilter("ignore")
            from pvlib import iotools  # noqa: PLC0415  half a second and 100 MB

            if not path.is_file():
                raise _unread(path, "there is no such file")
            if path.suffix.lower() == ".epw":
                table, meta = iotools.read_epw(path, coerce_year=YEAR)
                return table, meta, False
            table, meta = iotools.read_tmy3(path, coerce_year=YEAR, map_variables=True)
            return table, meta, True
    except ImportError as error:
        raise RequestError(
            where="--weather", problem="pvlib is missing", remedy="pip install 'hembar[weather]'"
        ) from error
    except (OSError, ValueError, KeyError, IndexError, TypeError, AttributeError) as error:
        raise _unread(path, "it is neither TMY3 nor EPW") from error


def _rain(table: Any) -> Floats | None:
    """Return the rain of each minute; None where an hour is missing, or none falls all year."""
    named = next((each for each in RAIN if each[0] in table), None)
    if named is None:
        return None
    depth, period, unit_mm = named
    fallen_mm = table[depth].to_numpy(dtype=np.float64) * unit_mm
    # Both formats mark a missing hour by a number that no hour can reach: 999, or below zero.
    if not ((fallen_mm >= 0) & (fallen_mm < MOST_RAIN_MM)).all() or not fallen_mm.any():
        return None
    hours = table[period].to_numpy(dtype=np.float64) if period in table else np.ones(HOURS)
    found: Floats = np.repeat(_each_hour(fallen_mm, hours), 60)
    return found


def _each_hour(fallen_mm: Floats, hours: Floats) -> Floats:
    """Return the rain of each hour from depths that stand at the end of the hours they fell in."""
    found = np.zeros_like(fallen_mm)
    for at in np.flatnonzero(fallen_mm):
        # A period that is not told (0, 99 or below zero) is the hour itself.
        long = int(hours[at]) if 1 <= hours[at] <= LONGEST_RAIN_H else 1
        first = max(0, at + 1 - long)
        # Stations tell the same rain for an hour and again for six: it is not added up.
        found[first : at + 1] = np.maximum(found[first : at + 1], fallen_mm[at] / long)
    return found


def _check(path: Path, hourly: dict[str, Floats]) -> None:
    spans = {"dni": (0, 1500), "dhi": (0, 1000), "temp_air": (-70, 60), "wind_speed": (0, 80)}
    for name, (low, high) in spans.items():
        bad = np.flatnonzero(~((hourly[name] >= low) & (hourly[name] <= high)))
        if bad.size:
            value = hourly[name][bad[0]]
            raise _unread(path, f"{name} is {value:g} in hour {bad[0] + 1}; {low} to {high} is plausible")


def _unread(path: Path, problem: str) -> RequestError:
    return RequestError(
        where=f"--weather {path}",
        problem=problem,
        remedy="name a weather year of your place: a TMY3 (.csv) or EPW (.epw) file",
    )
