"""What is heard of a board that only obeys: its own topic, on which strangers speak too, and its alive topic.

The last message on its topic is what such a board goes by, whoever sent it. What comes back of our own is
known by comparing it with what was sent.
"""

from __future__ import annotations

from fractions import Fraction

from bridge.core.command.goals import Refusal
from bridge.core.command.one_way import goal_of, gone, pursue
from bridge.core.command.requests import Fate, ended, held, refused, taken_up
from bridge.core.command.retained import expected, may_go_on
from bridge.core.command.targets import LOST_COUNT, draft
from bridge.core.events import AliveHeard, Asked, Confirmed, Place, TargetHeard, Want
from bridge.core.outcome import Level
from bridge.core.position import one_way as position
from bridge.core.position.allowance import physical_range, reference_interval
from bridge.core.position.estimate import Landmark
from bridge.core.position.evidence import referenced
from bridge.core.reckoning import Reckoning
from bridge.core.replacing import replace
from bridge.core.shade.units import count_of
from bridge.core.spec import Reference
from bridge.core.state import Shade
from bridge.core.turn import Turn
from bridge.core.values import Interval, Rank

# An echo that has not come by then was lost: the same words later are a stranger's.
ECHO_KEPT_S = 60.0
# A topic that speaks often is not written down each time.
HEARD_SHARE = 4


def hear_target(turn: Turn, shade: Shade, event: TargetHeard) -> Shade:
    """Return the shade after a message on its board's topic, or the halt on its stop topic."""
    if shade.reckoning.kept_s is not None and not event.halts:
        shade = replace(shade, reckoning=replace(shade.reckoning, kept_s=None))
    if event.retained:
        return pursue(turn, _handed_back(turn, shade, event.value))
    echoes = tuple(each for each in shade.reckoning.echoes if turn.now_s < each.at_s + ECHO_KEPT_S)
    value = None if event.halts else event.value
    readable = event.halts or event.value is not None
    at = next((n for n, each in enumerate(echoes) if readable and each.value == value), None)
    if at is not None:
        reckoning = replace(shade.reckoning, echoes=echoes[at + 1 :])
        return pursue(turn, _passed_on(turn, shade, reckoning, halts=event.halts))
    if readable and not event.halts and value == shade.reckoning.value:
        # The broker may deliver twice; a stranger who says the same changes nothing.
        return shade
    return pursue(turn, _strange(turn, shade, event))


def _passed_on(turn: Turn, shade: Shade, reckoning: Reckoning, *, halts: bool) -> Shade:
    """Return the shade after an echo: with none left to come, the board has heard the last of it."""
    run = reckoning.run
    if run is not None and run.heard_s is None and not reckoning.echoes:
        run = position.gone_on(shade.spec, run, turn.now_s) if halts else run
        reckoning = replace(reckoning, run=replace(run, heard_s=turn.now_s))
    return replace(shade, reckoning=reckoning)


def _handed_back(turn: Turn, shade: Shade, value: Fraction | None) -> Shade:
    """Return the shade after the broker has handed back what its board finds when it starts."""
    link, reckoning = shade.spec.one_way, shade.reckoning
    if not link.retained:
        why = (
            f"{link.topic} holds a retained target, which its board may take for an order when it starts; "
            "clear it while the board is off"
        )
        if shade.trouble != why:
            turn.note("board.target.retained", Level.ERROR, shade=shade.id, text=why)
        return replace(shade, trouble=why)
    if value is None or value == reckoning.value:
        return shade
    first = reckoning.value is None
    shade = _driven(turn, shade, value, begun_s=turn.now_s - link.latency_s)
    if first:
        return shade
    reason = f"moved by another sender on {link.topic} while the bridge was not listening"
    turn.note("shade.moved.strangely", Level.WARNING, shade=shade.id, text=reason)
    return replace(ended(turn, shade, Fate.SUPERSEDED, reason), reason=reason)


