"""`hembar run`: the daemon, until a signal ends it."""

from __future__ import annotations

import argparse
import asyncio
import gc
import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from bridge.cli.parser import HelpFormatter
from bridge.cli.state_folder import state_folder

if TYPE_CHECKING:
    from argparse import _SubParsersAction

EXAMPLE = "Example:\n  hembar run /etc/hembar/hembar.toml --state /var/lib/hembar"


def add_command(subparsers: _SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `run` to the command tree."""
    parser = subparsers.add_parser(
        "run",
        help="the service itself",
        description="Serve the house in the settings file until SIGTERM or SIGINT. SIGHUP reads "
        "the file again; one with faults changes nothing.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="the settings, such as config/hembar.toml")
    parser.add_argument("--state", type=Path, metavar="DIR", help="where the journal is kept")
    parser.add_argument("--verbose", action="store_true", help="log every message")
    parser.add_argument("--log-json", action="store_true", help="log one JSON object a line")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the daemon; exit 0 after a clean stop."""
    from bridge.settings.apart import Reading, load_apart  # noqa: PLC0415  only this command wants it

    reading = Reading(args.file)  # first of all: it forks
    # structlog would load it wherever it is installed, 4 MB, for tracebacks in colour.
    sys.modules.setdefault("rich", None)  # type: ignore[arg-type]  # the documented way to say "not there"
    from bridge.shell import logs  # noqa: PLC0415  heavy, and meanwhile the settings are read
    from bridge.shell.daemon import serve  # noqa: PLC0415

    settings = reading.result()
    state = state_folder(args.state, settings, args.file)
    log = logs.begin(verbose=args.verbose, as_json=args.log_json)
    # What stands now stays: looking through it for garbage now and then would hold an order up by 10 ms.
    gc.collect()
    gc.freeze()
    asyncio.run(serve(settings, state, log, reread=partial(load_apart, args.file)))
    return 0
