"""`hembar soak`: simulated houses with every fault, and whether a claim ever left out the truth.

A failing seed prints one command that replays it. The same seed gives the same story.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import sys
from time import monotonic
from typing import TYPE_CHECKING, Any

from bridge.cli import soak_recovery
from bridge.cli.answers import number, whole_number
from bridge.cli.parser import HelpFormatter
from bridge.core.errors import RequestError

if TYPE_CHECKING:
    from bridge.simulate.world.soak import Failure, Share

BAR_CELLS = 30
LINES_OF_A_STORY = 60
# More take longer to build than anybody waits for.
SHADES_MAX = 500
SEEDS_MAX = 1_000_000


def add_command(subparsers: Any) -> None:
    """Add `soak` to the command line."""
    parser = subparsers.add_parser(
        "soak",
        help="simulate houses with faults and check every invariant",
        description="Runs the deciding core against simulated boards, shades, networks and people in virtual "
        "time, draws faults from each seed, and checks after every event that what is claimed is true.",
        epilog="Example:\n  hembar soak --seeds 1-200 --days 2",
        formatter_class=HelpFormatter,
    )
    parser.add_argument("--seeds", required=True, metavar="A-B", help="seeds to run, such as 1-200, or one")
    parser.add_argument(
        "--days", type=number, default=2.0, metavar="D", help="simulated days a seed (default 2)"
    )
    parser.add_argument(
        "--faults", metavar="KINDS", help="kinds of fault, with commas; all by default, or none"
    )
    parser.add_argument(
        "--shades", type=whole_number, default=0, metavar="N", help="shades in a house; drawn by default"
    )
    parser.add_argument(
        "--one-way",
        type=whole_number,
        metavar="N",
        help="shades on boards that never report; drawn by default",
    )
    parser.add_argument(
        "--wire", action="store_true", help="send every message through its bytes on the wire"
    )
    parser.add_argument(
        "--careful", action="store_true", help="every shade has a good upper switch and narrow allowances"
    )
    parser.add_argument(
        "--jobs", type=whole_number, default=os.cpu_count() or 1, metavar="N", help="processes to use"
    )
    parser.add_argument(
        "--minutes", type=number, metavar="M", help="begin no more seeds after so long, however many are left"
    )
    parser.add_argument(
        "--recovery",
        action="store_true",
        help="instead, one fault of each kind in a house of each seed, and how soon it serves again",
    )
    parser.add_argument("--story", action="store_true", help="print the last events before each failure")
    parser.add_argument("--json", action="store_true", help="print the summary as JSON")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the seeds and print the summary; 1 when any of them failed."""
    from bridge.simulate.world.soak import added, run_all  # noqa: PLC0415  slow, and only needed here
    from bridge.simulate.world.world import Options  # noqa: PLC0415

    first, last = _seeds(args.seeds)
    faults = _faults(args.faults)
    _check_numbers(args)
    if args.recovery:
        return soak_recovery.run(args, range(first, last + 1), faults)
    every = [
        Options(
            seed=seed,
            days=args.days,
            faults=faults,
            shades=args.shades,
            one_way=args.one_way,
            wire=args.wire,
            trace=args.story,
            careful=args.careful,
        )
        for seed in range(first, last + 1)
    ]
    began, shares, done = monotonic(), [], 0
    until_s = float("inf") if args.minutes is None else began + 60 * args.minutes
    lines = LINES_OF_A_STORY if args.story else 0
    for share in run_all(every, jobs=args.jobs, lines=lines, until_s=until_s):
        shares.append(share)
        done += share.seeds
        _progress(done, len(every), sum(len(each.failures) for each in shares))
    total = added(shares)
    took_s = monotonic() - began
    print(_as_json(total, took_s) if args.json else _table(total, took_s))
    for failure in total.failures:
        print(_told(failure, args), file=sys.stderr)
    return 1 if total.failures else 0


def _check_numbers(args: argparse.Namespace) -> None:
    if not 0 < args.days <= 10_000:
        raise RequestError(where="--days", problem=f"{args.days:g} days", remedy="give 0.1 to 10000")
    if args.minutes is not None and args.minutes <= 0:
        raise RequestError(where="--minutes", problem=f"{args.minutes:g} minutes", remedy="give more than 0")
    if args.jobs < 1:
        raise RequestError(where="--jobs", problem=f"{args.jobs} processes", remedy="give 1 or more")
    for name, shades in (("--shades", args.shades), ("--one-way", args.one_way or 0)):
        if shades > SHADES_MAX:
            raise RequestError(where=name, problem=f"{shades} shades", remedy=f"give {SHADES_MAX} at most")


def _seeds(text: str) -> tuple[int, int]:
    found = re.fullmatch(r"([0-9]{1,12})(?:-([0-9]{1,12}))?", text)
    if found:
        first, last = int(found[1]), int(found[2] or found[1])
        if last - first >= SEEDS_MAX:
            asked = f"{last - first + 1} seeds"
            raise RequestError(where="--seeds", problem=asked, remedy=f"give {SEEDS_MAX} at most at once")
        if first <= last:
            return first, last
    raise RequestError(where="--seeds", problem=f"{text[:40]!r} is no range", remedy="give one such as 1-200")


