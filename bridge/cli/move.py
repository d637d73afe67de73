"""`hembar move`: ask the running house for something and watch what comes of it."""

from __future__ import annotations

import argparse
import json
import re
import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from bridge.cli.answers import seconds
from bridge.cli.broker_options import add_broker_options, columns, ready_bridge, shade_device, visit
from bridge.cli.house_view import is_group, members_of, name_width, shade_lines, shade_said
from bridge.cli.parser import HelpFormatter

if TYPE_CHECKING:
    from bridge.adapters.broker.oneshot import Visit
    from bridge.cli.answers import Subparsers

ANSWER_S = 5.0
REFUSED = 1
EXAMPLE = (
    "Examples:\n  hembar move study 40\n  hembar move study stop\n  hembar move study +10 --wait 60\n\n"
    "Shades can move while nobody looks: keep the hem path clear."
)


@dataclass(frozen=True, slots=True)
class Wish:
    """Where a request is published, and as what."""

    levels: str
    payload: bytes


def add_command(subparsers: Subparsers) -> None:
    """Add `move` to the commands."""
    parser = subparsers.add_parser(
        "move",
        help="ask for a percent open, or up, stop, down, +10 or -10",
        description="Asks the running house. Exit 0 when it is accepted (and, with --wait, reached), 1 when "
        "the house refuses or it is not reached, 69 without a broker.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("shade", metavar="SHADE", help="id of a shade or group, as in `hembar status`")
    parser.add_argument("want", metavar="WANT", type=wish, help="0 to 100, up, stop, down, +N or -N")
    parser.add_argument(
        "--wait", type=seconds, metavar="S", default=0.0, help="wait until it, or all of it, stands still"
    )
    add_broker_options(parser)
    parser.set_defaults(run=run)


def wish(said: str) -> Wish:
    """Return where and as what a request is published.

    Raises:
        argparse.ArgumentTypeError: it is none of the things that can be asked for.
    """
    if said in ("up", "stop", "down"):
        return Wish("opening/button", said.encode())
    if re.fullmatch(r"[+-]\d{1,3}", said, re.ASCII) and abs(int(said)) <= 100:
        return Wish("opening/nudge", str(int(said)).encode())
    if re.fullmatch(r"\d{1,3}", said, re.ASCII) and int(said) <= 100:
        return Wish("opening/position", str(int(said)).encode())
    raise argparse.ArgumentTypeError(f"{said!r} can't be asked for; say 0 to 100, up, stop, down, +10 or -10")


def run(args: argparse.Namespace) -> int:
    """Ask; return the exit code."""
    with visit(args) as house:
        return ask(house, args, args.want)


def ask(house: Visit, args: argparse.Namespace, wanted: Wish) -> int:
    """Publish a wish, print what came of it, return the exit code."""
    tree = house.tree()
    device = shade_device(tree, args.shade)
    ready_bridge(tree)
    answer = house.ask(device, wanted.levels, wanted.payload, within_s=ANSWER_S)
    if answer.taken is None:
        return _say(args, {"accepted": False, "why": "the bridge did not answer"}, REFUSED)
    if not answer.taken:
        return _say(args, {"accepted": False, "why": answer.reason}, REFUSED)
    wait_s = getattr(args, "wait", 0.0)
    if not wait_s:
        return _say(args, {"accepted": True, "why": ""}, 0)
    if is_group(tree[device]):
        return _wait_for_group(house, args, members_of(tree, device), wait_s)
    values, rested = house.follow(device, _at_rest, within_s=wait_s)
    said = {"accepted": True, "rested": rested, **shade_said(args.shade, values)}
    return _say(args, said, 0 if rested and not said["alert"] else REFUSED)


def _wait_for_group(house: Visit, args: argparse.Namespace, members: Mapping[str, str], wait_s: float) -> int:
    """Wait for every shade of a group, print each, return the exit code."""
    until_s, shades = time.monotonic() + wait_s, []
    for name, device in members.items():
        left_s = max(0.0, until_s - time.monotonic())
        values, rested = house.follow(device, _at_rest, within_s=left_s)
        shades.append({"rested": rested, **shade_said(name, values)})
    if args.json:
        print(json.dumps({"group": args.shade, "accepted": True, "shades": shades}, ensure_ascii=False))
    else:
        width = name_width(shades)
        for each in shades:
            print("\n".join(shade_lines(each, width=width, columns=columns())))
    return 0 if all(each["rested"] and not each["alert"] for each in shades) else REFUSED


def _at_rest(values: Mapping[str, bytes]) -> bool:
    there = values.get("opening/position") == values.get("opening/position/$target")
    return values.get("opening/motion") == b"still" and (there or "$alert/request" in values)


def _say(args: argparse.Namespace, said: dict[str, object], code: int) -> int:
    if args.json:
        print(json.dumps({"shade": args.shade, **said}, ensure_ascii=False))
    elif "grade" in said:
        print("\n".join(shade_lines(said, width=len(args.shade), columns=columns())))
    elif said["accepted"]:
        print(f"{args.shade}: accepted")
    else:
        print(f"{args.shade}: refused; {said['why']}")
    return code
