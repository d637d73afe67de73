"""`hembar restore`: put a backup in place on this machine; the service must not be running."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

from bridge.cli.parser import HelpFormatter
from bridge.core.errors import RequestError

if TYPE_CHECKING:
    from bridge.adapters.archive import Archive
    from bridge.cli.answers import Subparsers
    from bridge.settings.plain import Settings

EXAMPLE = (
    "Example:\n  hembar restore gull-house.tar.gz --settings /etc/hembar/hembar.toml --state /var/lib/hembar"
)


def add_command(subparsers: Subparsers) -> None:
    """Add `restore` to the commands."""
    parser = subparsers.add_parser(
        "restore",
        help="go on from a backup on this machine",
        description="Puts the settings file and the journal of a backup in place, each checked first. Stop "
        "the old machine's service before: two bridges must not be in charge of one house. What moved since "
        "the backup was made shows when the boards answer; what cannot be known then is in doubt until a "
        "reference.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("archive", type=Path, metavar="ARCHIVE", help="what `hembar backup` wrote")
    parser.add_argument("--settings", type=Path, required=True, metavar="FILE", help="where the settings go")
    parser.add_argument("--state", type=Path, required=True, metavar="DIR", help="where the journal goes")
    parser.add_argument(
        "--replace", action="store_true", help="what stands there is set aside under another name"
    )
    parser.add_argument(
        "--memory", action="store_true", help="give the broker its memories, too, where it has none"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Check the whole backup, then put it in place."""
    from bridge.adapters import archive  # noqa: PLC0415  the commands that use it pay for it
    from bridge.adapters.journal.files import JOURNAL, put  # noqa: PLC0415
    from bridge.shell.journal_file import known_shades  # noqa: PLC0415

    kept = archive.read(args.archive)
    settings = _settings(kept, args)
    shades = known_shades(kept.journal)
    journal = args.state / JOURNAL
    for path in (args.settings, journal):
        if path.exists() and not args.replace:
            raise RequestError(
                where=str(path),
                problem="there is a file already",
                remedy="give --replace to set it aside, or name another place",
            )
    put(journal, kept.journal)
    _put_settings(kept.settings, args.settings)
    given = _remember(kept, settings) if args.memory else 0
    if args.json:
        said = {"journal": str(journal), "settings": str(args.settings), "shades": shades}
        print(json.dumps({**said, "made_utc": kept.made_utc.isoformat(), "memories": given}))
        return 0
    print(f"{journal}: {shades} shades, as of {kept.made_utc:%Y-%m-%d %H:%M} UTC")
    print(f"{args.settings}: as it was")
    if args.memory:
        print(f"the broker was given {given} memories that it did not have")
    print(f"now: hembar run {args.settings} --state {args.state}; then: hembar doctor {args.settings}")
    return 0


def _settings(kept: Archive, args: argparse.Namespace) -> Settings:
    from bridge.settings.load import load_text  # noqa: PLC0415

    text = kept.settings.decode("utf-8", "replace")
    return load_text(text, origin=f"{args.archive}, settings.toml", folder=args.settings.parent)


def _put_settings(data: bytes, path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.exists():
        number = 1
        while (aside := path.with_name(f"{path.name}.aside-{number}")).exists():
            number += 1
        path.rename(aside)
    path.write_bytes(data)


def _remember(kept: Archive, settings: Settings) -> int:
    from bridge.adapters.broker.examining import Examination  # noqa: PLC0415
    from bridge.adapters.broker.memory import MemoryShelf  # noqa: PLC0415
    from bridge.shell.addresses import address_of  # noqa: PLC0415

    broker = settings.broker
    shelf = MemoryShelf(boards_root=broker.boards_root, device=broker.root_device)
    given = 0
    with Examination(address_of(broker, role="restore")) as visit:
        held = {each.topic for each in visit.held([shelf.subscription().topic])}
        for topic, said in kept.memory.items():
            if topic not in held and shelf.shade_of(topic) is not None:
                visit.allowed(topic, said.encode(), retain=True)
                given += 1
    return given
