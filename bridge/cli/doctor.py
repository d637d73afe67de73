"""`hembar doctor`: look broker, boards and machine over, and say what to put right."""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from bridge.cli.parser import HelpFormatter

if TYPE_CHECKING:
    from collections.abc import Sequence

    from bridge.cli.answers import Subparsers
    from bridge.core.checkup import Finding

EXAMPLE = "Example:\n  hembar doctor /etc/hembar/hembar.toml"


def add_command(subparsers: Subparsers) -> None:
    """Add `doctor` to the commands."""
    parser = subparsers.add_parser(
        "doctor",
        help="look broker, boards and machine over, and say what to put right",
        description="Tries by round trip what the bridge's name may do at the broker, looks for retained "
        "orders, a broker that forgets or swallows large messages, a second bridge, boards that are lost or "
        "old, a clock that nobody keeps, certificates about to expire. It moves nothing, and the service may "
        "be running. Exit 0 without a fault, 1 with one, 69 without a broker.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="the settings of the house")
    parser.add_argument("--all", action="store_true", help="show what is well, too")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print what was found; return 1 with a fault."""
    from bridge.core.checkup import Grade, findings  # noqa: PLC0415  only this command wants it
    from bridge.settings.load import load  # noqa: PLC0415  pydantic is heavy
    from bridge.shell.checkup import look_over  # noqa: PLC0415

    found = findings(look_over(load(args.file)))
    faults = [each for each in found if each.grade is Grade.FAULT]
    if args.json:
        print(json.dumps({"findings": [asdict(each) for each in found]}, ensure_ascii=False))
    else:
        print("\n".join(_lines(found, everything=args.all)))
    return 1 if faults else 0


def _lines(found: Sequence[Finding], *, everything: bool) -> list[str]:
    from bridge.core.checkup import Grade  # noqa: PLC0415

    lines = []
    for grade in reversed(Grade):
        for each in found:
            if each.grade is grade and (everything or grade is not Grade.FINE):
                lines.append(f"{grade:<7} {each.subject}: {each.text}")
                if each.remedy:
                    lines.append(f"        -> {each.remedy}")
    fine = sum(each.grade is Grade.FINE for each in found)
    hint = "" if everything else "; --all shows them"
    return [*lines, f"{fine} of {len(found)} things are well{hint}"]