def _strange(turn: Turn, shade: Shade, event: TargetHeard) -> Shade:
    """Return the shade after somebody else has spoken to its board: it follows, like after a hand."""
    link = shade.spec.one_way
    reason = f"moved by another sender on {link.stop.topic if event.halts and link.stop else link.topic}"
    turn.note("shade.moved.strangely", Level.WARNING, shade=shade.id, text=reason)
    shade = held(turn, ended(turn, shade, Fate.SUPERSEDED, reason), Rank.HAND)
    shade = replace(shade, reason=reason)
    if event.halts:
        return _halted(turn, shade)
    if event.value is None:
        return _nonsense(turn, shade)
    return _driven(turn, shade, event.value, begun_s=turn.now_s - link.latency_s)


def _driven(turn: Turn, shade: Shade, value: Fraction, *, begun_s: float) -> Shade:
    """Return the shade while its board goes to a target that this bridge has not sent."""
    spec, reckoning = shade.spec, shade.reckoning
    to = count_of(spec, value)
    run = position.set_off(spec, reckoning, to=to, request=None, now_s=turn.now_s)
    if reckoning.run is None and reckoning.counts is None and shade.knowledge.base is not None:
        # From any count: the hem bar is still on its way from wherever it was.
        run = replace(run, began=physical_range(spec).shifted(-shade.knowledge.base.middle))
    run = replace(run, sent_s=begun_s, heard_s=turn.now_s)
    known = position.perhaps_fallen(spec, shade.knowledge, reckoning)
    known = position.departed(spec, known, run, way=position.way_to(reckoning, to))
    reckoning = replace(reckoning, run=run, target=to, value=value, echoes=(), vouched_s=None, rests_s=None)
    return replace(shade, knowledge=known, reckoning=reckoning, target_pct=_percent(shade, to))


def _percent(shade: Shade, to: int) -> int | None:
    base, travel = shade.knowledge.base, shade.spec.travel
    if base is None:
        return None
    at = min(max(base.middle + to, 0), travel.lower_steps)
    return round(travel.percent_at_steps(at))


def _halted(turn: Turn, shade: Shade) -> Shade:
    """Return the shade after a stranger's halt; one that came before our own target has halted nothing."""
    spec, reckoning, run = shade.spec, shade.reckoning, shade.reckoning.run
    if run is None:
        return shade
    if run.heard_s is None:
        whole = position.path(run).joined(run.rests)
        either = replace(run, rests=whole, request=None, steady=False, timed=False)
        return replace(shade, reckoning=replace(reckoning, run=either))
    begun_s = turn.now_s - spec.one_way.latency_s
    halted = replace(position.halting(spec, run, request=None, now_s=begun_s), heard_s=turn.now_s)
    return replace(shade, reckoning=replace(reckoning, run=halted, echoes=()))


def _nonsense(turn: Turn, shade: Shade) -> Shade:
    """Return the shade after words that a board may read in any way: as nothing, as 0, as half a number."""
    why = f"somebody sent {shade.spec.one_way.topic} what is no target; look where it is and confirm it"
    turn.note("board.target.unreadable", Level.ERROR, shade=shade.id, text=why)
    known = replace(shade.knowledge, hull=physical_range(shade.spec))
    nothing = replace(shade.reckoning, counts=None, run=None, target=None, value=None, echoes=())
    reckoning = replace(nothing, rests_s=None, kept_s=None)
    return replace(shade, knowledge=known, reckoning=reckoning, trouble=why)


def hear_alive(turn: Turn, shade: Shade, event: AliveHeard) -> Shade:
    """Return the shade after its board's alive topic has spoken."""
    alive, reckoning = shade.spec.one_way.alive, shade.reckoning
    assert alive is not None
    if alive.gone is not None and event.said == alive.gone:
        return shade if reckoning.alive is False else pursue(turn, gone(turn, shade))
    if (alive.up is not None and event.said != alive.up) or (alive.gone is None and event.retained):
        return shade
    if reckoning.alive is True and turn.now_s < reckoning.alive_s + alive.within_s / HEARD_SHARE:
        return shade
    back = reckoning.alive is False
    reckoning = replace(reckoning, alive=True, alive_s=turn.now_s)
    shade = replace(shade, reckoning=reckoning)
    return pursue(turn, _back(turn, shade) if back else shade)


