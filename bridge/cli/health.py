"""`hembar health`: what the references say of each shade, from the journal; changes nothing."""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict
from math import isinf
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bridge.cli.naming import named
from bridge.cli.parser import HelpFormatter
from bridge.cli.pictures import DARK, LIGHT, add_picture
from bridge.core.errors import LinkError

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers
    from bridge.core.position.drift import Drift
    from bridge.core.position.health import Health
    from bridge.core.state import House

SHOWN = 5
EXAMPLE = "Example:\n  hembar health /var/lib/hembar/journal.db --picture health.svg"


def add_command(subparsers: Subparsers) -> None:
    """Add `health` to the commands."""
    parser = subparsers.add_parser(
        "health",
        help="what the references say of each shade: width, errors, scale, slip",
        description="Reads the journal (the service may be running) and says of each shade how well it is "
        "known, how that will go on, and which setting the references speak against. It never changes one.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "journal", metavar="JOURNAL", type=Path, help="the file in the service's state folder"
    )
    parser.add_argument("--shade", metavar="SHADE", help="only this one")
    add_picture(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the record of each shade."""
    from bridge.core.position.health import health_of  # noqa: PLC0415  only this command wants it

    house = _house(args.journal)
    asked = (
        house.shades.values()
        if args.shade is None
        else [named(args.shade, house.shades, among="this journal")]
    )
    found = {shade.id: health_of(shade.spec, shade.knowledge) for shade in asked}
    if args.picture is not None:
        from bridge.cli.health_picture import draw  # noqa: PLC0415  matplotlib takes a quarter of a second

        titled = {house.shades[name].spec.name: each for name, each in found.items()}
        draw(args.picture, titled, colours=DARK if args.dark else LIGHT)
    if args.json:
        print(json.dumps({"shades": {name: _document(each) for name, each in found.items()}}))
    else:
        print("\n\n".join("\n".join(_lines(name, each)) for name, each in found.items()))
    return 0


def _house(journal: Path) -> House:
    from bridge.adapters.journal.reading import read_content  # noqa: PLC0415
    from bridge.adapters.journal.replay import from_newest  # noqa: PLC0415
    from bridge.core.house import handle  # noqa: PLC0415

    house = from_newest(read_content(journal), handle).house
    if house is None:
        raise LinkError(
            where=f"journal {journal}",
            problem="nothing that can be trusted is in it",
            remedy="run `hembar replay` to see why",
        )
    return house


def _document(health: Health) -> dict[str, Any]:
    document = json.loads(json.dumps(asdict(health), default=str))
    if isinf(health.days_to_doubt):
        document["days_to_doubt"] = None
    return dict(document)


def _lines(name: str, health: Health) -> list[str]:
    met = health.met
    lines = [
        f"{name}: {health.grade.value}, known to {health.width_mm:.1f} mm",
        f"  {health.moves} moves and {health.turns:.0f} turns "
        + ("since the last reference" if met else "in all; no reference has been met yet"),
        f"  {_forecast(health)}",
    ]
    lines += [
        f"  {each.utc:%Y-%m-%d %H:%M} UTC  {each.landmark.value}: {_error(each.off_mm, each.inside)}"
        for each in met[-SHOWN:]
    ]
    return lines + _drift_lines(health.drift)


def _drift_lines(drift: Drift) -> list[str]:
    lines = []
    if drift.scale is None:
        lines.append("  scale: not observable; it takes references at two different places")
    else:
        lines.append(
            f"  scale: the hem bar goes {drift.scale.factor:.4f} ± {drift.scale.sure:.4f} of what is "
            f"reckoned ({drift.scale.passes} ways)"
        )
    if drift.slip is not None:
        lines.append(
            f"  slip: {drift.slip.mm_per_move:+.2f} ± {drift.slip.sure_mm:.2f} mm a move "
            f"({drift.slip.pairs} pairs)"
        )
    for happening in drift.happenings:
        lower = "lower" if happening.off_mm > 0 else "higher"
        lines.append(
            f"  event: between {happening.after:%Y-%m-%d %H:%M} and {happening.before:%Y-%m-%d %H:%M} UTC "
            f"it came to hang {abs(happening.off_mm):.0f} mm {lower} (a pull, or something in its way?)"
        )
    for proposal in drift.proposals:
        lines.append(f"  proposal: {proposal.key} = {proposal.value}")
        lines.append(f"    because {proposal.why}")
    return lines


def _forecast(health: Health) -> str:
    grows = f"each move adds about {health.growth_mm_a_move:.2f} mm"
    if health.days_to_doubt == 0:
        return f"{grows}; a reference is wanted now"
    if isinf(health.days_to_doubt):
        return f"{grows}; it will not become doubtful by itself"
    pace = "at 8 moves a day" if health.moves_a_day is None else f"at {health.moves_a_day:.1f} moves a day"
    return f"{grows}; doubtful in about {health.days_to_doubt:.0f} days {pace}"


def _error(off_mm: float | None, inside: bool | None) -> str:
    if off_mm is None:
        return "nothing had been claimed before"
    verdict = "inside the claim" if inside else "OUTSIDE the claim"
    return f"{off_mm:+.1f} mm from the middle of the estimate, {verdict}"
