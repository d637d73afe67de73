"""`hembar demo`: a simulated house with the real service, and a story that shows what it knows."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from bridge.cli.parser import HelpFormatter
from bridge.cli.state_folder import made

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers

EXAMPLE = "Example:\n  hembar demo --story-only"


def add_command(subparsers: Subparsers) -> None:
    """Add `demo` to the commands."""
    parser = subparsers.add_parser(
        "demo",
        help="a simulated house with the real service, and a short story",
        description="Starts a broker on loopback, three simulated shades and the real service, tells a story "
        "of about two minutes, and stays open for requests from a second terminal until Ctrl-C.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--story-only", action="store_true", help="end when the story is told")
    parser.add_argument("--folder", type=Path, metavar="DIR", help="keep settings, journal and log there")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the demo; Ctrl-C or SIGTERM ends it cleanly."""
    with contextlib.ExitStack() as stack:
        folder = args.folder
        if folder is None:
            passing = tempfile.TemporaryDirectory(prefix="hembar-demo-", ignore_cleanup_errors=True)
            folder = Path(stack.enter_context(passing))
        return _show(made(folder, "--folder"), story_only=args.story_only)


def _show(folder: Path, *, story_only: bool) -> int:
    from bridge.shell.demo import show  # noqa: PLC0415  heavy, and only this command wants it

    try:
        asyncio.run(show(folder, _say, story_only=story_only))
    except (KeyboardInterrupt, asyncio.CancelledError):
        _say("\nThe house is closed.")
    return 0


def _say(line: str) -> None:
    print(line, flush=True)
