"""`hembar release`: the rules may move a shade or a group again, before its hold is over."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from bridge.cli.broker_options import add_broker_options, visit
from bridge.cli.move import Wish, ask
from bridge.cli.parser import HelpFormatter

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers

EXAMPLE = (
    "Examples:\n  hembar release study\n  hembar release attic\n\n"
    "The rules may move it at once: keep the hem path clear."
)


def add_command(subparsers: Subparsers) -> None:
    """Add `release` to the commands."""
    parser = subparsers.add_parser(
        "release",
        help="end the hold of a shade or a group: the rules may move it again",
        description="After a person's request the rules leave a shade alone for a while; this ends that. "
        "Exit 0 when it is accepted, 1 when the house refuses, 69 without a broker.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("shade", metavar="SHADE", help="its id or a group's, as in `hembar status`")
    add_broker_options(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """End the hold; return 0 when the house takes it, 1 when it refuses."""
    with visit(args) as house:
        return ask(house, args, Wish("reason/release", b"release"))