def _back(turn: Turn, shade: Shade) -> Shade:
    spec = shade.spec
    known, reckoning = position.power_returned(spec, shade.knowledge, shade.reckoning, turn.now_s)
    turn.returned_at_s = turn.now_s
    turn.note("board.alive.returned", Level.WARNING, shade=shade.id, believes=spec.one_way.power_up.value)
    return replace(shade, knowledge=known, reckoning=reckoning)


def in_hearing(turn: Turn, shade: Shade) -> Shade:
    """Return the shade at the start of a session with the broker."""
    return expected(shade, turn.now_s)


def out_of_hearing(shade: Shade) -> Shade:
    """Return the shade once nothing can be heard of its board: strangers and power cuts go unnoticed."""
    shade = may_go_on(shade)
    return replace(shade, reckoning=replace(shade.reckoning, watched=False, kept_s=None))


def carried_over(turn: Turn, shade: Shade) -> Shade:
    """Return the shade at the start of a run, its clocks set anew; what moved is given its time once more."""
    reckoning = shade.reckoning
    run = reckoning.run
    if run is not None:
        heard_s = None if run.heard_s is None else turn.now_s
        run = replace(run, sent_s=turn.now_s, heard_s=heard_s, looked_s=turn.now_s, steady=False, timed=False)
    return out_of_hearing(
        replace(
            shade,
            reckoning=replace(
                reckoning,
                run=run,
                echoes=tuple(replace(each, at_s=turn.now_s) for each in reckoning.echoes),
                alive_s=turn.now_s,
                vouched_s=None if reckoning.vouched_s is None else turn.now_s + _within_s(shade),
                rests_s=None if reckoning.rests_s is None else turn.now_s,
            ),
        )
    )


def _within_s(shade: Shade) -> float:
    alive = shade.spec.one_way.alive
    return 0.0 if alive is None else alive.within_s


# Requests.


def resolved(turn: Turn, shade: Shade, event: Asked, want: Want) -> Shade:
    """Return the shade after a request for a place: taken up, or refused with its reason."""
    goal = goal_of(shade, want)
    if isinstance(goal, Refusal):
        return refused(turn, shade, event, goal.why)
    ready = draft(shade, goal.at, request=None, now_s=turn.now_s)
    if isinstance(ready, Refusal):
        return refused(turn, shade, event, ready.why)
    return pursue(turn, taken_up(turn, shade, event, goal))


def confirm(turn: Turn, shade: Shade, event: Confirmed) -> Shade:
    """Return the shade after a person at the window has said at which limit its hem bar hangs."""
    counts = shade.reckoning.counts
    why = _not_now(shade, counts, event.place)
    if why:
        place = event.place.value
        turn.note("shade.confirmation.refused", Level.WARNING, shade=shade.id, text=why, place=place)
        return shade
    spec = shade.spec
    counts = counts or position.only(0)
    at_mm = 0.0 if event.place is Place.UPPER else spec.travel.roll.drop_mm
    at = reference_interval(spec, Reference(at_mm=at_mm, repeatability_mm=spec.hand_repeatability_mm))
    at = at.widened(position.slack(spec))
    known = position.linked(spec, shade.knowledge, at, counts)
    if counts.width == 0:
        known = referenced(
            spec,
            shade.knowledge,
            at,
            count=counts.low,
            boot=position.NO_BOOT,
            landmark=Landmark.UPPER_BY_HAND if event.place is Place.UPPER else Landmark.LOWER_BY_HAND,
            utc=turn.utc,
        )
    watched = shade.reckoning.alive is True
    reckoning = replace(shade.reckoning, counts=counts, vouched_s=None, watched=watched)
    text = f"confirmed by hand at the {event.place.value} limit"
    turn.note("shade.reference.met", Level.INFO, shade=shade.id, text=text, at_mm=at_mm)
    return pursue(turn, replace(shade, knowledge=known, reckoning=reckoning, reason=text, trouble=""))


def _not_now(shade: Shade, counts: Interval | None, place: Place) -> str:
    reckoning = shade.reckoning
    if reckoning.run is not None or shade.request is not None:
        return "it is moving; confirm once it stands still"
    if reckoning.alive is False:
        return "its board is not there; what it believes when it comes back is not known yet"
    if counts is None and place is Place.LOWER:
        return LOST_COUNT
    return ""
