"""`hembar year`: a weather year of the settings' rules, before anybody trusts them; moves nothing."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from statistics import median
from time import process_time
from typing import TYPE_CHECKING, Any

from bridge.cli.answers import number
from bridge.cli.naming import named
from bridge.cli.parser import HelpFormatter
from bridge.cli.pictures import DARK, LIGHT, add_picture
from bridge.cli.usual_place import USUALLY, settings_path
from bridge.core.errors import RequestError

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers
    from bridge.core.plan.figures import Figures
    from bridge.core.spec import HouseSpec, ShadeSpec
    from bridge.core.values import ShadeId
    from bridge.settings.plain import Settings
    from bridge.simulate.weather_file import WeatherYear
    from bridge.simulate.weather_year import ShadeYear

BAR_CELLS = 30
FACADES, ROUNDS = 10, 3
EXAMPLE = "Example:\n  hembar year hembar.toml --weather place.epw --shade study --picture year.svg"
# Column, its unit, how it is shown, the field.
COLUMNS = (
    ("moves", "", ".0f", "moves"),
    ("view", "h", ".0f", "view_h"),
    ("too deep", "h", ".0f", "deep_h"),
    ("cooling", "kWh/m²", ".0f", "cooling_kwhpm2"),
    ("heating", "kWh/m²", ".0f", "heating_kwhpm2"),
    ("wind", "times", ".0f", "retracts"),
    ("motor", "h", ".1f", "motor_h"),
)


def add_command(subparsers: Subparsers) -> None:
    """Add `year` to the commands."""
    parser = subparsers.add_parser(
        "year",
        help="try the rules on a weather year, beside habits without rules",
        description="Runs the rules of each shade over a weather year, minute by minute, and shows what they "
        "come to beside shades that are always up, always down, down while the sun is on the window, or "
        "moved by the clock. Nothing moves.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "settings", metavar="FILE", type=Path, nargs="?", help=f"the settings; by default {USUALLY}"
    )
    parser.add_argument("--weather", metavar="FILE", type=Path, required=True, help="a TMY3 or EPW file")
    parser.add_argument("--shade", metavar="SHADE", help="only this one")
    parser.add_argument(
        "--gust-factor",
        metavar="G",
        type=number,
        default=1.5,
        help="gusts over the mean wind, which alone such files have; default 1.5 (common practice)",
    )
    parser.add_argument(
        "--compare", action="store_true", help="time one facade, ten, and pvlib's sun for the same minutes"
    )
    add_picture(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the figures of each shade."""
    from bridge.settings.load import load  # noqa: PLC0415
    from bridge.simulate.weather_file import read_weather  # noqa: PLC0415  numpy

    if not 1 <= args.gust_factor <= 3:
        raise RequestError(where="--gust-factor", problem=f"{args.gust_factor:g}", remedy="give 1 to 3")
    settings = load(settings_path(args.settings))
    house = settings.house
    shades = shades_with_window(house, args.shade)
    panes = {spec.id: _glass_m2(settings, spec) for spec in shades}
    year = read_weather(args.weather)
    found = _years(house, shades, year, args.gust_factor)
    speed = _compared(house, shades[0], year) if args.compare else None
    if args.picture is not None:
        from bridge.cli.year_picture import draw  # noqa: PLC0415  matplotlib

        named = {f"{spec.name}, {_facing(spec)}": found[spec.id] for spec in shades}
        draw(args.picture, named, place=year.name, colours=DARK if args.dark else LIGHT)
    if args.json:
        print(json.dumps(_document(year, found, panes, speed), allow_nan=False))
    else:
        tables = [_table(f"{x.id}, {_facing(x)}", found[x.id], panes[x.id]) for x in shades]
        print("\n\n".join("\n".join(each) for each in tables))
        print("\n" + "\n".join(_notes(year, next(iter(found.values())), speed)))
    return 0


