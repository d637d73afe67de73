"""`hembar listen-in`: hear a topic while a person moves a slider, and propose its settings."""

from __future__ import annotations

import argparse
import json
import sys
from typing import TYPE_CHECKING, Any

from bridge.cli.answers import seconds
from bridge.cli.broker_options import Device, add_broker_options, visit
from bridge.cli.house_view import is_group
from bridge.cli.parser import HelpFormatter
from bridge.core.errors import RequestError

if TYPE_CHECKING:
    from bridge.adapters.broker.listen_in import Proposal
    from bridge.adapters.broker.messages import Incoming
    from bridge.adapters.broker.oneshot import Visit
    from bridge.cli.answers import Subparsers

NOTHING = 1
EXAMPLE = (
    "Example:\n  hembar listen-in panel/study/level --shade study\n\n"
    "While it listens, move the slider slowly from lowered to raised, or say each word once.\n"
    "Nothing is moved by this; the settings that it prints go into the settings file."
)


def add_command(subparsers: Subparsers) -> None:
    """Add `listen-in` to the commands."""
    parser = subparsers.add_parser(
        "listen-in",
        help="hear a dashboard's topic and propose the [[listen]] settings for it",
        description="Hears a topic that a dashboard or voice assistant publishes while you move its slider "
        "from lowered to raised, and prints a [[listen]] table to paste. Exit 0, 1 when nothing fitting was "
        "heard, 69 without a broker.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("topic", metavar="TOPIC", help="what the dashboard publishes, without wildcards")
    parser.add_argument(
        "--seconds", type=seconds, default=20.0, metavar="S", help="how long to listen (%(default)g)"
    )
    follower = parser.add_mutually_exclusive_group()
    follower.add_argument("--shade", metavar="SHADE", help="the shade that is to follow")
    follower.add_argument("--group", metavar="GROUP", help="the group that is to follow")
    add_broker_options(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Listen, propose, return the exit code."""
    if not args.topic or any(sign in args.topic for sign in "#+\0") or args.topic.startswith("$"):
        raise RequestError(
            where=f"TOPIC {args.topic!r}", problem="it is not one topic", remedy="name it without wildcards"
        )
    with visit(args) as house:
        return listen_in(house, args)


def listen_in(house: Visit, args: argparse.Namespace) -> int:
    """Hear the topic, print what is proposed, return the exit code."""
    from bridge.adapters.broker.listen_in import propose  # noqa: PLC0415  only once it is wanted

    followers = _followers(house.tree())
    _whisper(args, f"Listening to {args.topic} for {args.seconds:g} s.")
    _whisper(args, "Move the slider slowly from lowered to raised, or say each word once.")
    messages: list[Incoming] = []
    for message in house.overhear(args.topic, within_s=args.seconds):
        messages.append(message)
        _whisper(args, f"  {message.payload[:100].decode('utf-8', 'backslashreplace')!a}")
    found = propose(messages)
    lines = _toml(args, found, followers) if messages and found.fits else []
    said = _said(args, messages, found, lines)
    if args.json:
        print(json.dumps(said, ensure_ascii=False))
    elif lines:
        print("\n".join(lines))
    else:
        print("\n".join([f"{args.topic}: {said['heard']} messages", *found.remarks]), file=sys.stderr)
    return 0 if lines else NOTHING


def _followers(tree: dict[str, Device]) -> dict[str, list[str]]:
    root, *devices = tree or {"": {}}
    found: dict[str, list[str]] = {"shade": [], "group": []}
    for device in devices:
        found["group" if is_group(tree[device]) else "shade"].append(device.removeprefix(f"{root}-"))
    return found


def _toml(args: argparse.Namespace, found: Proposal, followers: dict[str, list[str]]) -> list[str]:
    kind = "group" if args.group else "shade"
    name = args.group or args.shade or "which-shade"
    known = followers[kind]
    unsure = (
        "" if name in known else f"  # one of {', '.join(known)}" if known else "  # its id in these settings"
    )
    lines = ["[[listen]]", f"topic = {_text(args.topic)}", f"{kind} = {_text(name)}{unsure}"]
    if found.pointer is not None:
        others = f"  # these changed too: {', '.join(found.others)}" if found.others else ""
        lines.append(f"pointer = {_text(found.pointer)}{others}")
    if found.says is not None:
        lines.append(f'says = "{found.says}"')
    if found.words:
        words = ", ".join(f'{_text(word)} = "stop"' for word in found.words)
        lines.append('# Write what each word means: 0 to 100 percent open, "up", "stop" or "down".')
        lines.append(f"words = {{ {words} }}")
    if found.retained:
        lines.append("retained = true  # its sender retains; a new one counts after a restart as well")
    return [*lines, *(f"# {remark}" for remark in found.remarks)]


def _said(
    args: argparse.Namespace, messages: list[Incoming], found: Proposal, lines: list[str]
) -> dict[str, Any]:
    return {
        "topic": args.topic,
        "heard": len(messages),
        "says": found.says,
        "words": list(found.words),
        "pointer": found.pointer,
        "retained": found.retained,
        "low": found.low,
        "high": found.high,
        "others": list(found.others),
        "remarks": list(found.remarks),
        "toml": "\n".join(lines) or None,
    }


def _text(value: str) -> str:
    """Return a text in quotes; the escapes of JSON are among those of TOML's basic strings."""
    return json.dumps(value, ensure_ascii=not value.isprintable())


def _whisper(args: argparse.Namespace, line: str) -> None:
    if not args.json:
        print(line, file=sys.stderr, flush=True)
