"""What becomes of a request: taken up, replaced, and ended exactly once with a reason."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from enum import StrEnum
from typing import TypeVar

from bridge.core.command.goals import Goal
from bridge.core.events import Approach, Asked, Nudge, Percent, Press, Refer, Release, Want
from bridge.core.outcome import Level
from bridge.core.replacing import replace
from bridge.core.state import Request, Shade
from bridge.core.turn import Turn
from bridge.core.values import Rank

_Item = TypeVar("_Item")


class Fate(StrEnum):
    """How a request ended."""

    REACHED = "reached"
    SUPERSEDED = "superseded"
    REFUSED = "refused"
    EXPIRED = "expired"
    FAILED = "failed"


# Time for a person to jog the hem bar to its mark and confirm it; after that the motor may sleep.
ATTENDED_S = 600.0
LOUD = {Fate.EXPIRED: Level.ERROR, Fate.FAILED: Level.ERROR, Fate.REFUSED: Level.WARNING}


def in_words(want: Want) -> str:
    """Return what was asked, as a person would say it."""
    match want:
        case Percent(open_pct=pct):
            return f"{pct} %"
        case Nudge(by_pct=by):
            return f"{by:+d} %"
        case Press(button=button):
            return button.value
        case Release():
            return "release"
        case Refer():
            return "a reference"
        case Approach(place=place):
            return f"near its {place.value} limit"


def asked_by(want: Want, source: str) -> str:
    """Return the sentence that says what is done and who wanted it."""
    return f"{in_words(want)} asked by {source}"


def note_end(turn: Turn, shade: Shade, request: Request, fate: Fate, why: str) -> None:
    """Write the one line that tells how a request ended."""
    turn.note(
        "request.ended",
        LOUD.get(fate, Level.INFO),
        shade=shade.id,
        text=f"{in_words(request.want)} from {request.source}: {fate.value}; {why}",
        request=request.id,
        fate=fate.value,
        want=in_words(request.want),
        source=request.source,
        why=why,
    )


def ended(turn: Turn, shade: Shade, fate: Fate, why: str) -> Shade:
    """Return the shade with its request ended; nothing if it had none."""
    if shade.request is None:
        return shade
    note_end(turn, shade, shade.request, fate, why)
    trouble = f"{in_words(shade.request.want)} from {shade.request.source} {fate.value}: {why}"
    bad = fate in (Fate.EXPIRED, Fate.FAILED)
    return replace(
        shade,
        request=None,
        reason=trouble if bad else shade.reason,
        trouble=trouble if bad else shade.trouble,
    )


def refused(turn: Turn, shade: Shade, event: Asked, why: str) -> Shade:
    """Note that a request ends before it began; what is under way goes on."""
    note_end(turn, shade, _request(turn, event, None), Fate.REFUSED, why)
    return shade


def outranked(shade: Shade, rank: Rank) -> bool:
    """Say whether a request of `rank` has to give way to the one being served."""
    return shade.request is not None and shade.request.rank > rank


def taken_up(turn: Turn, shade: Shade, event: Asked, goal: Goal | None) -> Shade:
    """Return the shade with the new request in place of the old one, which ends as superseded."""
    request = _request(turn, event, goal)
    by = f"{in_words(event.want)} from {event.source} came after it"
    shade = ended(turn, _withdrawn(turn, shade), Fate.SUPERSEDED, by)
    turn.note(
        "request.accepted",
        Level.INFO,
        shade=shade.id,
        request=request.id,
        want=in_words(event.want),
        source=event.source,
        target_pct=request.target_pct,
        goal_steps=request.goal,
    )
    return replace(
        held(turn, shade, event.rank),
        request=request,
        target_pct=shade.target_pct if goal is None else goal.target_pct,
        reason=asked_by(event.want, event.source),
        trouble="",
        attended_until_s=turn.now_s + ATTENDED_S if isinstance(event.want, Approach) else None,
    )


def _withdrawn(turn: Turn, shade: Shade) -> Shade:
    """Return the shade without the motion order that this turn has drawn up for its request: none leaves."""
    before, request = turn.unsent.pop(shade.id, None), shade.request
    if before is None or request is None or before.request is None or before.request.id != request.id:
        return shade
    turn.orders = [each for each in turn.orders if each.shade != shade.id or each.order.seq <= before.seq]
    turn.targets = _without_last(turn.targets, lambda each: each.shade == shade.id)
    turn.notes = _without_last(turn.notes, lambda each: (each.name, each.shade) == ("order.sent", shade.id))
    return replace(
        shade,
        knowledge=before.knowledge,
        seq=before.seq,
        channel=before.channel,
        outstanding=before.outstanding,
        ordered_at_s=before.ordered_at_s,
        reckoning=before.reckoning,
    )


def _without_last(items: list[_Item], wanted: Callable[[_Item], bool]) -> list[_Item]:
    last = max((at for at, each in enumerate(items) if wanted(each)), default=None)
    return items if last is None else [*items[:last], *items[last + 1 :]]


def held(turn: Turn, shade: Shade, rank: Rank) -> Shade:
    """Return the shade with a hold begun, when a person asked."""
    if rank not in (Rank.HAND, Rank.STOP) or shade.spec.hold_s == 0:
        return shade
    return replace(shade, hold_until=turn.utc + timedelta(seconds=shade.spec.hold_s))


def without_spent_hold(turn: Turn, shade: Shade) -> Shade:
    """Return the shade with its hold ended when its time is over."""
    if shade.hold_until is None or shade.hold_until > turn.utc:
        return shade
    return replace(shade, hold_until=None)


def _request(turn: Turn, event: Asked, goal: Goal | None) -> Request:
    return Request(
        id=turn.request_id(),
        want=event.want,
        rank=event.rank,
        source=event.source,
        goal=None if goal is None else goal.at,
        reference=goal is not None and goal.reference,
        target_pct=None if goal is None else goal.target_pct,
        asked_at=event.at,
        deadline_s=turn.now_s + turn.house.spec.board_wait_s,
        level=None if goal is None else goal.level,
    )
