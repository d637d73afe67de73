"""`hembar watch`: one line for each change of a shade, as it happens."""

from __future__ import annotations

import argparse
import json
from datetime import UTC
from typing import TYPE_CHECKING, Any

from bridge.cli.answers import seconds
from bridge.cli.broker_options import Device, add_broker_options, columns, text, visit
from bridge.cli.house_view import (
    heading,
    house_said,
    is_group,
    members_of,
    name_width,
    shade_lines,
    shade_said,
)
from bridge.cli.parser import HelpFormatter

if TYPE_CHECKING:
    from collections.abc import Callable

    from bridge.adapters.broker.oneshot import Visit
    from bridge.cli.answers import Subparsers
    from bridge.core.values import Moment

EXAMPLE = (
    "Examples:\n  hembar watch\n  hembar watch study kitchen\n"
    "  hembar watch --json --seconds 3600 > house.jsonl\n\nCtrl-C ends it."
)
_CLOCK = "%H:%M:%S  "


def add_command(subparsers: Subparsers) -> None:
    """Add `watch` to the commands."""
    parser = subparsers.add_parser(
        "watch",
        help="one line for each change of a shade, as it happens",
        description="Shows each shade once, then a line whenever something about it changes. With --json, "
        "one object a line.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "shades", metavar="SHADE", nargs="*", help="only these, or the shades of these groups"
    )
    parser.add_argument("--seconds", type=seconds, metavar="S", help="end after so long; never by default")
    add_broker_options(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Watch until interrupted or the time is over."""
    from bridge.shell.clock import now  # noqa: PLC0415  only the shell asks a clock

    with visit(args) as house:
        return watch(house, args, now)


def watch(house: Visit, args: argparse.Namespace, now: Callable[[], Moment]) -> int:
    """Print what is there, then what changes; return the exit code."""
    tree = house.tree()
    root = next(iter(tree), "")
    wanted = wanted_devices(tree, args.shades)
    shades = house_said(tree)["shades"]
    lines = _Lines(args, width=name_width(shades), now=now)
    lines.bridge(tree.get(root, {}))
    for device in wanted:
        lines.shade(device.removeprefix(f"{root}-"), tree[device])
    for device in house.changes(within_s=args.seconds):
        values = house.device(device)
        if device == root or not root:
            lines.bridge(values)
        elif (not args.shades or device in wanted) and values and not is_group(values):
            lines.shade(device.removeprefix(f"{root}-"), values)
    return 0


def wanted_devices(tree: dict[str, Device], shades: list[str]) -> list[str]:
    """Return the devices of these shades, or of all; a group stands for its shades.

    Raises:
        RequestError: there is no such shade.
    """
    from bridge.cli.broker_options import shade_device  # noqa: PLC0415

    if shades:
        named = [shade_device(tree, shade) for shade in shades]
        apart = [members_of(tree, each).values() if is_group(tree[each]) else (each,) for each in named]
        return list(dict.fromkeys(device for devices in apart for device in devices))
    return [device for device in list(tree)[1:] if not is_group(tree[device])]


class _Lines:
    """Prints what differs from what it printed last."""

    def __init__(self, args: argparse.Namespace, *, width: int, now: Callable[[], Moment]) -> None:
        self._json, self._width, self._now = args.json, width, now
        self._last: dict[str, dict[str, Any]] = {}
        if not self._json:
            self._print(" " * len(self._clock()) + heading(width))

    def bridge(self, values: Device) -> None:
        said = {
            "bridge": text(values, "$state") or "never seen",
            "paused": text(values, "rules/pause") == "true",
            "locked": text(values, "service/lock") == "true",
        }
        if self._new("", said):
            switched = [word for word in ("paused", "locked") if said[word]]
            self._tell(said, [f"{self._clock()}the bridge is {', '.join([str(said['bridge']), *switched])}"])

    def shade(self, name: str, values: Device) -> None:
        said = shade_said(name, values)
        if self._new(name, said):
            self._tell(said, shade_lines(said, width=self._width, columns=columns(), lead=self._clock()))

    def _new(self, name: str, said: dict[str, Any]) -> bool:
        new = self._last.get(name) != said
        self._last[name] = said
        return new

    def _tell(self, said: dict[str, Any], lines: list[str]) -> None:
        if self._json:
            at = self._now().utc.astimezone(UTC).isoformat(timespec="milliseconds")
            self._print(json.dumps({"at": at, **said}, ensure_ascii=False))
        else:
            self._print("\n".join(lines))

    def _clock(self) -> str:
        return self._now().utc.astimezone().strftime(_CLOCK)

    def _print(self, line: str) -> None:
        print(line, flush=True)
