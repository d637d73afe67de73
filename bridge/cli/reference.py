"""`hembar reference`: leads a person at the window through a reference by hand, or lets the switch do it."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from typing import TYPE_CHECKING

from bridge.cli.broker_options import add_broker_options, shade_device, text, visit
from bridge.cli.move import ANSWER_S, REFUSED
from bridge.cli.parser import HelpFormatter
from bridge.core.errors import RequestError

if TYPE_CHECKING:
    from bridge.adapters.broker.oneshot import Visit
    from bridge.cli.answers import Subparsers

TRAVEL_S = 180.0
SETS_OFF_S = 20.0
CAUTIONS = (
    "Before you begin:",
    "  - Stand at the window and look at the shade the whole time; it will move, perhaps also by itself.",
    "  - Keep hands, hair and cords away from cloth and tube, and people out of the way of the hem bar.",
    "  - Know how to cut its power. This program is no safety device.",
)
EXAMPLE = (
    "Examples:\n  hembar reference landing\n  hembar reference landing --at upper\n"
    "  hembar reference study --switch\n  hembar reference landing --attended --confirmed   (from a script)"
)


def add_command(subparsers: Subparsers) -> None:
    """Add `reference` to the commands."""
    parser = subparsers.add_parser(
        "reference",
        help="pin a position: by its switch, or led by hand at a mark",
        description="Takes the shade near a limit, keeps its motor awake, lets you jog it to the mark by the "
        "button at its board, and tells the house when you confirm.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("shade", metavar="SHADE", help="its id, as in `hembar status`")
    parser.add_argument("--at", choices=("lower", "upper"), default="lower", help="the limit (%(default)s)")
    parser.add_argument("--switch", action="store_true", help="let it run up to its own switch instead")
    parser.add_argument("--attended", action="store_true", help="you stand at the window: don't ask")
    parser.add_argument("--confirmed", action="store_true", help="the hem bar is at its mark: don't ask")
    add_broker_options(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Lead the person; return 0 once the position is pinned."""
    print("\n".join(CAUTIONS))
    if not args.attended and not _yes("Are you at the window, and is the way clear? [yes/no] "):
        return _end("Nothing has been moved.")
    with visit(args) as house:
        device = shade_device(house.tree(), args.shade)
        if args.switch:
            return _by_switch(house, device, args)
        return _by_hand(house, device, args)


def _by_switch(house: Visit, device: str, args: argparse.Namespace) -> int:
    print(f"{args.shade} runs slowly up to its switch and comes back …")
    answer = house.ask(device, "knowledge/refer", b"switch", within_s=ANSWER_S)
    if not answer.taken:
        return _end(f"It is refused: {answer.reason or 'the bridge did not answer'}.")
    # It stands at its target until it sets off, which its supply may keep it from for a while.
    house.follow(device, lambda said: said.get("opening/motion") != b"still", within_s=SETS_OFF_S)
    values, _ = house.follow(device, _resting_at_target, within_s=TRAVEL_S)
    return _result(values)


def _by_hand(house: Visit, device: str, args: argparse.Namespace) -> int:
    near = house.ask(device, "knowledge/approach", args.at.encode(), within_s=ANSWER_S)
    if near.taken:
        print(f"{args.shade} goes near its {args.at} limit and stays awake there for ten minutes …")
        house.follow(device, _resting_at_target, within_s=TRAVEL_S)
    else:
        print(f"The bridge can't take it there ({near.reason or 'no answer'}).")
        print(f"Take it to its {args.at} limit yourself: press and hold the button at its board.")
    print(f"Now jog the hem bar to its {args.at} mark by the button at its board.")
    if not args.confirmed and not _yes("Is the hem bar at its mark, and still? [yes/no] "):
        return _end("Nothing has been confirmed; what was known before still stands.")
    answer = house.ask(device, "knowledge/confirm", args.at.encode(), within_s=ANSWER_S)
    if not answer.taken:
        return _end(f"It is refused: {answer.reason or 'the bridge did not answer'}.")
    values, _ = house.follow(
        device, lambda said: said.get("knowledge/grade") == b"referenced", within_s=ANSWER_S
    )
    return _result(values)


def _resting_at_target(said: Mapping[str, bytes]) -> bool:
    there = said.get("opening/position") == said.get("opening/position/$target")
    return there and said.get("opening/motion") == b"still"


def _result(values: dict[str, bytes]) -> int:
    grade, width = text(values, "knowledge/grade"), text(values, "knowledge/width")
    print(f"It is {grade} now, known to {width} mm.")
    # The way back from a switch widens it a little: `reckoned` is a reference met, too.
    met = grade in ("referenced", "reckoned") and "$alert/request" not in values
    return 0 if met else REFUSED


def _yes(question: str) -> bool:
    if not sys.stdin.isatty():
        raise RequestError(
            where="hembar reference",
            problem="there is nobody to ask here",
            remedy="run it in a terminal, or promise with --attended and --confirmed",
        )
    return input(question).strip().lower() in ("yes", "y")


def _end(said: str) -> int:
    print(said)
    return REFUSED
