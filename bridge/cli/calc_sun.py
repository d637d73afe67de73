"""The calculators of sun, cloth and wind: `hembar calc sun|daylight|sunlit-year|cloth|wind`.

Arguments in, a table or one JSON object out. Every number comes from the core; what is missing,
contradictory or impossible is refused with exit status 2.
"""

import argparse
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from bridge.cli import calc_cloth
from bridge.cli.answers import (
    Answer,
    Row,
    calendar_date,
    command,
    given,
    instant,
    need,
    number,
    option,
    time_zone,
    whole_number,
)
from bridge.core.errors import RequestError
from bridge.core.sun import irradiance, sky, window
from bridge.core.sun.daylight import Daylight, Interval, LocalDay, daylight, local_day, sun_on_facade
from bridge.core.sun.year import sunlit_year

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers

_WINDOW_OPTIONS = ("hem_m", "plane_m", "overhang_depth_m", "overhang_height_m", "depth_limit_m")


def add_commands(subparsers: "Subparsers") -> None:
    """Register the five calculators under `calc`."""
    _add_sun(subparsers)
    _add_daylight(subparsers)
    _add_sunlit_year(subparsers)
    calc_cloth.add_commands(subparsers)


def _place(args: argparse.Namespace) -> sky.Place:
    altitude_m = getattr(args, "altitude_m", None)
    return sky.Place(latitude_deg=args.latitude, longitude_deg=args.longitude, altitude_m=altitude_m or 0.0)


