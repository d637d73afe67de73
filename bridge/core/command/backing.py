"""A seek that its board refuses because the upper switch is closed already: lower a little, then seek again.

So it is when the word that the switch was met got lost: the hem bar hangs at its switch or above it, and a
closed switch alone proves nothing, since it may stick. Lowered clear of any place at which a sound switch is
closed, the next seek sees it open and then close; a switch that is closed there too is broken.
"""

from __future__ import annotations

from math import ceil

from bridge.core.command.goals import Refusal
from bridge.core.command.orders import Draft, draft_go
from bridge.core.position.allowance import physical_range, reference_interval, snap, steps_for_mm
from bridge.core.spec import ShadeSpec
from bridge.core.state import Shade
from bridge.core.values import Steps

MARGIN_MM = 10.0
CLOSED = "switch-closed"


def clear_of_switch(spec: ShadeSpec) -> Steps:
    """Return the steps from the upper stop down to where a sound upper switch is open for certain."""
    at = 0 if spec.upper_switch is None else reference_interval(spec, spec.upper_switch).high
    return at + snap(spec) - physical_range(spec).low + ceil(steps_for_mm(spec, MARGIN_MM))


def draft_back_off(shade: Shade, *, term: int, seq: int) -> Draft | Refusal:
    """Return the order that lowers a shade clear of its closed upper switch, or what a person has to do."""
    known, report = shade.knowledge, shade.channel.report
    guarded = any(each.demand.guard for each in shade.ruling.standing)
    if guarded or known.base is None or report is None or report.count is None:
        return Refusal(why=_by_hand())
    goal = known.base.middle + report.count + clear_of_switch(shade.spec)
    draft = draft_go(shade, goal, term=term, seq=seq)
    return Refusal(why=_by_hand()) if isinstance(draft, Refusal) else draft


def _by_hand() -> str:
    return (
        "its upper switch is closed already, and it can't be lowered safely to see it open; lower it a "
        "little by the button at its board and ask `up` again; if that ends the same, look at the switch"
    )


def stuck() -> str:
    """Return what a person has to do about a switch that stays closed below its place."""
    return "its upper switch stays closed though the shade was lowered; it sticks, so look at the switch"
