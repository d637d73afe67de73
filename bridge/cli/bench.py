"""`hembar bench`: how long a request takes to become an order, beside a bare client and the broker alone."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from bridge.cli.answers import whole_number
from bridge.cli.parser import HelpFormatter
from bridge.core.errors import RequestError

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers

EXAMPLE = "Example:\n  hembar bench --quick"


def add_command(subparsers: Subparsers) -> None:
    """Add `bench` to the commands."""
    parser = subparsers.add_parser(
        "bench",
        help="measure the way from a request to an order, and what the service takes",
        description="Starts a broker, the real service and a bare client of the same library, and measures "
        "them in turn on this machine. Takes about two minutes, or half a minute with --quick. Nothing real "
        "moves; the figures are a report, so the exit code is 0 whatever they say, and 69 without a broker.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--quick", action="store_true", help="fewer repetitions: a first look")
    parser.add_argument("--disk", type=Path, metavar="DIR", help="measure the disk that holds this folder")
    what = parser.add_mutually_exclusive_group()
    what.add_argument(
        "--page", action="store_true", help="measure what 20 browsers cost that look at 50 windows, instead"
    )
    what.add_argument(
        "--storm",
        type=whole_number,
        metavar="RATE",
        help="measure a request among so many rubbish messages a second, instead",
    )
    parser.add_argument(
        "--scale",
        action="store_true",
        help="measure what a shade costs in houses of 50, 500 and 5,000, instead; takes some minutes",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Measure and print."""
    if args.disk is not None and not args.disk.is_dir():
        raise RequestError(
            where=f"--disk {args.disk}", problem="there is no such folder", remedy="name one that stands"
        )
    if args.page:
        from bridge.shell.bench import looked_at  # noqa: PLC0415

        looked = looked_at.run(quick=args.quick, say=_say)
        print(json.dumps(looked_at.document(looked)) if args.json else looked_at.table(looked))
        return 0
    if args.storm:
        from bridge.shell.bench import storm  # noqa: PLC0415

        stormed = storm.run(args.storm, 10.0 if args.quick else 60.0, _say)
        print(json.dumps(storm.document(stormed)) if args.json else storm.table(stormed))
        return 0
    if args.scale:
        from bridge.shell.bench import scale  # noqa: PLC0415

        scaled = scale.run(scale.QUICK if args.quick else scale.SIZES, 10.0 if args.quick else 20.0, _say)
        print(json.dumps(scale.document(scaled)) if args.json else scale.table(scaled))
        return 0
    from bridge.shell.bench import report  # noqa: PLC0415  heavy, and only this command wants it
    from bridge.shell.bench.patterns import FULL, QUICK  # noqa: PLC0415
    from bridge.shell.bench.run import run as measure  # noqa: PLC0415

    measured = measure(QUICK if args.quick else FULL, args.disk, _say)
    print(json.dumps(report.document(measured)) if args.json else report.table(measured))
    return 0


def _say(line: str) -> None:
    print(line, file=sys.stderr, flush=True)
