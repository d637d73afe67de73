"""`hembar status`: one line a shade, as the running house shows itself on the broker."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING

from bridge.cli.broker_options import add_broker_options, columns, visit
from bridge.cli.house_view import house_lines, house_said
from bridge.cli.parser import HelpFormatter

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers

EXAMPLE = "Example:\n  hembar status --broker 192.0.2.10"


def add_command(subparsers: Subparsers) -> None:
    """Add `status` to the commands."""
    parser = subparsers.add_parser(
        "status",
        help="one line a shade: percent, band, grade, motion, why",
        description="Shows the house as it stands on the broker: each shade's percent open, to how many mm "
        "that is known, the grade of that knowledge, its motion, its board and why it is there. "
        "Exit 0, 1 when the bridge is not there, 69 without a broker.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    add_broker_options(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the house; return 1 when no bridge is at work."""
    with visit(args) as house:
        said = house_said(house.tree())
    if args.json:
        print(json.dumps(said, ensure_ascii=False))
    else:
        print("\n".join(house_lines(said, columns=columns())))
    return 0 if said["bridge"] == "ready" else 1
