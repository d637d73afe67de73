"""`hembar day`: what rules and plan have in mind for a day, and what really happened; moves nothing."""

from __future__ import annotations

import argparse
import json
from datetime import date, datetime
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bridge.cli.answers import calendar_date, number
from bridge.cli.parser import HelpFormatter
from bridge.cli.pictures import DARK, LIGHT, add_picture

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers
    from bridge.core.plan.day import ShadeDay
    from bridge.core.spec import HouseSpec, ShadeSpec
    from bridge.core.surroundings import Site
    from bridge.shell.daybook import Happened

FARTHEST_M = 20.0
EXAMPLE = "Example:\n  hembar day hembar.toml --date 2026-06-21 --shade study --picture day.svg"


def add_command(subparsers: Subparsers) -> None:
    """Add `day` to the commands."""
    parser = subparsers.add_parser(
        "day",
        help="a day of each shade: sun, depth, plan, and what really happened",
        description="Shows what the rules will ask of each shade on a day under a cloudless sky, and the "
        "plan with the fewest moves that keeps to it. With a journal, also where the shade really was, "
        "when a person held it, and the wind. Nothing moves.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("settings", metavar="FILE", type=Path, help="the settings, with windows and rules")
    parser.add_argument("--date", type=calendar_date, metavar="DATE", help="such as 2026-06-21; today")
    parser.add_argument("--shade", metavar="SHADE", help="only this one")
    parser.add_argument("--journal", metavar="FILE", type=Path, help="what really happened, from the journal")
    parser.add_argument("--outdoor-c", metavar="C", type=number, help="temperature outdoors that day")
    add_picture(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the day of each shade."""
    from bridge.cli.year import shades_with_window  # noqa: PLC0415
    from bridge.core.plan.day import shade_day  # noqa: PLC0415  numpy
    from bridge.core.rules.seeing import zone_of  # noqa: PLC0415
    from bridge.core.sun.daylight import local_day  # noqa: PLC0415
    from bridge.settings.load import load  # noqa: PLC0415
    from bridge.shell.daybook import happened  # noqa: PLC0415

    house = load(args.settings).house
    shades = shades_with_window(house, args.shade)
    site = _site(house)
    zone = zone_of(site.timezone)
    day = args.date or today(site)
    span = local_day(day, zone)
    found = {
        spec.id: shade_day(site, spec, house.restraint, span, outdoor_c=args.outdoor_c) for spec in shades
    }
    real = happened(args.journal, [spec.id for spec in shades], span) if args.journal else {}
    if args.picture is not None:
        from bridge.cli.day_picture import draw  # noqa: PLC0415  matplotlib

        panels = [(spec.name, found[spec.id], real.get(spec.id, [])) for spec in shades]
        draw(args.picture, panels, day=day, zone=zone, shades=DARK if args.dark else LIGHT)
    if args.json:
        shown = {name: _document(each, real.get(name)) for name, each in found.items()}
        print(json.dumps({"date": day.isoformat(), "shades": shown}, allow_nan=False))
    else:
        print("\n\n".join("\n".join(_lines(spec, found[spec.id], site, day)) for spec in shades))
    return 0


def _site(house: HouseSpec) -> Site:
    assert house.site is not None, "settings tell a place"
    return house.site


def today(site: Site) -> date:
    """Return the date on the clocks of the house."""
    from bridge.core.rules.seeing import zone_of  # noqa: PLC0415
    from bridge.shell.clock import now  # noqa: PLC0415

    return now().utc.astimezone(zone_of(site.timezone)).date()


def _lines(spec: ShadeSpec, day: ShadeDay, site: Site, on: date) -> list[str]:
    from bridge.core.rules.seeing import zone_of  # noqa: PLC0415
    from bridge.shell.daybook import changes  # noqa: PLC0415

    zone = zone_of(site.timezone)
    lit = day.seen.sun.utc_s[day.seen.wall.direct_sun]
    clocks = (
        [f"{datetime.fromtimestamp(float(at), tz=zone):%H:%M}" for at in (lit[0], lit[-1])]
        if lit.size
        else []
    )
    sun = f"sun on the window from {clocks[0]} to {clocks[1]}" if clocks else "no sun on the window"
    lines = [f"{spec.id} on {on:%a %d %b %Y}: {sun}"]
    if clocks:
        lines.append(
            f"  it would reach {_metres(day.far_up_m.max())}, with the plan {_metres(day.far_m.max())}"
            + ("" if day.limit_m is None else f"; the limit is {day.limit_m:.1f} m")
        )
    lines.append(f"  begins at {day.planned[0]:.0f} % open")
    for at, one, other in changes(day):
        what = "lowered" if other < one else "raised"
        lines.append(f"  {at.astimezone(zone):%H:%M}  {what} to {other:.0f} %")
    ways = sum(a != b for a, b in pairwise(day.followed.tolist()))
    lines.append(f"  {len(changes(day))} moves; {ways} when the rules are followed look by look")
    return lines


def _metres(far_m: float) -> str:
    """Return a depth for people; a sun on the horizon reaches any."""
    return f"over {FARTHEST_M:.0f} m" if far_m > FARTHEST_M else f"{far_m:.1f} m"


def _document(day: ShadeDay, real: list[Happened] | None) -> dict[str, Any]:
    from bridge.shell.daybook import changes  # noqa: PLC0415

    document = {
        "limit_m": day.limit_m,
        "deepest_up_m": float(day.far_up_m.max()),
        "deepest_planned_m": float(day.far_m.max()),
        "begins_pct": float(day.planned[0]),
        "moves": [{"utc": at.isoformat(), "from_pct": one, "to_pct": to} for at, one, to in changes(day)],
    }
    if real is not None:
        document["happened"] = [
            {
                "utc": each.utc.isoformat(),
                "open_pct": each.open_pct,
                "held": each.held,
                "gust_mps": each.gust_mps,
            }
            for each in real
        ]
    return document
