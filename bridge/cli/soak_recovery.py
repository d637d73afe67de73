"""`hembar soak --recovery`: how soon a simulated house serves again after one fault, kind by kind."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from math import isnan
from typing import TYPE_CHECKING

from bridge.core.errors import RequestError

if TYPE_CHECKING:
    from bridge.simulate.world.single import Recovery

HEAD = (
    "fault            houses  in motion   heard again, s     up again, s       told  late\n"
    "                                     median  p99  most  median  p99  most"
)


def run(args: argparse.Namespace, seeds: range, kinds: Sequence[str]) -> int:
    """Print a line for each kind of fault; 1 when any house took longer than it may."""
    from bridge.simulate.world.single import recoveries  # noqa: PLC0415  slow, and only needed here

    if not kinds:
        raise RequestError(where="--faults", problem="none is nothing to recover from", remedy="name some")
    found = []
    if not args.json:
        print(HEAD)
    for each in recoveries(seeds, kinds, jobs=args.jobs):
        found.append(each)
        if not args.json:
            print(_line(each), flush=True)
    if args.json:
        print(json.dumps([_said(each) for each in found], indent=1))
    else:
        print("heard again: from when everybody can hear everybody until every shade is in conversation.")
        print("up again: until a shade asked then is at its upper limit, by way of its switch if it has one.")
        print("told: shades that did not go there, and said what a person must do.")
    late = [f"{each.kind}: {line}" for each in found for line in each.late]
    for line in late:
        print(line, file=sys.stderr)
    return 1 if late else 0


def _line(each: Recovery) -> str:
    heard, served = (_spread(times) for times in (each.heard_s, each.served_s))
    numbers = "".join(f"{_told(at):>8}{_told(high):>6}{_told(most):>6}" for at, high, most in (heard, served))
    return f"{each.kind:<16} {each.houses:>6} {each.moving:>10} {numbers} {each.told:>5} {len(each.late):>5}"


def _told(seconds: float) -> str:
    return "-" if isnan(seconds) else f"{seconds:.1f}"


def _spread(times: list[float]) -> tuple[float, float, float]:
    """Return the median, the 99th percentile and the most; by nearest rank."""
    if not times:
        return (float("nan"),) * 3
    ordered = sorted(times)
    rank = [-(-len(ordered) * share // 100) - 1 for share in (50, 99)]
    return ordered[rank[0]], ordered[rank[1]], ordered[-1]


def _said(each: Recovery) -> dict[str, object]:
    names = ("median", "p99", "most")
    return {
        "fault": each.kind,
        "houses": each.houses,
        "in_motion": each.moving,
        "heard_s": dict(zip(names, _spread(each.heard_s), strict=True)) if each.heard_s else None,
        "served": len(each.served_s),
        "served_s": dict(zip(names, _spread(each.served_s), strict=True)) if each.served_s else None,
        "told": each.told,
        "late": each.late,
    }