def _faults(text: str | None) -> tuple[str, ...]:
    from bridge.simulate.world.faults import KINDS  # noqa: PLC0415

    if text is None:
        return tuple(KINDS)
    kinds = () if text == "none" else tuple(text.split(","))
    unknown = [kind for kind in kinds if kind not in KINDS]
    if unknown:
        raise RequestError(
            where="--faults",
            problem=f"there is no fault {unknown[0][:40]!r}",
            remedy=f"choose from {', '.join(KINDS)}, or none",
        )
    return kinds


def _progress(done: int, of: int, failed: int) -> None:
    if not sys.stderr.isatty():
        return
    cells = BAR_CELLS * done // of
    bar = "#" * cells + "." * (BAR_CELLS - cells)
    end = "\n" if done == of else ""
    print(f"\r[{bar}] {done}/{of} seeds, {failed} failed", end=end, file=sys.stderr, flush=True)


def _rows(total: Share, took_s: float) -> list[tuple[str, str]]:
    figures = total.figures
    faults = sum(figures.faults.values())
    days = max(figures.shade_days, 1e-9)
    rows = [
        ("seeds", f"{total.seeds}"),
        ("shade-days", f"{figures.shade_days:.0f} ({figures.one_way_days:.0f} on boards that never report)"),
        ("moves by order", f"{figures.moves} ({figures.moves / days:.1f} a day)"),
        ("moves at the board", f"{figures.local_moves}"),
        ("requests", f"{figures.requests}"),
        ("events decided", f"{figures.events}"),
        ("references taken", f"{figures.references}"),
        ("shared", f"{figures.shared_starts} starts on a supply, {figures.group_asks} requests to a group"),
        ("moves by rules", f"{figures.rule_moves}"),
        ("undetectable events", f"{figures.undetectable} (exempt until the next reference)"),
        ("faults", f"{faults} ({100 * figures.in_motion / max(faults, 1):.0f} % in motion)"),
    ]
    rows += [(f"  {kind}", f"{number}") for kind, number in figures.faults.most_common()]
    rows += [("requests that ended", f"{sum(figures.fates.values())}")]
    rows += [(f"  {fate}", f"{number}") for fate, number in figures.fates.most_common()]
    return [*rows, *_width_rows(total), *_last_rows(total, took_s, days)]


def _width_rows(total: Share) -> list[tuple[str, str]]:
    from bridge.simulate.world.soak import widths  # noqa: PLC0415

    return [
        (
            f"width on day {each.day}, {each.link}, {'with' if each.sensed else 'without'} a sensor",
            f"median {each.median_mm:.1f} mm, {each.ratio:.1f} times the {each.error_mm:.2f} mm it is off",
        )
        for each in widths(total.figures)
    ]


def _last_rows(total: Share, took_s: float, days: float) -> list[tuple[str, str]]:
    return [
        ("time per shade-day", f"{1000 * total.cpu_s / days:.1f} ms of one processor"),
        ("took", f"{took_s:.1f} s"),
        ("escapes", f"{len(total.failures)}"),
    ]


def _table(total: Share, took_s: float) -> str:
    rows = _rows(total, took_s)
    wide = max(len(name) for name, _ in rows)
    return "\n".join(f"{name:<{wide}}  {value}" for name, value in rows)


def _as_json(total: Share, took_s: float) -> str:
    from bridge.simulate.world.soak import widths  # noqa: PLC0415

    figures = total.figures
    names = (
        "shade_days",
        "one_way_days",
        "moves",
        "local_moves",
        "requests",
        "events",
        "orders",
        "references",
        "shared_starts",
        "rule_moves",
        "group_asks",
        "undetectable",
    )
    said: dict[str, object] = {"seeds": total.seeds, **{name: getattr(figures, name) for name in names}}
    said |= {"faults": dict(figures.faults), "in_motion": figures.in_motion, "fates": dict(figures.fates)}
    said["widths"] = [
        {
            "day": w.day,
            "link": w.link,
            "sensor": w.sensed,
            "median_mm": w.median_mm,
            "error_mm": w.error_mm,
            "ratio": w.ratio,
        }
        for w in widths(figures)
    ]
    said |= {"cpu_s": total.cpu_s, "took_s": took_s}
    said["failures"] = [
        {"seed": f.seed, "invariant": f.invariant, "at_s": f.at_s, "story": f.story} for f in total.failures
    ]
    return json.dumps(said, indent=1)


def _told(failure: Failure, args: argparse.Namespace) -> str:
    again = f"hembar soak --seeds {failure.seed} --days {args.days:g} --story"
    again += f" --faults {args.faults}" if args.faults else ""
    again += f" --shades {args.shades}" if args.shades else ""
    again += "" if args.one_way is None else f" --one-way {args.one_way}"
    again += " --wire" if args.wire else ""
    again += " --careful" if args.careful else ""
    lines = [*failure.trace, f"{failure.invariant} after {failure.at_s:.0f} s: {failure.story}", f"  {again}"]
    return "\n".join(lines)
