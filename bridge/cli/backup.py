"""`hembar backup`: a house in one file; the service may be running."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

from bridge.cli.parser import HelpFormatter
from bridge.cli.state_folder import state_folder

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers
    from bridge.settings.plain import Settings

EXAMPLE = "Example:\n  hembar backup /etc/hembar/hembar.toml --state /var/lib/hembar --to gull-house.tar.gz"


def add_command(subparsers: Subparsers) -> None:
    """Add `backup` to the commands."""
    parser = subparsers.add_parser(
        "backup",
        help="settings, journal and the broker's memory in one file",
        description="Writes the settings file, the journal and what the broker remembers of each shade into "
        "one file, to go on from on another machine with `hembar restore`. The service may be running. "
        "Passwords, keys and certificates are not in it: it says which ones to take along by hand.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="the settings of the house")
    parser.add_argument("--state", type=Path, metavar="DIR", help="where the journal is kept")
    parser.add_argument("--to", type=Path, required=True, metavar="ARCHIVE", help="the file to write")
    parser.add_argument("--no-broker", action="store_true", help="leave the broker's memory out")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the archive and say what is in it."""
    from bridge.adapters import archive  # noqa: PLC0415  the commands that use it pay for it
    from bridge.adapters.journal.files import JOURNAL, copied  # noqa: PLC0415
    from bridge.settings.load import load  # noqa: PLC0415
    from bridge.shell.clock import now  # noqa: PLC0415

    settings = load(args.file)
    journal = copied(state_folder(args.state, settings, args.file) / JOURNAL)
    memory = {} if args.no_broker else _memory(settings)
    made = archive.Archive(
        settings=args.file.read_bytes(), journal=journal, memory=memory, made_utc=now().utc
    )
    archive.write(args.to, made)
    apart = [str(path) for path in _secrets(settings)]
    if args.json:
        said = {
            "archive": str(args.to),
            "journal_bytes": len(journal),
            "memories": len(memory),
            "apart": apart,
        }
        print(json.dumps(said))
        return 0
    size = f"{len(journal) // 1024} kB"
    print(f"{args.to}: the settings, the journal ({size}), {len(memory)} memories of the broker")
    for path in apart:
        print(f"not in it, take it along by hand: {path}")
    return 0


def _memory(settings: Settings) -> dict[str, str]:
    from bridge.adapters.broker.examining import Examination  # noqa: PLC0415
    from bridge.adapters.broker.memory import MemoryShelf  # noqa: PLC0415
    from bridge.shell.addresses import address_of  # noqa: PLC0415

    broker = settings.broker
    shelf = MemoryShelf(boards_root=broker.boards_root, device=broker.root_device)
    with Examination(address_of(broker, role="backup")) as visit:
        held = visit.held([shelf.subscription().topic])
    return {each.topic: each.payload.decode("utf-8", "replace") for each in held}


def _secrets(settings: Settings) -> list[Path]:
    broker = settings.broker
    named = (broker.password_file, broker.ca_file, broker.cert_file, broker.key_file)
    return [path for path in named if path is not None]
