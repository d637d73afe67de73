"""`hembar status`: one line a shade, as the running house shows itself on the broker."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING, Any

from bridge.cli.broker_options import Device, add_broker_options, text, visit

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers

EXAMPLE = "Example:\n  hembar status --broker 192.0.2.10"


def add_command(subparsers: Subparsers) -> None:
    """Add `status` to the commands."""
    parser = subparsers.add_parser(
        "status",
        help="one line a shade: percent, band, grade, motion, why",
        description="Shows the house as it stands on the broker. Exit 0, 1 when the bridge is not there, "
        "69 without a broker.",
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    add_broker_options(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the house; return 1 when no bridge is at work."""
    with visit(args) as house:
        tree = house.tree()
    root, *devices = tree or {"": {}}
    state = text(tree.get(root, {}), "$state")
    shades = [shade_said(device.removeprefix(f"{root}-"), tree[device]) for device in devices]
    if args.json:
        print(json.dumps({"bridge": state or "never seen", "shades": shades}, ensure_ascii=False))
    else:
        print("\n".join(_lines(state, shades)))
    return 0 if state == "ready" else 1


def shade_said(shade: str, device: Device) -> dict[str, Any]:
    """Return what one shade's device says, as the JSON of `status`."""
    return {
        "shade": shade,
        "state": text(device, "$state"),
        "open_pct": _number(device, "opening/position"),
        "target_pct": _number(device, "opening/position/$target"),
        "low_pct": _number(device, "knowledge/low"),
        "high_pct": _number(device, "knowledge/high"),
        "width_mm": _number(device, "knowledge/width"),
        "grade": text(device, "knowledge/grade"),
        "motion": text(device, "opening/motion"),
        "why": text(device, "reason/text"),
        "hold_until": text(device, "reason/until") or None,
        "alert": text(device, "$alert/attention") or None,
    }


def _number(device: Device, levels: str) -> float | int | None:
    said = text(device, levels)
    if not said:
        return None
    return float(said) if "." in said else int(said)


def _lines(state: str, shades: list[dict[str, Any]]) -> list[str]:
    lines = []
    if state != "ready":
        said = state or "never seen here"
        lines.append(
            f"the bridge is {said}; what follows is what it last said" if shades else f"the bridge is {said}"
        )
    width = max((len(each["shade"]) for each in shades), default=0)
    for each in shades:
        lines.append(shade_line(each, width))
        if each["alert"]:
            lines.append(f"{'':<{width}}  ! {each['alert']}")
    return lines


def shade_line(said: dict[str, Any], width: int = 0) -> str:
    """Return one shade as one line: percent, band, grade, motion, why."""
    known = "  ? %" if said["open_pct"] is None else f"{said['open_pct']:>3} %"
    band = "" if said["width_mm"] is None else f"known to {said['width_mm']:.0f} mm"
    if said["low_pct"] is not None and said["grade"] != "referenced":
        band += f" ({max(said['low_pct'], 0):.0f} to {min(said['high_pct'], 100):.0f} %)"
    board = "" if said["state"] == "ready" else f"  [board {said['state']}]"
    hold = f"  (hold until {said['hold_until']})" if said["hold_until"] else ""
    where = f"{said['shade']:<{width}}  {known}  {said['grade']:<10}  {band}"
    return f"{where}, {said['motion']}; {said['why']}{hold}{board}"
