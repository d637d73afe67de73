"""`hembar confirm`: a person at the window says at which limit the hem bar hangs."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from bridge.cli.broker_options import add_broker_options, visit
from bridge.cli.move import Wish, ask
from bridge.cli.parser import HelpFormatter

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers

EXAMPLE = (
    "Example:\n  hembar confirm landing lower\n\n"
    "Take the hem bar to its mark by the button at its board first, and look at it while you confirm."
)


def add_command(subparsers: Subparsers) -> None:
    """Add `confirm` to the commands."""
    parser = subparsers.add_parser(
        "confirm",
        help="tell it that the hem bar hangs at its upper or lower limit now",
        description="A reference by hand: from now on the position is known to what a person can see.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("shade", metavar="SHADE", help="its id, as in `hembar status`")
    parser.add_argument("place", choices=("upper", "lower"), help="the limit at which it hangs")
    add_broker_options(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Tell the house; return 0 when it takes it, 1 when it refuses."""
    with visit(args) as house:
        return ask(house, args, Wish("knowledge/confirm", args.place.encode()))
