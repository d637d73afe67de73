"""`hembar day`: what rules and plan have in mind for a day, and what really happened; moves nothing."""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bridge.cli.answers import calendar_date, number
from bridge.cli.parser import HelpFormatter
from bridge.cli.pictures import DARK, LIGHT, add_picture
from bridge.cli.usual_place import USUALLY, journal_at_hand, settings_path

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers
    from bridge.core.plan.day import ShadeDay
    from bridge.core.spec import HouseSpec, ShadeSpec
    from bridge.core.sun.daylight import LocalDay
    from bridge.core.surroundings import Site
    from bridge.core.values import ShadeId
    from bridge.shell.daybook import Happened
    from bridge.shell.written_plan import Written

FARTHEST_M = 20.0
EXAMPLE = "Example:\n  hembar day hembar.toml --date 2026-06-21 --shade study --picture day.svg"


def add_command(subparsers: Subparsers) -> None:
    """Add `day` to the commands."""
    parser = subparsers.add_parser(
        "day",
        help="a day of each shade: sun, depth, plan, and what really happened",
        description="Shows what the rules will ask of each shade on a day under a cloudless sky, and the "
        "plan with the fewest moves that keeps to it. With a journal the plan is the one that the service "
        "wrote down then, beside where the shade really was, when a person held it, and the wind. Nothing "
        "moves.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "settings", metavar="FILE", type=Path, nargs="?", help=f"the settings; by default {USUALLY}"
    )
    parser.add_argument("--date", type=calendar_date, metavar="DATE", help="such as 2026-06-21; today")
    parser.add_argument("--shade", metavar="SHADE", help="only this one")
    parser.add_argument(
        "--journal",
        metavar="FILE",
        type=Path,
        help="what was planned and happened; by default that of the settings, where it can be read",
    )
    parser.add_argument("--outdoor-c", metavar="C", type=number, help="temperature outdoors that day")
    add_picture(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What is told of one shade.

    Attributes:
        day: Sun and plan: as written down at the time where the journal holds it, else as reckoned now.
        moves: Of the plan: when, from where and to where.
        real: What happened; None without a journal.
        written: What the journal says of its plans; None without a journal.
        since: From when on the plan is the one that was written down; None when it is reckoned.
    """

    day: ShadeDay
    moves: list[tuple[datetime, float, float]]
    real: list[Happened] | None = None
    written: Written | None = None
    since: datetime | None = None

    @property
    def first(self) -> int:
        """The minute from which the plan counts: nothing is said of the hours before it was written down."""
        times = self.day.seen.sun.utc_s
        before = 0 if self.since is None else int((times < self.since.timestamp()).sum())
        return min(before, times.size - 1)

    @property
    def deepest_m(self) -> float:
        """How deep the sun comes with the plan."""
        return float(self.day.far_m[self.first :].max(initial=0.0))

    @property
    def begins_pct(self) -> float:
        """Where the plan begins, percent open."""
        return float(self.day.planned[self.first])


def run(args: argparse.Namespace) -> int:
    """Print the day of each shade."""
    from bridge.cli.year import shades_with_window  # noqa: PLC0415
    from bridge.core.rules.seeing import zone_of  # noqa: PLC0415
    from bridge.core.sun.daylight import local_day  # noqa: PLC0415
    from bridge.settings.load import load  # noqa: PLC0415

    settings = load(settings_path(args.settings))
    house = settings.house
    shades = shades_with_window(house, args.shade)
    site = _site(house)
    zone = zone_of(site.timezone)
    day = args.date or today(site)
    span = local_day(day, zone)
    found = _reckoned(args, house, shades, span)
    journal = args.journal or journal_at_hand(settings)
    lived = found if journal is None else _lived(journal, shades, span, found)
    if args.journal is not None or any(each.real for each in lived.values()):
        found = lived
    if args.picture is not None:
        from bridge.cli.day_picture import draw  # noqa: PLC0415  matplotlib

        panels = [
            (spec.name, each.day, each.real or [], each.since)
            for spec, each in zip(shades, found.values(), strict=True)
        ]
        draw(args.picture, panels, day=day, zone=zone, shades=DARK if args.dark else LIGHT)
    if args.json:
        shown = {name: _document(each) for name, each in found.items()}
        print(json.dumps({"date": day.isoformat(), "shades": shown}, allow_nan=False))
    else:
        print("\n\n".join("\n".join(_lines(spec, found[spec.id], site, day)) for spec in shades))
    return 0


def _reckoned(
    args: argparse.Namespace, house: HouseSpec, shades: list[ShadeSpec], span: LocalDay
) -> dict[ShadeId, Told]:
    from bridge.core.plan.day import shade_day  # noqa: PLC0415  numpy
    from bridge.shell.written_plan import changes  # noqa: PLC0415  numpy

    site = _site(house)
    days = {
        spec.id: shade_day(site, spec, house.restraint, span, outdoor_c=args.outdoor_c) for spec in shades
    }
    return {name: Told(day=day, moves=changes(day)) for name, day in days.items()}


def _lived(
    journal: Path, shades: list[ShadeSpec], span: LocalDay, found: dict[ShadeId, Told]
) -> dict[ShadeId, Told]:
    """Return the days with what the journal says of them."""
    from bridge.adapters.journal.reading import read_content  # noqa: PLC0415
    from bridge.shell.daybook import happened  # noqa: PLC0415
    from bridge.shell.written_plan import as_written, moves, since, written  # noqa: PLC0415

    content = read_content(journal)
    real = happened(content, list(found), span)
    noted = written(content, list(found), span)
    planned = {spec.id: as_written(found[spec.id].day, spec, noted[spec.id]) for spec in shades}
    return {
        name: Told(
            day=day,
            moves=moves(day, noted[name], span),
            real=real[name],
            written=noted[name],
            since=since(noted[name], span),
        )
        for name, day in planned.items()
    }


def _site(house: HouseSpec) -> Site:
    assert house.site is not None, "settings tell a place"
    return house.site


def today(site: Site) -> date:
    """Return the date on the clocks of the house."""
    from bridge.core.rules.seeing import zone_of  # noqa: PLC0415
    from bridge.shell.clock import now  # noqa: PLC0415

    return now().utc.astimezone(zone_of(site.timezone)).date()


def _lines(spec: ShadeSpec, told: Told, site: Site, on: date) -> list[str]:
    from bridge.core.rules.seeing import zone_of  # noqa: PLC0415

    zone, day = zone_of(site.timezone), told.day
    lit = day.seen.sun.utc_s[day.seen.wall.direct_sun]
    clocks = (
        [f"{datetime.fromtimestamp(float(at), tz=zone):%H:%M}" for at in (lit[0], lit[-1])]
        if lit.size
        else []
    )
    sun = f"sun on the window from {clocks[0]} to {clocks[1]}" if clocks else "no sun on the window"
    lines = [f"{spec.id} on {on:%a %d %b %Y}: {sun}"]
    if clocks:
        planned = (
            f", with the plan {_metres(told.deepest_m)}" if lit[-1] >= day.seen.sun.utc_s[told.first] else ""
        )
        lines.append(
            f"  it would reach {_metres(day.far_up_m.max())}{planned}"
            + ("" if day.limit_m is None else f"; the limit is {day.limit_m:.1f} m")
        )
    lines += _whose_plan(told, zone)
    lines.append(f"  begins at {told.begins_pct:.0f} % open")
    for at, one, other in told.moves:
        what = "lowered" if other < one else "raised"
        lines.append(f"  {at.astimezone(zone):%H:%M}  {what} to {other:.0f} %")
    ways = sum(a != b for a, b in pairwise(day.followed.tolist()))
    lines.append(f"  {len(told.moves)} moves; {ways} when the rules are followed look by look")
    return [*lines, *_what_happened(told, zone)]


def _whose_plan(told: Told, zone: tzinfo) -> list[str]:
    if told.written is None:
        return []
    if told.since is None:
        return ["  the journal holds no plan of this day; this one is reckoned now"]
    return [
        f"  the plan as it stood at each moment from {told.since.astimezone(zone):%H:%M} on, from the journal"
    ]


def _what_happened(told: Told, zone: tzinfo) -> list[str]:
    from bridge.shell.daybook import rests  # noqa: PLC0415

    if told.real is None:
        return []
    if not told.real:
        return ["  the journal tells nothing of this day"]
    lines = []
    for each in rests(told.real):
        where = "not known" if each.open_pct is None else f"at {round(each.open_pct)} %"
        held = ", held for a person" if each.held else ""
        lines.append(f"  {each.utc.astimezone(zone):%H:%M}  {where}{held}")
    return ["  what happened:", *lines]


def _metres(far_m: float) -> str:
    """Return a depth for people; a sun on the horizon reaches any."""
    return f"over {FARTHEST_M:.0f} m" if far_m > FARTHEST_M else f"{far_m:.1f} m"


def _document(told: Told) -> dict[str, Any]:
    day = told.day
    document: dict[str, Any] = {
        "limit_m": day.limit_m,
        "deepest_up_m": float(day.far_up_m.max()),
        "deepest_planned_m": told.deepest_m,
        "begins_pct": told.begins_pct,
        "moves": [{"utc": at.isoformat(), "from_pct": one, "to_pct": to} for at, one, to in told.moves],
    }
    if told.written is not None:
        from bridge.shell.written_plan import plans_told  # noqa: PLC0415

        document["planned_since_utc"] = None if told.since is None else told.since.isoformat()
        document["plans"] = plans_told(told.written.plans)
    if told.real is not None:
        document["happened"] = [
            {
                "utc": each.utc.isoformat(),
                "open_pct": each.open_pct,
                "held": each.held,
                "gust_mps": each.gust_mps,
            }
            for each in told.real
        ]
    return document