def shades_with_window(house: HouseSpec, wanted: str | None) -> list[ShadeSpec]:
    """Return the shades that the sun can be reckoned for.

    Raises:
        RequestError: there is no such shade, or none with a window.
    """
    known = {spec.id: spec for spec in house.shades}
    asked = house.shades if wanted is None else [named(wanted, known, among="these settings")]
    found = [spec for spec in asked if spec.window is not None]
    if not found:
        raise RequestError(
            where="shades" if wanted is None else f"shade {wanted!r}",
            problem="no window is told, so nothing is known of the sun on it",
            remedy="add a table such as [shades.study.window]; config/rules.toml shows one",
        )
    return found


def _glass_m2(settings: Settings, spec: ShadeSpec) -> float | None:
    """Return the area of the glass, as wide as its cloth; None where no width is told."""
    lift = settings.lifts.get(spec.id)
    if lift is None or lift.lifting is None or spec.window is None:
        return None
    opening = spec.window.opening
    return lift.lifting.width_mm / 1000 * (opening.head_m - opening.sill_m)


def _years(
    house: HouseSpec, shades: Sequence[ShadeSpec], year: WeatherYear, gust_factor: float
) -> dict[ShadeId, ShadeYear]:
    from bridge.simulate.weather_year import at_the_weather, shade_year, year_outside  # noqa: PLC0415  numpy

    _progress("sun and sky", 0.0)
    outside = year_outside(at_the_weather(house.site, year), year, gust_factor=gust_factor)
    found = {}
    for done, spec in enumerate(shades):

        def told(what: str, share: float, done: int = done, name: str = spec.id) -> None:
            _progress(f"{name}: {what}", (done + share) / len(shades))

        found[spec.id] = shade_year(outside, spec, house.restraint, told=told)
    _progress("done", 1.0)
    if sys.stderr.isatty():
        print(file=sys.stderr)
    return found


def _progress(what: str, share: float) -> None:
    if sys.stderr.isatty():
        cells = round(BAR_CELLS * share)
        bar = "#" * cells + "." * (BAR_CELLS - cells)
        print(f"\r[{bar}] {what:<30}", end="", file=sys.stderr, flush=True)


def _compared(house: HouseSpec, shade: ShadeSpec, year: WeatherYear) -> dict[str, float]:
    """Return the processor time of one facade, of ten, and of pvlib's sun: medians of interleaved rounds."""
    turned = [_turned(shade, 36.0 * number) for number in range(FACADES)]
    rounds = [
        (
            _cost_s(lambda: _years(house, turned[:1], year, 1.5)),
            _cost_s(lambda: _years(house, turned, year, 1.5)),
            _cost_s(lambda: _pvlib_sun(year)),
        )
        for _ in range(ROUNDS)
    ]
    one_s, ten_s, pvlib_s = (median(each) for each in zip(*rounds, strict=True))
    return {
        "one_facade_s": one_s,
        "ten_facades_s": ten_s,
        "ten_over_one": ten_s / one_s,
        "pvlib_sun_s": pvlib_s,
        "one_over_pvlib": one_s / pvlib_s,
    }


def _pvlib_sun(year: WeatherYear) -> None:
    import pandas as pd  # noqa: PLC0415  comes with pvlib
    from pvlib import solarposition  # noqa: PLC0415

    stamps = pd.to_datetime(year.utc_s, unit="s", utc=True)
    solarposition.get_solarposition(stamps, year.place.latitude_deg, year.place.longitude_deg)


def _cost_s(work: Callable[[], object]) -> float:
    began = process_time()
    work()
    return process_time() - began


def _turned(spec: ShadeSpec, by_deg: float) -> ShadeSpec:
    """Return the shade at a wall that looks elsewhere."""
    assert spec.window is not None, "the sun needs a window"
    facade = spec.window.facade
    facade = replace(facade, azimuth_deg=(facade.azimuth_deg + by_deg) % 360)
    return replace(spec, window=replace(spec.window, facade=facade))


def _facing(spec: ShadeSpec) -> str:
    assert spec.window is not None, "the sun needs a window"
    return f"facing {spec.window.facade.azimuth_deg:.0f}°"


