"""`hembar pause`: the rules of the whole house rest until somebody ends that."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bridge.cli.switch import HouseSwitch, add_switch

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers

SWITCH = HouseSwitch(name="pause", levels="rules/pause", on="the rules rest", off="the rules are at work")


def add_command(subparsers: Subparsers) -> None:
    """Add `pause` to the commands."""
    add_switch(
        subparsers,
        SWITCH,
        help_line="the rules of the whole house rest, or are at work again",
        more="While the rules rest, shades move only when a person asks. It lasts until it is switched off, "
        "a restart included.",
        caution="A paused house raises no exterior shade by itself: it needs wind protection at its board.",
    )
