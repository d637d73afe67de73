"""A shade in doubt that takes a reference by itself: where its owner allows it and it can feel its upper end.

Motion that nobody asked for, so it is off unless the settings say `by_itself = true`, keeps out of quiet
hours, and after a failure waits for a day; what it cannot mend is left to the alert that asks a person.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from bridge.core.asking import ask
from bridge.core.command.goals import can_feel_the_top
from bridge.core.events import Asked, Refer
from bridge.core.outcome import Level
from bridge.core.position.claims import grade_of
from bridge.core.position.estimate import Grade
from bridge.core.replacing import replace
from bridge.core.rules.clock import minutes_since, within
from bridge.core.rules.seeing import zone_of
from bridge.core.state import House, Shade
from bridge.core.turn import Turn
from bridge.core.values import Rank

AGAIN_AFTER = timedelta(days=1)
SOURCE = "the bridge, whose estimate is in doubt"


def referred(turn: Turn, house: House) -> House:
    """Return the house after every shade that may and should has been sent to its reference."""
    for name in house.spec.by_itself:
        shade = house.shades[name]
        if not _wants(shade) or not _may(turn, house, shade):
            continue
        turn.look(house)
        house = replace(house, shades={**house.shades, name: _sent(turn, shade)})
    return house


def due_s(house: House) -> float | None:
    """Return the monotonic second at which a shade that has had to wait may set out; None when none waits."""
    waits = [
        max(_barred_until(shade, house.now.utc), _quiet_until(house, house.now.utc))
        for shade in map(house.shades.__getitem__, house.spec.by_itself)
        if _wants(shade)
    ]
    later = [at for at in waits if at > house.now.utc]
    return min((house.now.mono_s + (at - house.now.utc).total_seconds() for at in later), default=None)


def _sent(turn: Turn, shade: Shade) -> Shade:
    turn.note("shade.reference.begun", Level.INFO, shade=shade.id)
    asked = Asked(at=turn.at, shade=shade.id, want=Refer(), rank=Rank.RULE, source=SOURCE)
    return ask(turn, replace(shade, referred_at=turn.utc), asked)


def _wants(shade: Shade) -> bool:
    """Say whether it is in doubt, at rest, and can end that by itself."""
    grade = grade_of(shade.spec, shade.knowledge.hull)
    idle = shade.outstanding is None and shade.request is None and shade.channel.answered
    report = shade.channel.report
    still = report is not None and not report.moving
    return grade in (Grade.DOUBTFUL, Grade.UNKNOWN) and idle and still and can_feel_the_top(shade)


def _may(turn: Turn, house: House, shade: Shade) -> bool:
    """Say whether nobody minds: no hold, pause or lock, not in quiet hours, not failed within a day."""
    if not turn.may_order or house.paused or shade.hold_until is not None:
        return False
    return max(_barred_until(shade, turn.utc), _quiet_until(house, turn.utc)) <= turn.utc


def _barred_until(shade: Shade, utc: datetime) -> datetime:
    """Return when it may try again: a day after it set out, unless it has met a reference since."""
    met = shade.knowledge.meetings[-1].utc if shade.knowledge.meetings else None
    if shade.referred_at is None or (met is not None and met >= shade.referred_at):
        return utc
    return shade.referred_at + AGAIN_AFTER


def _quiet_until(house: House, utc: datetime) -> datetime:
    """Return when quiet hours end, by the house's clock; `utc` itself outside them."""
    quiet, site = house.spec.restraint.quiet, house.spec.site
    local = utc if site is None else utc.astimezone(zone_of(site.timezone))
    if quiet is None or not within(local.time(), quiet.begins, quiet.ends):
        return utc
    left = 24 * 60 - minutes_since(local, quiet.ends)
    return utc + timedelta(minutes=left)
