"""A house's device tree as lines and as JSON, for `status`, `watch` and `move`; reads no clock."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from bridge.cli.broker_options import Device, text

_STATES = {"ready": "answers", "init": "unheard", "lost": "lost", "disconnected": "gone"}
_GAP = "  "
_WHY_LEAST = 30
_WIDTHS = {"shade": 5, "open": 5, "known to": 8, "grade": 10, "motion": 11, "board": 7}
_RIGHT = ("open", "known to")


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
        "alert": alert_of(device) or None,
    }


def alert_of(device: Device) -> str:
    """Return what a person must do about a device, whatever the causes; "" when nothing."""
    causes = sorted(levels for levels in device if levels.startswith("$alert/"))
    return "; ".join(said for cause in causes if (said := text(device, cause)))


def house_said(tree: dict[str, Device]) -> dict[str, Any]:
    """Return what the whole tree says, as the JSON of `status`; a group is a device of another type."""
    root, *devices = tree or {"": {}}
    bridge = tree.get(root, {})
    named = [(device.removeprefix(f"{root}-"), tree[device]) for device in devices]
    return {
        "bridge": text(bridge, "$state") or "never seen",
        "paused": text(bridge, "rules/pause") == "true",
        "locked": text(bridge, "service/lock") == "true",
        "shades": [shade_said(name, device) for name, device in named if not is_group(device)],
        "groups": [group_said(name, device) for name, device in named if is_group(device)],
    }


def group_said(group: str, device: Device) -> dict[str, Any]:
    """Return what one group's device says."""
    return {
        "group": group,
        "state": text(device, "$state"),
        "open_pct": _number(device, "opening/position"),
        "target_pct": _number(device, "opening/position/$target"),
    }


def members_of(tree: dict[str, Device], group: str) -> dict[str, str]:
    """Return the devices of a group's shades by the shades' names."""
    root = next(iter(tree))
    devices = text(tree[group], "members/devices").split(",")
    return {device.removeprefix(f"{root}-"): device for device in devices if device in tree}


def is_group(device: Device) -> bool:
    """Say whether a device is a group's, by the type in its description."""
    try:
        said = json.loads(device.get("$description", b"{}"))
    except ValueError:
        return False
    return isinstance(said, dict) and said.get("type") == "group"


def house_lines(said: dict[str, Any], *, columns: int | None) -> list[str]:
    """Return the house: what holds for all of it, then one line a shade, with a heading.

    Args:
        said: As `house_said` returns it.
        columns: Width of the terminal; None where lines may be as long as they are.
    """
    lines = []
    if said["bridge"] != "ready":
        gone = "the bridge has never been seen here" if said["bridge"] == "never seen" else ""
        gone = gone or f"the bridge is {said['bridge']}"
        lines.append(f"{gone}; what follows is what it last said" if said["shades"] else gone)
    if said["locked"]:
        lines.append("the service lock is on: no order leaves; `hembar lock off` ends it")
    if said["paused"]:
        lines.append("the rules are paused; `hembar pause off` ends it")
    shades = said["shades"]
    if shades:
        width = name_width(shades)
        lines.append(heading(width))
        lines += [line for each in shades for line in shade_lines(each, width=width, columns=columns)]
    for group in said["groups"]:
        lines.append(f"group {group['group']}: {_percent(group['open_pct']).strip()}")
    return lines


def name_width(shades: Sequence[dict[str, Any]]) -> int:
    """Return how wide the column of names is."""
    return max([_WIDTHS["shade"], *(len(each["shade"]) for each in shades)])


def heading(width: int) -> str:
    """Return the names of the columns."""
    return _row({name: name for name in _WIDTHS}, width) + _GAP + "why"


def shade_lines(said: dict[str, Any], *, width: int, columns: int | None = None, lead: str = "") -> list[str]:
    """Return one shade: a line, its reason below where the terminal is too narrow, and what needs a person.

    Args:
        said: As `shade_said` returns it.
        width: Of the column of names.
        columns: Width of the terminal; None where lines may be as long as they are.
        lead: Stands before the line.
    """
    line = lead + _row(_cells(said), width)
    why = _why(said)
    indent = " " * (len(lead) + width) + _GAP
    if columns is None or len(line) + len(_GAP) + len(why) <= columns:
        lines = [f"{line}{_GAP}{why}"]
    elif columns - len(line) - len(_GAP) >= _WHY_LEAST:
        hang = " " * len(line) + _GAP
        lines = textwrap.wrap(why, columns, initial_indent=f"{line}{_GAP}", subsequent_indent=hang)
    else:
        lines = [line.rstrip(), *textwrap.wrap(why, columns, initial_indent=indent, subsequent_indent=indent)]
    if said["alert"]:
        lines += textwrap.wrap(
            f"! {said['alert']}", columns or 10_000, initial_indent=indent, subsequent_indent=f"{indent}  "
        )
    return lines


def _cells(said: dict[str, Any]) -> dict[str, str]:
    return {
        "shade": said["shade"],
        "open": _percent(said["open_pct"]),
        "known to": "" if said["width_mm"] is None else f"{said['width_mm']:.0f} mm",
        "grade": said["grade"],
        "motion": said["motion"],
        "board": _STATES.get(said["state"], said["state"]),
    }


def _row(cells: dict[str, str], width: int) -> str:
    widths = {**_WIDTHS, "shade": width}
    return _GAP.join(f"{cells[name]:{'>' if name in _RIGHT else '<'}{widths[name]}}" for name in widths)


def _why(said: dict[str, Any]) -> str:
    parts = []
    if said["grade"] not in ("referenced", "unknown") and None not in (said["low_pct"], said["high_pct"]):
        low, high = f"{max(said['low_pct'], 0):.0f}", f"{min(said['high_pct'], 100):.0f}"
        parts += [f"between {low} and {high} %"] if low != high else []
    parts.append(said["why"])
    if said["hold_until"]:
        parts.append(f"rules rest until {_local(said['hold_until'])}")
    return "; ".join(part for part in parts if part)


def _percent(open_pct: float | None) -> str:
    return "? %" if open_pct is None else f"{open_pct} %"


def _local(utc: str) -> str:
    """Return a time of the tree as the people at this machine read it."""
    try:
        return f"{datetime.fromisoformat(utc).astimezone():%a %H:%M}"
    except ValueError:
        return utc


def _number(device: Device, levels: str) -> float | int | None:
    said = text(device, levels)
    try:
        return float(said) if "." in said else int(said)
    except ValueError:
        return None
