"""`hembar sunmap`: the year of a window by month and hour, and what the rules make of it; moves nothing."""

from __future__ import annotations

import argparse
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bridge.cli.answers import number, whole_number
from bridge.cli.parser import HelpFormatter
from bridge.cli.pictures import DARK, LIGHT, VERMILION, Shades, add_picture, plotting, save
from bridge.cli.usual_place import USUALLY, settings_path
from bridge.core.errors import RequestError

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers
    from bridge.core.plan.day import SunMap

EXAMPLE = "Example:\n  hembar sunmap study --settings hembar.toml --picture map.svg"


def add_command(subparsers: Subparsers) -> None:
    """Add `sunmap` to the commands."""
    parser = subparsers.add_parser(
        "sunmap",
        help="a window's year by month and hour: where the sun is too deep",
        description="Draws the year of a window as a map of date and hour: when the sun is on it, when it "
        "would reach deeper than the limit, and how far open the rules let the shade be then. The sky is "
        "cloudless. Nothing moves.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("shade", metavar="SHADE", help="its id, such as study")
    parser.add_argument("--settings", metavar="FILE", type=Path, help=f"by default {USUALLY}")
    parser.add_argument("--year", metavar="YEAR", type=whole_number, help="the present one by default")
    parser.add_argument("--outdoor-c", metavar="C", type=number, help="temperature outdoors all year")
    add_picture(parser, required=True)
    parser.add_argument("--json", action="store_true", help="print the hours as one JSON object")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Draw the map and tell its hours."""
    import json  # noqa: PLC0415

    from bridge.cli.day import today  # noqa: PLC0415
    from bridge.cli.year import shades_with_window  # noqa: PLC0415
    from bridge.core.plan.day import sun_map  # noqa: PLC0415  numpy
    from bridge.settings.load import load  # noqa: PLC0415

    house = load(settings_path(args.settings)).house
    (spec,) = shades_with_window(house, args.shade)
    assert house.site is not None, "settings tell a place"
    year = args.year or today(house.site).year
    if not 1902 <= year <= 2098:
        raise RequestError(where="--year", problem=f"{year}", remedy="give 1902 to 2098")
    found = sun_map(house.site, spec, year, outdoor_c=args.outdoor_c)
    draw(
        args.picture, found, title=f"{spec.name}, {year}", start=date(year, 1, 1), zone=house.site.timezone,
        shades=DARK if args.dark else LIGHT,
    )  # fmt: skip
    hours = {
        "lit_h": float((found.lit == 1).sum()) / 6,
        "too_deep_h": float((found.far_m > found.limit_m).sum()) / 6,
        "lowered_h": float(((found.lit == 1) & (found.open_pct < 100)).sum()) / 6,
    }
    if args.json:
        print(json.dumps({"shade": spec.id, "year": year, "limit_m": found.limit_m, **hours}))
    else:
        print(f"{spec.id} in {year}: sun on the window {hours['lit_h']:.0f} h, deeper than "
              f"{found.limit_m:g} m {hours['too_deep_h']:.0f} h; the rules lower it for "
              f"{hours['lowered_h']:.0f} h of sun")  # fmt: skip
    return 0


def draw(path: Path, found: SunMap, *, title: str, start: date, zone: str, shades: Shades = LIGHT) -> None:
    """Draw the map into an SVG or PNG file.

    Raises:
        RequestError: the ending is neither, matplotlib is missing, or the file can't be written.
    """
    import numpy as np  # noqa: PLC0415

    plt = plotting(path, shades)
    from matplotlib.colors import ListedColormap  # noqa: PLC0415
    from matplotlib.patches import Patch  # noqa: PLC0415

    figure, panel = plt.subplots(figsize=(11, 6))
    extent = (0, found.up.shape[1], 0, 24)
    ground = np.where(found.lit == 1, 2.0, np.where(found.up == 1, 1.0, 0.0))
    how = {"origin": "lower", "aspect": "auto", "extent": extent, "interpolation": "nearest"}
    panel.imshow(ground, cmap=ListedColormap([shades.night, shades.dull, shades.pale]), vmin=0, vmax=2, **how)
    shut = np.where((found.lit == 1) & (found.open_pct < 100), found.open_pct, np.nan)
    image = panel.imshow(shut, cmap="cividis", vmin=0, vmax=100, **how)
    deep = np.nan_to_num(found.far_m > found.limit_m).astype(float)
    # Its dark edge is seen by those to whom the line looks like the yellow beside it.
    for colour, width in (("#000000", 3.6), (VERMILION, 1.8)):
        panel.contour(deep, levels=[0.5], colors=[colour], linewidths=width, extent=extent)
    _axes(panel, start, zone)
    bar = figure.colorbar(image, ax=panel, pad=0.02)
    bar.set_label("sun on the window and a rule lowers: how far open it may be, %")
    marks = [
        Patch(facecolor=shades.night, label="night"),
        Patch(facecolor=shades.dull, edgecolor=shades.pale, label="day, no sun on the window"),
        Patch(facecolor=shades.pale, label="sun on the window, no rule lowers"),
        Patch(
            facecolor="none",
            edgecolor=VERMILION,
            label=f"here the sun would reach deeper than {found.limit_m:g} m",
        ),
    ]
    panel.legend(handles=marks, loc="upper left", bbox_to_anchor=(0, -0.07), ncols=2, frameon=False)
    panel.set_title(f"{title}: the sun on the window by date and hour, cloudless", loc="left")
    figure.tight_layout()
    save(plt, figure, path)


def _axes(panel: Any, start: date, zone: str) -> None:
    firsts = [date(start.year, month, 1) for month in range(1, 13)]
    panel.set_xticks([(each - start) / timedelta(days=1) for each in firsts],
                     labels=[f"{each:%b}" for each in firsts], ha="left")  # fmt: skip
    panel.set_yticks(range(0, 25, 3), labels=[f"{hour:02}:00" for hour in range(0, 25, 3)])
    panel.set_ylabel(f"clock of the house ({zone})")
