"""`hembar commission`: leads a person at a new shade, tool in hand, to settings that can be trusted.

What is asked, moved and learnt is decided in `core/commissioning`; terminal, files and broker are in
`commission_run.py`.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from bridge.cli.answers import number
from bridge.cli.parser import HelpFormatter
from bridge.core.errors import RequestError

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers

EXAMPLE = (
    "Examples:\n"
    "  hembar commission study --settings hembar.toml\n"
    "  hembar commission study --settings hembar.toml --new-board     (the old one has died)\n"
    "  hembar commission study --settings hembar.toml --trim-lower -4 (4 mm further up)\n"
    "  hembar commission study --settings hembar.toml --answers study.toml   (from a script)\n\n"
    "Every question also takes `undo`, and `quit`, which puts it away until the next time."
)


def add_command(subparsers: Subparsers) -> None:
    """Add `commission` to the commands."""
    parser = subparsers.add_parser(
        "commission",
        help="lead a person at a new shade to settings that can be trusted",
        description="Asks, moves the shade a little, asks again; what it learns it writes into the settings, "
        "their comments kept, and on a sheet to print. Until it is done the bridge leaves the shade alone.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("shade", metavar="SHADE", help="its id in the settings, where its measures stand")
    parser.add_argument(
        "--settings", type=Path, required=True, metavar="FILE", help="the settings to complete"
    )
    parser.add_argument("--broker", metavar="HOST[:PORT]", help="the broker (default: that of the settings)")
    parser.add_argument("--answers", type=Path, metavar="FILE", help="take answers from this TOML file")
    parser.add_argument(
        "--answer", action="append", default=[], metavar="KEY=TEXT", help="take one answer; may be repeated"
    )
    parser.add_argument(
        "--sheet", type=Path, metavar="FILE", help="where the sheet goes (beside the settings)"
    )
    parser.add_argument("--anew", action="store_true", help="forget what an earlier run has learnt")
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--new-board", action="store_true", help="only what another board makes necessary")
    what.add_argument(
        "--new-drive", action="store_true", help="only what another motor, gear or tube makes necessary"
    )
    what.add_argument("--new-window", action="store_true", help="only what another window makes necessary")
    parser.add_argument("--trim-upper", type=number, metavar="MM", help="move the upper limit, down positive")
    parser.add_argument("--trim-lower", type=number, metavar="MM", help="move the lower limit, down positive")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Lead the person; return 0 once it is done, 1 when it was put away."""
    trims = args.trim_upper is not None or args.trim_lower is not None
    if trims and (args.new_board or args.new_drive or args.new_window or args.anew):
        raise RequestError(
            where="--trim-upper, --trim-lower",
            problem="a trim moves limits and nothing else",
            remedy="give no other of these options beside it",
        )
    from bridge.cli.commission_run import commission  # noqa: PLC0415  pydantic, tomlkit and paho are heavy

    return commission(args)
