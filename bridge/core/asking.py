"""Somebody asks for something, or confirms where the hem bar is: what is taken up and what is refused."""

from __future__ import annotations

from bridge.core import out_of_service, overhearing
from bridge.core.command import one_way
from bridge.core.command.goals import Refusal, Ways, front_percent, level_goal, resolve
from bridge.core.command.guards import after_stop, barred
from bridge.core.command.pursue import drafted, misfit, order_stop, pursue
from bridge.core.command.requests import Fate, ended, in_words, note_end, outranked, refused, taken_up
from bridge.core.contract import Report
from bridge.core.events import Approach, Asked, Button, Confirmed, Percent, Place, Press, Refer, Release
from bridge.core.outcome import Level
from bridge.core.position.allowance import reference_interval
from bridge.core.position.estimate import Landmark
from bridge.core.position.evidence import referenced
from bridge.core.replacing import replace
from bridge.core.spec import OneWayLink, Reference
from bridge.core.state import Purpose, Shade
from bridge.core.turn import Turn
from bridge.core.values import GroupId, Rank

Front = tuple[GroupId, float]


def ask(turn: Turn, shade: Shade, event: Asked, *, front: Front | None = None) -> Shade:
    """Return the shade after a request: taken up, done at once, or refused with its reason.

    Args:
        turn: The turn.
        shade: The shade.
        event: Who asks for what.
        front: The level group that it was asked of, and the drop to which that goes; None without one.
    """
    want = event.want
    stops = isinstance(want, Press) and want.button is Button.STOP
    closed = _closed(turn, shade, event.rank)
    if closed and not (stops and turn.house.stood_down and not turn.house.locked):
        return refused(turn, shade, event, closed)
    if not shade.spec.in_service:
        return out_of_service.asked(turn, shade, event)
    if isinstance(want, Release):
        return _released(turn, shade, event)
    if stops:
        return after_stop(turn, _stopped(turn, shade, event))
    if stronger := _stronger(turn, shade, event, front):
        return refused(turn, shade, event, stronger)
    if isinstance(shade.spec.link, OneWayLink):
        if isinstance(want, Approach | Refer):
            why = "its board reports nothing; ask for a percent near the limit, look, and confirm it there"
            return refused(turn, shade, event, why)
        return overhearing.resolved(turn, shade, event, want)
    return _resolved(turn, shade, event, want, front)


def _closed(turn: Turn, shade: Shade, rank: Rank) -> str:
    """Return why nothing of this rank is taken now, whatever it is; "" when it may be."""
    house = turn.house
    if house.stood_down:
        return "another bridge is in charge of this house"
    if house.locked:
        return "the service lock is on: somebody works on the shades"
    if rank > Rank.RULE:
        return ""
    if house.paused:
        return "the rules are paused"
    return "a person's request holds it" if shade.hold_until is not None else ""


def _stronger(turn: Turn, shade: Shade, event: Asked, front: Front | None) -> str:
    """Return why a request has to give way to one under way, or to what wind, ice or a door forbid; or ""."""
    if outranked(shade, event.rank):
        assert shade.request is not None
        return f"{in_words(shade.request.want)} from {shade.request.source} ranks higher and is under way"
    why = barred(turn, shade, event.want, event.rank)
    if why or front is None:
        return why
    # In a level group a short shade goes further down, by its own percent, than the group was asked to.
    own = Percent(open_pct=round(front_percent(shade.spec, front[1])))
    return barred(turn, shade, own, event.rank)


def locked_up(turn: Turn, shade: Shade, source: str) -> Shade:
    """Return the shade as the service lock leaves it: stopped, with nothing more to do."""
    report = shade.channel.report
    if not turn.may_order:
        pass
    elif isinstance(shade.spec.link, OneWayLink):
        shade = one_way.halt(turn, shade)
    elif shade.outstanding is not None or (report is not None and report.moving):
        shade = order_stop(turn, shade)
    return ended(turn, shade, Fate.SUPERSEDED, f"the service lock was switched on by {source}")


def _resolved(turn: Turn, shade: Shade, event: Asked, want: Ways, front: Front | None) -> Shade:
    wrong = misfit(shade)
    goal = Refusal(why=wrong) if wrong else resolve(shade, want)
    if isinstance(goal, Refusal):
        return refused(turn, shade, event, goal.why)
    if front is not None:
        goal = level_goal(shade, goal, group=front[0], to_mm=front[1])
    if shade.channel.answered and not goal.reference:
        report = shade.channel.report
        if report is None or report.count is None or shade.knowledge.base is None:
            return refused(turn, shade, event, "its board has lost count; raise it to its switch with `up`")
        draft = drafted(turn, shade, goal.at)
        if isinstance(draft, Refusal):
            return refused(turn, shade, event, draft.why)
    return pursue(turn, taken_up(turn, shade, event, goal))


def _released(turn: Turn, shade: Shade, event: Asked) -> Shade:
    why = "the hold ends" if shade.hold_until is not None else "there was no hold"
    done = taken_up(turn, replace(shade, request=None), replace(event, rank=Rank.RULE), None)
    assert done.request is not None
    note_end(turn, shade, done.request, Fate.REACHED, why)
    return replace(shade, hold_until=None)


def _stopped(turn: Turn, shade: Shade, event: Asked) -> Shade:
    """Return the shade after a stop, sent whatever is believed and whoever is in charge: boards obey any."""
    asked = taken_up(turn, shade, event, None)
    if isinstance(shade.spec.link, OneWayLink):
        return one_way.halt(turn, asked) if turn.house.broker_up else asked
    if not turn.house.broker_up or asked.channel.boot is None:
        return asked
    return order_stop(turn, asked)


def confirm(turn: Turn, shade: Shade, event: Confirmed) -> Shade:
    """Return the shade after a person at the window has said at which limit its hem bar hangs."""
    if isinstance(shade.spec.link, OneWayLink) and shade.spec.in_service:
        return overhearing.confirm(turn, shade, event)
    report = shade.channel.report
    why = _not_now(shade, report) if shade.spec.in_service else out_of_service.WHY
    if why or report is None or report.count is None:
        turn.note(
            "shade.confirmation.refused", Level.WARNING, shade=shade.id, text=why, place=event.place.value
        )
        return shade
    at_mm = 0.0 if event.place is Place.UPPER else shade.spec.travel.roll.drop_mm
    mark = Reference(at_mm=at_mm, repeatability_mm=shade.spec.hand_repeatability_mm)
    at = reference_interval(shade.spec, mark)
    upper = event.place is Place.UPPER
    known = referenced(
        shade.spec,
        shade.knowledge,
        at,
        count=report.count,
        boot=report.boot,
        landmark=Landmark.UPPER_BY_HAND if upper else Landmark.LOWER_BY_HAND,
        utc=turn.utc,
    )
    text = f"confirmed by hand at the {event.place.value} limit"
    turn.note("shade.reference.met", Level.INFO, shade=shade.id, text=text, at_mm=at_mm)
    return pursue(turn, replace(shade, knowledge=known, reason=text, trouble="", attended_until_s=None))


def _not_now(shade: Shade, report: Report | None) -> str:
    if not shade.channel.answered or report is None:
        return "its board does not answer, so there is no count to link the confirmation to"
    pending = shade.outstanding
    if report.moving or (pending is not None and pending.purpose is not Purpose.SLEEP):
        return "it is moving; confirm once it stands still"
    if report.count is None:
        return "its board has lost count; move it a little by the button at the board first"
    return misfit(shade)
