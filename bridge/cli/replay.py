"""`hembar replay`: does this version, in another process, decide again what the journal says it decided?

Exit codes: 0 all the same, 1 a difference or damage, 2 the file can't be read.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bridge.cli.parser import HelpFormatter
from bridge.core.errors import BridgeError

if TYPE_CHECKING:
    from bridge.adapters.journal.replay import Replayed
    from bridge.adapters.journal.rows import Content
    from bridge.ports import Difference

    Subparsers = argparse._SubParsersAction[argparse.ArgumentParser]  # noqa: SLF001  argparse names it only so

_SHOWN = 20
_EXCERPT = 160


def add_command(subparsers: Subparsers) -> None:
    """Register `replay`."""
    parser = subparsers.add_parser(
        "replay",
        help="decide everything in a journal again and compare",
        description=(
            "Replays every event that a journal holds and compares each decision, byte for byte, and each "
            "later snapshot. Reads only; the bridge may be running. "
            "Exit codes: 0 all the same, 1 a difference or damage, 2 the file can't be read."
        ),
        epilog="Example:\n  hembar replay /var/lib/hembar/journal.db",
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("journal", metavar="JOURNAL", type=Path, help="the file that the settings name")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Replay one journal, print what came of it, and return the exit code."""
    from bridge.adapters.journal.reading import read_content  # noqa: PLC0415  50 ms that others need not pay
    from bridge.adapters.journal.replay import from_oldest  # noqa: PLC0415
    from bridge.core.house import handle  # noqa: PLC0415

    try:
        content = read_content(args.journal)
    except BridgeError as error:
        print(f"hembar replay: {error}", file=sys.stderr)
        return 2
    replayed = from_oldest(content, handle)
    document = _document(args.journal, content, replayed)
    print(json.dumps(document, allow_nan=False) if args.json else _words(document, replayed.differences))
    return 0 if document["same"] else 1


def _document(path: Path, content: Content, replayed: Replayed) -> dict[str, Any]:
    first = replayed.through - replayed.events + 1
    times = {row.id: row.utc for row in content.rows}
    damage = [text for text, _ in content.told] + list(replayed.damage)
    return {
        "journal": str(path),
        "same": not replayed.differences and not damage and not replayed.lost,
        "events": replayed.events,
        "first_event": first if replayed.events else None,
        "last_event": replayed.through if replayed.events else None,
        "first_utc": times.get(first),
        "last_utc": times.get(replayed.through),
        "orders": replayed.orders,
        "snapshots": replayed.snapshots,
        "differences": [asdict(difference) for difference in replayed.differences],
        "damage": damage,
        "lost": replayed.lost,
    }


def _words(document: dict[str, Any], differences: tuple[Difference, ...]) -> str:
    lines = [f"journal {document['journal']}"]
    if document["events"]:
        lines.append(
            f"events {document['first_event']} to {document['last_event']}, "
            f"{document['first_utc']} to {document['last_utc']}"
        )
    lines.append(
        f"{document['events']} events replayed, {document['orders']} orders, "
        f"{document['snapshots']} later snapshots compared"
    )
    lines += [f"damage: {text}" for text in document["damage"]]
    for difference in differences[:_SHOWN]:
        lines += _difference(difference)
    if len(differences) > _SHOWN:
        lines.append(f"and {len(differences) - _SHOWN} more; --json prints them all")
    if document["same"]:
        lines.append("the same: every decision came out again byte for byte")
    else:
        lines.append(f"not the same: {len(differences)} differences, {len(document['damage'])} damages")
    return "\n".join(lines)


def _difference(difference: Difference) -> list[str]:
    about = ", ".join(difference.shades) or "the house"
    pairs = zip(difference.kept, difference.replayed, strict=False)
    part = next((place for place, (kept, new) in enumerate(pairs) if kept != new), 0)
    start = max(0, part - _EXCERPT // 4)
    return [
        f"event {difference.row} at {difference.utc}, about {about}, from character {start}:",
        f"  kept      {difference.kept[start : start + _EXCERPT]}",
        f"  replayed  {difference.replayed[start : start + _EXCERPT]}",
    ]