def _table(name: str, year: ShadeYear, glass_m2: float | None) -> list[str]:
    wide = max(len(row) for row in year.rows)
    heads = [title for title, _, _, _ in COLUMNS]
    units = [unit if glass_m2 is None else unit.replace("kWh/m²", "kWh") for _, unit, _, _ in COLUMNS]
    pane = "" if glass_m2 is None else f", {glass_m2:.2f} m² of glass"
    lines = [f"{name}, sun at most {year.limit_m:g} m deep, {year.hours:.0f} h of daylight{pane}"]
    lines += [f"  {'':<{wide}}" + "".join(f"{each:>9}" for each in some) for some in (heads, units)]
    for row, figures in year.rows.items():
        cells = (f"{_value(figures, field, glass_m2):{how}}" for _, _, how, field in COLUMNS)
        lines.append(f"  {row:<{wide}}" + "".join(f"{cell:>9}" for cell in cells))
    return lines


def _value(figures: Figures, field: str, glass_m2: float | None) -> float:
    value = float(getattr(figures, field))
    return value * (glass_m2 if field.endswith("_kwhpm2") and glass_m2 is not None else 1.0)


def _notes(year: WeatherYear, first: ShadeYear, speed: dict[str, float] | None) -> list[str]:
    def months(numbers: tuple[int, ...]) -> str:
        return ", ".join("JanFebMarAprMayJunJulAugSepOctNovDec"[3 * m - 3 : 3 * m] for m in numbers) or "none"

    lines = [
        f"Weather and sun of {year.name}: {year.place.latitude_deg:g}, {year.place.longitude_deg:g}.",
        "Gusts are reckoned from the mean wind. Quiet hours, dwell and the bound on moves a day hold. Left",
        f"out: doors, people{'' if year.rain_mmph is not None else ', and rain, which the file leaves out'}.",
        "View: daylight hours in which a person who sits sees out below the hem bar. Too deep: hours of",
        "direct sun from 50 W/m² beyond the limit. Heat: through the glass, or each square metre of it where",
        f"no lift.width_mm is told, in the cooling months ({months(first.cooling)})",
        f"and the heating months ({months(first.heating)}).",
        "The service plans a day ahead; the row beside it shows the same rules followed look by look.",
    ]
    if speed is not None:
        lines.append(
            f"Processor time, medians of {ROUNDS}: one facade {speed['one_facade_s']:.2f} s; ten "
            f"{speed['ten_facades_s']:.2f} s, {speed['ten_over_one']:.1f} times one;\n"
            f"pvlib's sun for the same minutes {speed['pvlib_sun_s']:.2f} s, of which one facade is "
            f"{speed['one_over_pvlib']:.2f}."
        )
    return lines


def _document(
    year: WeatherYear,
    found: Mapping[ShadeId, ShadeYear],
    panes: Mapping[ShadeId, float | None],
    speed: dict[str, float] | None,
) -> dict[str, Any]:
    return {
        "weather": {
            "name": year.name,
            "latitude_deg": year.place.latitude_deg,
            "longitude_deg": year.place.longitude_deg,
            "utc_offset_h": year.offset_h,
            **year.told,
            "month_c": list(year.month_c),
        },
        "shades": {
            name: {
                "limit_m": each.limit_m,
                "daylight_h": each.hours,
                "cooling_months": list(each.cooling),
                "heating_months": list(each.heating),
                "glass_m2": panes[name],
                "strategies": {row: _told(figures, panes[name]) for row, figures in each.rows.items()},
            }
            for name, each in found.items()
        },
        **({} if speed is None else {"speed": speed}),
    }


def _told(figures: Figures, glass_m2: float | None) -> dict[str, Any]:
    heat = {} if glass_m2 is None else {
        "cooling_kwh": figures.cooling_kwhpm2 * glass_m2,
        "heating_kwh": figures.heating_kwhpm2 * glass_m2,
    }  # fmt: skip
    return {**asdict(figures), **heat}