def _add_place(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--latitude", type=number, metavar="DEG", help="north positive")
    parser.add_argument("--longitude", type=number, metavar="DEG", help="east positive")


def _add_facade(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--facade-azimuth-deg", type=number, metavar="DEG", help="where the window looks to; south is 180"
    )


def _add_glass_heights(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--sill-m", type=number, metavar="M", help="lower edge of the glass above the floor")
    parser.add_argument("--head-m", type=number, metavar="M", help="upper edge of the glass above the floor")
    parser.add_argument(
        "--depth-limit-m", type=number, metavar="M", help="how far into the room the sun may reach"
    )


# -- sun ------------------------------------------------------------------------------------------


def _add_sun(subparsers: "Subparsers") -> None:
    parser = command(
        subparsers,
        "sun",
        _sun,
        what="where the sun stands, how deep it reaches into a room, and how strong a clear sky is",
        example="--latitude 52.52 --longitude 13.405 --at 2026-07-15T17:45:00+02:00 \\\n"
        "    --facade-azimuth-deg 270 --sill-m 0.9 --head-m 2.1 --depth-limit-m 1",
    )
    _add_place(parser)
    parser.add_argument("--altitude-m", metavar="M", help="above sea level; default 0", type=number)
    parser.add_argument("--at", type=instant, metavar="TIME", help="ISO 8601 with an offset")
    parser.add_argument(
        "--sun-elevation-deg", metavar="DEG", help="the sun by hand, instead of place and time", type=number
    )
    parser.add_argument("--sun-azimuth-deg", metavar="DEG", help="clockwise from true north", type=number)
    _add_facade(parser)
    _add_glass_heights(parser)
    parser.add_argument("--hem-m", metavar="M", help="hem bar above the floor; default fully up", type=number)
    parser.add_argument(
        "--plane-m", metavar="M", help="height at which depth counts; default floor", type=number
    )
    parser.add_argument("--overhang-depth-m", metavar="M", help="of a slab, out from the glass", type=number)
    parser.add_argument(
        "--overhang-height-m", metavar="M", help="of its underside above the floor", type=number
    )
    parser.add_argument(
        "--turbidity", metavar="TL", help="Linke turbidity of the sky; default 3", type=number
    )
    parser.add_argument(
        "--albedo", metavar="SHARE", help="light the ground reflects; default 0.2", type=number
    )


def _sun(args: argparse.Namespace) -> Answer:
    by_place = given(args, ("latitude", "longitude", "altitude_m", "at"))
    by_hand = given(args, ("sun_elevation_deg", "sun_azimuth_deg"))
    if by_place and by_hand:
        raise RequestError(
            where=f"{option(by_place[0])} and {option(by_hand[0])}",
            problem="the sun is given twice, by place and time and by its angles",
            remedy="keep one of the two",
        )
    facade, opening = _facade(args), _opening(args)
    sun = _sun_by_hand(args) if by_hand else _sun_by_place(args)
    apparent = sky.apparent_elevation_deg(sun.elevation_deg)
    document: dict[str, Any] = {
        "elevation_deg": sun.elevation_deg,
        "azimuth_deg": sun.azimuth_deg,
        "apparent_elevation_deg": apparent,
    }
    sections: list[tuple[str, list[Row]]] = [("Sun", _sun_rows(sun, apparent))]
    if facade is not None:
        _window_part(args, sun, facade, opening, document, sections)
    if not by_hand:
        _sky_part(args, sun, facade, document, sections)
    return Answer(sections=sections, document=document)


def _sun_by_hand(args: argparse.Namespace) -> sky.SunPosition:
    need(args, "sun_elevation_deg", "sun_azimuth_deg")
    unusable = given(args, ("turbidity", "albedo"))
    if unusable:
        raise RequestError(
            where=option(unusable[0]),
            problem="a clear sky needs a date and a place, and only the sun's angles are given",
            remedy="give --latitude, --longitude and --at instead of the angles",
        )
    return sky.SunPosition(elevation_deg=args.sun_elevation_deg, azimuth_deg=args.sun_azimuth_deg)


def _sun_by_place(args: argparse.Namespace) -> sky.SunPosition:
    if not given(args, ("latitude", "longitude", "altitude_m", "at")):
        raise RequestError(
            where="sun",
            problem="neither a place and time nor the sun's angles are given",
            remedy="give --latitude, --longitude and --at, or --sun-elevation-deg and --sun-azimuth-deg",
        )
    need(args, "latitude", "longitude", "at")
    return sky.sun_at(_place(args), args.at)


def _facade(args: argparse.Namespace) -> window.Facade | None:
    if args.facade_azimuth_deg is not None:
        return window.Facade(azimuth_deg=args.facade_azimuth_deg)
    about_window = given(args, ("sill_m", "head_m", *_WINDOW_OPTIONS))
    if about_window:
        raise RequestError(
            where=option(about_window[0]),
            problem="it describes a window, and where that looks to is not given",
            remedy="add --facade-azimuth-deg",
        )
    return None


def _opening(args: argparse.Namespace) -> window.Opening | None:
    if not given(args, ("sill_m", "head_m", *_WINDOW_OPTIONS)):
        return None
    need(args, "sill_m", "head_m")
    overhang = None
    if given(args, ("overhang_depth_m", "overhang_height_m")):
        need(args, "overhang_depth_m", "overhang_height_m")
        overhang = window.Overhang(depth_m=args.overhang_depth_m, height_m=args.overhang_height_m)
    return window.Opening(
        sill_m=args.sill_m, head_m=args.head_m, plane_m=args.plane_m or 0.0, overhang=overhang
    )


def _sun_rows(sun: sky.SunPosition, apparent: float | None) -> list[Row]:
    seen = "below the horizon" if apparent is None else f"{apparent:.2f} deg"
    return [
        ("elevation", f"{sun.elevation_deg:.2f} deg", "of its centre, without refraction"),
        ("apparent elevation", seen, "as seen through the air"),
        ("azimuth", f"{sun.azimuth_deg:.2f} deg", "clockwise from true north"),
    ]


def _window_part(
    args: argparse.Namespace,
    sun: sky.SunPosition,
    facade: window.Facade,
    opening: window.Opening | None,
    document: dict[str, Any],
    sections: list[tuple[str, list[Row]]],
) -> None:
    seen = window.angles(facade, sun)
    profile = seen.profile_angle_deg
    document["window"] = part = {
        "incidence_deg": seen.incidence_deg,
        "shadow_angle_deg": seen.shadow_angle_deg,
        "profile_angle_deg": profile,
        "direct_sun": seen.direct_sun,
    }
    rows: list[Row] = [
        ("direct sun", "yes" if seen.direct_sun else "no", ""),
        ("incidence", f"{seen.incidence_deg:.2f} deg", "off straight-on"),
        ("shadow angle", f"{seen.shadow_angle_deg:.2f} deg", "horizontal, clockwise from straight-on"),
        ("profile angle", "-" if profile is None else f"{profile:.2f} deg", "height seen square to the wall"),
    ]
    if opening is not None:
        patch = window.sun_patch(opening, profile, hem_m=args.hem_m)
        part |= {"sun_enters": patch.enters, "near_m": patch.near_m, "far_m": patch.far_m}
        near = "-" if patch.near_m is None else f"{patch.near_m:.2f} m"
        rows += [
            ("sun from", near, f"on the plane at {opening.plane_m:g} m"),
            ("sun to", f"{patch.far_m:.2f} m", ""),
        ]
    sections.append((f"Window that looks to {facade.azimuth_deg:g} deg", rows))
    if opening is not None and args.depth_limit_m is not None:
        limit = window.hem_for_depth(opening, profile, depth_limit_m=args.depth_limit_m)
        document["limit"] = {"hem_m": limit.hem_m, "percent_open": limit.open_pct, "state": limit.state}
        sections.append(
            (
                f"To keep the sun within {args.depth_limit_m:g} m",
                [
                    ("hem bar", f"{limit.hem_m:.2f} m", "above the floor"),
                    ("open", f"{limit.open_pct:.1f} %", "of sill to head"),
                    ("state", limit.state, ""),
                ],
            )
        )


def _sky_part(
    args: argparse.Namespace,
    sun: sky.SunPosition,
    facade: window.Facade | None,
    document: dict[str, Any],
    sections: list[tuple[str, list[Row]]],
) -> None:
    turbidity = irradiance.DEFAULT_TURBIDITY if args.turbidity is None else args.turbidity
    clear = irradiance.clear_sky(
        sky.apparent_elevation_deg(sun.elevation_deg),
        day_of_year=args.at.astimezone(UTC).timetuple().tm_yday,
        altitude_m=args.altitude_m or 0.0,
        turbidity=turbidity,
    )
    albedo = irradiance.possible_albedo(irradiance.DEFAULT_ALBEDO if args.albedo is None else args.albedo)
    level = {"ghi_wpm2": clear.ghi_wpm2, "dni_wpm2": clear.dni_wpm2, "dhi_wpm2": clear.dhi_wpm2}
    on_wall: dict[str, float | None] = dict.fromkeys(
        ("beam_wpm2", "sky_diffuse_wpm2", "ground_wpm2", "total_wpm2")
    )
    if facade is not None:
        wall = irradiance.on_wall(clear, sun=sun, facade=facade, albedo=albedo)
        on_wall = {key: getattr(wall, key) for key in on_wall}
    document["sky"] = {**level, **on_wall}
    remarks = ("on level ground", "from the sun, square to it", "from the sky, on level ground",
               "on the window, from the sun", "on the window, from the sky", "on the window, from the ground",
               "on the window")  # fmt: skip
    names = ("global", "direct normal", "diffuse", "beam", "sky diffuse", "ground", "total")
    rows = [
        (name, f"{value:.0f} W/m2", remark)
        for name, value, remark in zip(names, document["sky"].values(), remarks, strict=True)
        if value is not None
    ]
    sections.append((f"Cloudless sky, turbidity {turbidity:g}, ground {albedo:g}", rows))


# -- daylight -------------------------------------------------------------------------------------


def _add_daylight(subparsers: "Subparsers") -> None:
    parser = command(
        subparsers,
        "daylight",
        _daylight,
        what="sunrise, sunset and the hours of sun on a window, on one calendar day",
        example="--latitude 51.5 --longitude -0.13 --date 2026-06-21 --timezone Europe/London \\\n"
        "    --facade-azimuth-deg 0",
    )
    _add_place(parser)
    parser.add_argument(
        "--date", type=calendar_date, metavar="DATE", help="of the local calendar, like 2026-06-21"
    )
    parser.add_argument("--timezone", type=time_zone, metavar="ZONE", help="IANA name, like Europe/London")
    _add_facade(parser)


def _daylight(args: argparse.Namespace) -> Answer:
    need(args, "latitude", "longitude", "date", "timezone")
    place, day = _place(args), local_day(args.date, args.timezone)
    events = daylight(place, day)
    document: dict[str, Any] = {
        "sunrise_utc": [_stamp(at) for at in events.sunrise_utc],
        "sunset_utc": [_stamp(at) for at in events.sunset_utc],
        "transit_utc": [_stamp(at) for at in events.transit_utc],
        "transit_elevation_deg": list(events.transit_elevation_deg),
        "state": events.state,
        "day_length_h": day.hours,
    }
    sections = [(f"{args.date} in {args.timezone}", _daylight_rows(events, day, args.timezone))]
    if args.facade_azimuth_deg is not None:
        facade = window.Facade(azimuth_deg=args.facade_azimuth_deg)
        spans = sun_on_facade(place, day, facade)
        minutes = sum((end - start).total_seconds() for start, end in spans) / 60.0
        document["sun_on_window_utc"] = [[_stamp(start), _stamp(end)] for start, end in spans]
        document["sun_on_window_min"] = minutes
        title = f"Sun on a window that looks to {facade.azimuth_deg:g} deg"
        sections.append((title, _span_rows(spans, minutes, args.timezone)))
    return Answer(sections=sections, document=document)


def _stamp(at: datetime) -> str:
    # Whole seconds, downward: an event stays within its day.
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _clock(at: datetime, zone: ZoneInfo) -> str:
    return at.astimezone(zone).strftime("%H:%M:%S %Z")


def _daylight_rows(events: Daylight, day: LocalDay, zone: ZoneInfo) -> list[Row]:
    rows: list[Row] = [("state", events.state, "")]
    for label, times in (("sunrise", events.sunrise_utc), ("sunset", events.sunset_utc)):
        rows += [(label, _clock(at, zone), _stamp(at)) for at in times] or [(label, "none", "")]
    for at, elevation in zip(events.transit_utc, events.transit_elevation_deg, strict=True):
        rows.append(("transit", _clock(at, zone), f"{_stamp(at)}, {elevation:.2f} deg high"))
    rows += [] if events.transit_utc else [("transit", "none", "")]
    return [*rows, ("calendar day", f"{day.hours:g} h", "")]


def _span_rows(spans: Sequence[Interval], minutes: float, zone: ZoneInfo) -> list[Row]:
    rows = [("from", _clock(start, zone), f"to {_clock(end, zone)}") for start, end in spans]
    return [*rows, ("together", f"{minutes:.0f} min", "")]


# -- sunlit-year ----------------------------------------------------------------------------------


def _add_sunlit_year(subparsers: "Subparsers") -> None:
    parser = command(
        subparsers,
        "sunlit-year",
        _sunlit_year,
        what="hours a year in which the sun is on a window and deeper in the room than a limit",
        example="--latitude 51.5 --longitude -0.13 --facade-azimuth-deg 180 --year 2026 \\\n"
        "    --sill-m 0.9 --head-m 2.1 --depth-limit-m 1",
    )
    _add_place(parser)
    _add_facade(parser)
    parser.add_argument("--year", type=whole_number, metavar="YEAR", help="calendar year of UTC")
    _add_glass_heights(parser)


def _sunlit_year(args: argparse.Namespace) -> Answer:
    need(args, "latitude", "longitude", "facade_azimuth_deg", "year", "sill_m", "head_m", "depth_limit_m")
    hours = sunlit_year(
        _place(args),
        window.Facade(azimuth_deg=args.facade_azimuth_deg),
        window.Opening(sill_m=args.sill_m, head_m=args.head_m),
        year=args.year,
        depth_limit_m=args.depth_limit_m,
    )
    rows: list[Row] = [
        ("sun above the horizon", f"{hours.above_horizon_h:.1f} h", ""),
        ("direct sun on the window", f"{hours.direct_sun_h:.1f} h", ""),
        (f"deeper than {args.depth_limit_m:g} m", f"{hours.deeper_h:.1f} h", "shade fully up"),
    ]
    document = {
        "hours_sun_above_horizon": hours.above_horizon_h,
        "hours_direct_sun": hours.direct_sun_h,
        "hours_deeper_than_limit": hours.deeper_h,
    }
    title = f"{args.year}, window that looks to {args.facade_azimuth_deg:g} deg, flat horizon, no clouds"
    return Answer(sections=[(title, rows)], document=document)
