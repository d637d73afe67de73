"""`hembar lock`: the service lock, under which no order at all leaves the bridge."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bridge.cli.switch import HouseSwitch, add_switch

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers

SWITCH = HouseSwitch(
    name="lock",
    levels="service/lock",
    on="the service lock is on: no order leaves",
    off="the service lock is off: shades can move again",
)


def add_command(subparsers: Subparsers) -> None:
    """Add `lock` to the commands."""
    add_switch(
        subparsers,
        SWITCH,
        help_line="the service lock: no order at all leaves, for work on a shade",
        more="Under the lock no order leaves, and what moves is stopped first. It lasts until it is switched "
        "off, a restart included.",
        caution="The lock is software and isolates nothing: a button at a board still moves its shade. "
        "Before you work on one,\nswitch its supply off and support the cloth.",
    )
