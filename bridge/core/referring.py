"""A shade in doubt that takes a reference by itself: where its owner allows it and it can feel its upper end.

Motion that nobody asked for, so it is off unless the settings say `by_itself = true`, keeps out of quiet
hours, and after a failure waits for a day; what it cannot mend is left to the alert that asks a person.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from bridge.core.agenda import Agenda, Column, soon
from bridge.core.asking import ask
from bridge.core.command.goals import can_feel_the_top
from bridge.core.events import Asked, Refer
from bridge.core.outcome import Level
from bridge.core.position.claims import grade_of
from bridge.core.position.estimate import Grade
from bridge.core.replacing import replace
from bridge.core.rules.clock import minutes_since, within
from bridge.core.rules.seeing import zone_of
from bridge.core.state import House, Shade, kept, with_shade
from bridge.core.turn import Turn
from bridge.core.values import Rank

AGAIN_AFTER = timedelta(days=1)
SOURCE = "the bridge, whose estimate is in doubt"


def referred(turn: Turn, house: House) -> House:
    """Return the house after every shade that may and should has been sent to its reference."""
    if not turn.may_order or house.paused:
        return house
    for place in turn.agenda_now.places(Column.DOUBTS, until=soon(turn.utc)):
        shade = kept(house).at(place)
        if not _may(turn, house, shade):
            continue
        turn.look(house)
        house = with_shade(house, _sent(turn, shade))
    return house


def due_s(house: House, agenda: Agenda) -> float | None:
    """Return the monotonic second at which a shade that has had to wait may set out; None when none waits."""
    now = house.now.utc
    waits = [
        max(barred_until(shade) or now, _quiet_until(house, now))
        for shade in map(kept(house).at, agenda.places(Column.DOUBTS))
    ]
    return min((house.now.mono_s + (at - now).total_seconds() for at in waits if at > now), default=None)


def _sent(turn: Turn, shade: Shade) -> Shade:
    turn.note("shade.reference.begun", Level.INFO, shade=shade.id)
    asked = Asked(at=turn.at, shade=shade.id, want=Refer(), rank=Rank.RULE, source=SOURCE)
    return ask(turn, replace(shade, referred_at=turn.utc), asked)


def wants_reference(shade: Shade) -> bool:
    """Say whether it is in doubt, at rest, and can end that by itself."""
    grade = grade_of(shade.spec, shade.knowledge.hull)
    idle = shade.outstanding is None and shade.request is None and shade.channel.answered
    report = shade.channel.report
    still = report is not None and not report.moving
    return grade in (Grade.DOUBTFUL, Grade.UNKNOWN) and idle and still and can_feel_the_top(shade)


def _may(turn: Turn, house: House, shade: Shade) -> bool:
    """Say whether nobody minds: no hold, not in quiet hours, not failed within a day."""
    if shade.hold_until is not None:
        return False
    return max(barred_until(shade) or turn.utc, _quiet_until(house, turn.utc)) <= turn.utc


def barred_until(shade: Shade) -> datetime | None:
    """Return when it may try again: a day after it set out; None once it has met a reference since."""
    met = shade.knowledge.meetings[-1].utc if shade.knowledge.meetings else None
    if shade.referred_at is None or (met is not None and met >= shade.referred_at):
        return None
    return shade.referred_at + AGAIN_AFTER


def _quiet_until(house: House, utc: datetime) -> datetime:
    """Return when quiet hours end, by the house's clock; `utc` itself outside them."""
    quiet, site = house.spec.restraint.quiet, house.spec.site
    local = utc if site is None else utc.astimezone(zone_of(site.timezone))
    if quiet is None or not within(local.time(), quiet.begins, quiet.ends):
        return utc
    left = 24 * 60 - minutes_since(local, quiet.ends)
    return utc + timedelta(minutes=left)
