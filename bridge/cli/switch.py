"""What `hembar pause` and `hembar lock` share: switching something of the whole house on or off."""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from bridge.cli.broker_options import add_broker_options, ready_bridge, text, visit
from bridge.cli.parser import HelpFormatter

if TYPE_CHECKING:
    from bridge.adapters.broker.oneshot import Visit
    from bridge.cli.answers import Subparsers

ANSWER_S = 5.0
REFUSED = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class HouseSwitch:
    """One switch of the whole house.

    Attributes:
        name: The command.
        levels: Where the bridge's own device has it.
        on: What holds once it is on, as a sentence.
        off: What holds once it is off.
    """

    name: str
    levels: str
    on: str
    off: str


def add_switch(
    subparsers: Subparsers, switch: HouseSwitch, *, help_line: str, more: str, caution: str
) -> None:
    """Add a command that switches `switch`."""
    parser = subparsers.add_parser(
        switch.name,
        help=help_line,
        description=f"{more} Exit 0 when it is done, 1 when the house refuses, 69 without a broker.",
        epilog=f"Examples:\n  hembar {switch.name} on\n  hembar {switch.name} off\n\n{caution}",
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("wanted", choices=("on", "off"), help="on: " + switch.on + "; off: " + switch.off)
    add_broker_options(parser)

    def run(args: argparse.Namespace) -> int:
        with visit(args) as house:
            return turn(house, args, switch)

    parser.set_defaults(run=run)


def turn(house: Visit, args: argparse.Namespace, switch: HouseSwitch) -> int:
    """Ask the house, print what came of it, return the exit code."""
    tree = house.tree()
    root = ready_bridge(tree)
    on = args.wanted == "on"
    payload = b"true" if on else b"false"
    if text(tree[root], switch.levels).encode() == payload:
        return _say(args, switch, on=on, accepted=True, why="it was so already")
    answer = house.ask(root, switch.levels, payload, within_s=ANSWER_S)
    why = "the bridge did not answer" if answer.taken is None else answer.reason
    return _say(args, switch, on=on, accepted=bool(answer.taken), why=why)


def _say(args: argparse.Namespace, switch: HouseSwitch, *, on: bool, accepted: bool, why: str) -> int:
    if args.json:
        print(json.dumps({switch.name: on, "accepted": accepted, "why": why}, ensure_ascii=False))
    elif accepted:
        holds = switch.on if on else switch.off
        print(f"{holds} ({why})" if why else holds)
    else:
        print(f"{switch.name} {args.wanted}: refused; {why}")
    return 0 if accepted else REFUSED
