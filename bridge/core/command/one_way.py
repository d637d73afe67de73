"""What now, for a shade whose board only obeys? Send a target, wait for the clock, or give up.

A target counts as on its way once the broker has passed it back to us, and as reached once the move profile,
the board's latency and its pace have run out. Nothing here hears what strangers say.
"""

from __future__ import annotations

from collections.abc import Iterator

from bridge.core.command.goals import Goal, Refusal, resolve
from bridge.core.command.guards import forbidden, forbidding
from bridge.core.command.requests import Fate, ended, without_spent_hold
from bridge.core.command.retained import gives_up_a_target, missed, settled
from bridge.core.command.supply import (
    ORDER_EVERY_S,
    must_stagger,
    must_wait,
    note_start,
    out_of_queue,
    queued,
)
from bridge.core.command.targets import (
    ECHO_WAIT_S,
    LOST_COUNT,
    UNKNOWN,
    awaiting,
    draft,
    offset,
    refuse_downward,
    sent,
)
from bridge.core.events import Nudge, Release, Want
from bridge.core.outcome import Level
from bridge.core.position import one_way as position
from bridge.core.position.claims import grade_of, width_mm
from bridge.core.position.estimate import Grade
from bridge.core.reckoning import Run
from bridge.core.replacing import replace
from bridge.core.shade.units import count_of, value_for
from bridge.core.state import Request, Shade
from bridge.core.turn import Turn
from bridge.core.values import Steps

LOOK_EVERY_S = 0.5


def pursue(turn: Turn, shade: Shade) -> Shade:
    """Return the shade after everything that is due for it now has been done."""
    shade = without_spent_hold(turn, _gone_silent(turn, shade))
    shade = _given_up(turn, _vouched(turn, missed(turn, _looked_at(turn, shade))))
    request = shade.request
    if not turn.may_order or shade.reckoning.alive is False:
        shade = out_of_queue(turn, shade)
        request = shade.request
    if not turn.may_order:
        return shade
    if request is None:
        return settled(turn, shade)
    if not _needs_target(shade, request):
        return shade
    if request.goal is None:
        return halt(turn, shade)
    if shade.reckoning.alive is False or shade.reckoning.kept_s is not None or _too_soon(turn, shade):
        return shade
    if (by := next(forbidding(turn, shade, request), None)) is not None:
        return ended(turn, shade, Fate.FAILED, forbidden(by))
    if must_wait(turn, shade) or must_stagger(turn, shade):
        return shade if request.queued else queued(shade, request)
    return _go(turn, out_of_queue(turn, shade), request.goal)


def due_s(shade: Shade, *, may_order: bool) -> float | None:
    """Return the monotonic second at which `pursue` has something to do though nothing happens; or None."""
    dues = []
    request, reckoning, link = shade.request, shade.reckoning, shade.spec.one_way
    if reckoning.run is not None:
        dues.append(reckoning.run.looked_s + LOOK_EVERY_S)
    if reckoning.vouched_s is not None and reckoning.run is None:
        dues.append(reckoning.vouched_s)
    if link.alive is not None and link.alive.gone is None and reckoning.alive:
        dues.append(reckoning.alive_s + link.alive.within_s)
    if reckoning.kept_s is not None:
        dues.append(reckoning.kept_s)
    there = may_order and reckoning.alive is not False
    if reckoning.rests_s is not None and reckoning.run is None and there and request is None:
        dues.append(reckoning.rests_s)
    if request is not None and not request.queued:
        dues.append(request.deadline_s)
        if there and reckoning.kept_s is None and _needs_target(shade, request):
            dues.append((shade.ordered_at_s or 0.0) + ORDER_EVERY_S)
    return min(dues, default=None)


def clocks(shade: Shade) -> Iterator[float]:
    """Yield each monotonic second, past ones too, from which on the clock alone may have `pursue` act."""
    request, reckoning, alive = shade.request, shade.reckoning, shade.spec.one_way.alive
    run = reckoning.run
    if run is not None:
        yield run.looked_s + LOOK_EVERY_S
        over_s = position.ends_s(shade.spec, run)
        yield run.sent_s + ECHO_WAIT_S if over_s is None else over_s
    for at_s in (reckoning.vouched_s, reckoning.kept_s, reckoning.rests_s):
        if at_s is not None:
            yield at_s
    if alive is not None:
        yield reckoning.alive_s + alive.within_s
    if request is not None:
        yield request.deadline_s
        if shade.ordered_at_s is not None:
            yield shade.ordered_at_s + ORDER_EVERY_S


# The clock.


def _looked_at(turn: Turn, shade: Shade) -> Shade:
    """Return the shade after its run has been held against the clock."""
    run = shade.reckoning.run
    if run is None:
        return shade
    over_s = position.ends_s(shade.spec, run)
    if over_s is not None and turn.now_s >= over_s:
        return _arrived(turn, shade, run)
    if over_s is None and turn.now_s >= run.sent_s + ECHO_WAIT_S:
        return _not_passed_on(turn, shade, run)
    if turn.now_s < run.looked_s + LOOK_EVERY_S:
        return shade
    reckoning = replace(shade.reckoning, run=replace(run, looked_s=turn.now_s))
    known = shade.knowledge
    if not _may_be_gone(shade):
        known = position.on_the_way(shade.spec, known, run, turn.now_s)
    return replace(shade, reckoning=reckoning, knowledge=known)


def _may_be_gone(shade: Shade) -> bool:
    """Say whether its alive topic has told, or may yet tell, that the board has stopped on the way."""
    return shade.spec.one_way.alive is not None and shade.reckoning.alive is not None


def _arrived(turn: Turn, shade: Shade, run: Run) -> Shade:
    if shade.reckoning.alive is False:
        rests = position.path(run).joined(run.rests)
        return replace(shade, reckoning=replace(shade.reckoning, run=None, counts=rests))
    reckoning = replace(shade.reckoning, run=None, counts=run.rests)
    known = position.at_rest(shade.spec, shade.knowledge, run.rests)
    alive, vouched_s = shade.spec.one_way.alive, turn.now_s
    if _may_be_gone(shade) and alive is not None:
        vouched_s += alive.within_s
        reckoning = replace(reckoning, vouched_s=vouched_s)
        known = replace(known, hull=known.hull.joined(shade.knowledge.hull))
    if gives_up_a_target(shade.spec, reckoning, run):
        # A board that lost its power on the way takes itself to be at its old target, and that is told late.
        reckoning = replace(reckoning, rests_s=vouched_s, likely=run.to if run.timed else None)
    shade = replace(shade, reckoning=reckoning, knowledge=known)
    turn.note(
        "shade.move.reckoned",
        Level.INFO,
        shade=shade.id,
        to_count=run.to,
        took_s=round(turn.now_s - run.sent_s, 1),
        width_mm=round(width_mm(shade.spec, known.hull), 1),
    )
    if shade.request is None or shade.request.id != run.request:
        return shade
    return ended(turn, shade, Fate.REACHED, f"{_where(shade)} as reckoned: its board never reports")


def _where(shade: Shade) -> str:
    counts, base = shade.reckoning.counts, shade.knowledge.base
    if counts is None or base is None:
        return "at an unknown position"
    at = min(base.middle + counts.middle, shade.spec.travel.end_steps)
    return f"at {shade.spec.travel.percent_at_steps(at):.0f} %"


def _not_passed_on(turn: Turn, shade: Shade, run: Run) -> Shade:
    """Return the shade after a message that the broker never passed back: obeyed or not, nobody knows."""
    rests = position.path(run).joined(run.rests)
    reckoning = replace(shade.reckoning, run=None, counts=rests)
    shade = replace(shade, reckoning=reckoning)
    turn.note("order.echo.missed", Level.WARNING, shade=shade.id, waited_s=ECHO_WAIT_S)
    if shade.request is None or shade.request.id != run.request:
        return shade
    topic = shade.spec.one_way.topic
    why = f"the broker did not pass it on in {ECHO_WAIT_S:.0f} s; check who may read and write {topic}"
    return ended(turn, shade, Fate.FAILED, why)


def _vouched(turn: Turn, shade: Shade) -> Shade:
    """Return the shade once its board has been there for long enough after its last motion."""
    due, counts = shade.reckoning.vouched_s, shade.reckoning.counts
    if due is None or turn.now_s < due or shade.reckoning.run is not None:
        return shade
    known = shade.knowledge if counts is None else position.at_rest(shade.spec, shade.knowledge, counts)
    return replace(shade, knowledge=known, reckoning=replace(shade.reckoning, vouched_s=None))


def _gone_silent(turn: Turn, shade: Shade) -> Shade:
    alive = shade.spec.one_way.alive
    if alive is None or alive.gone is not None or not shade.reckoning.alive:
        return shade
    return shade if turn.now_s < shade.reckoning.alive_s + alive.within_s else gone(turn, shade)


def gone(turn: Turn, shade: Shade) -> Shade:
    """Return the shade once its board is known not to be there; it stopped wherever it may have been."""
    spec, run = shade.spec, shade.reckoning.run
    known = position.power_lost(spec, shade.knowledge)
    reckoning = replace(shade.reckoning, alive=False, watched=False, vouched_s=None)
    turn.note("board.alive.lost", Level.WARNING, shade=shade.id, moving=run is not None)
    shade = replace(shade, knowledge=known, reckoning=reckoning)
    request = shade.request
    if run is not None and request is not None and request.id == run.request:
        return ended(turn, shade, Fate.FAILED, "its board was lost on the way; check its power and ask again")
    return shade


def _given_up(turn: Turn, shade: Shade) -> Shade:
    request = shade.request
    if request is None or request.queued or turn.now_s < request.deadline_s:
        return shade
    if shade.reckoning.alive is False:
        what = "its board is not there; check its power and network"
    else:
        what = "no order could leave"
    return ended(turn, shade, Fate.EXPIRED, f"{what}; it waited {turn.house.spec.board_wait_s:.0f} s")


def _too_soon(turn: Turn, shade: Shade) -> bool:
    return shade.ordered_at_s is not None and turn.now_s < shade.ordered_at_s + ORDER_EVERY_S


def _needs_target(shade: Shade, request: Request) -> bool:
    run = shade.reckoning.run
    return run is None or run.request != request.id


# Targets.


def goal_of(shade: Shade, want: Want) -> Goal | Refusal:
    """Return where `want` leads from what is reckoned now; a stop is not asked here."""
    assert not isinstance(want, Release), "a release leads nowhere"
    unknown = grade_of(shade.spec, shade.knowledge.hull) is Grade.UNKNOWN or shade.knowledge.base is None
    if not isinstance(want, Nudge):
        return Refusal(why=UNKNOWN) if unknown else resolve(shade, want)
    if unknown and want.by_pct <= 0:
        return Refusal(why=UNKNOWN)
    return _nudged(shade, want.by_pct, unknown=unknown)


def _nudged(shade: Shade, by_pct: int, *, unknown: bool) -> Goal | Refusal:
    """Go on from where it is heading or stands; just so much further up where that is not known."""
    reckoning, spec = shade.reckoning, shade.spec
    rests = reckoning.counts if reckoning.run is None else reckoning.run.rests
    if rests is None:
        return Refusal(why=LOST_COUNT)
    travel = spec.travel
    if unknown or (by_pct > 0 and rests.width > travel.lower_steps / 100):
        steps = round(by_pct / 100 * travel.lower_steps)
        pct = round(
            travel.percent_at_steps(min(max(shade.knowledge.hull.middle - steps, 0), travel.lower_steps))
        )
        return Goal(at=rests.low - steps + offset(shade), target_pct=pct)
    start = min(rests.middle + offset(shade), travel.end_steps)
    drop = travel.drop_at_steps(start) - by_pct / 100 * travel.roll.drop_mm
    at = round(travel.steps_at_drop(min(max(drop, 0.0), travel.roll.drop_mm)))
    return Goal(at=at, target_pct=round(travel.percent_at_steps(at)))


def _go(turn: Turn, shade: Shade, goal: Steps) -> Shade:
    request = shade.request
    assert request is not None
    ready = draft(shade, goal, request=request.id, now_s=turn.now_s)
    if isinstance(ready, Refusal):
        return ended(turn, shade, Fate.FAILED, ready.why)
    reckoning = shade.reckoning
    if reckoning.run is None and reckoning.counts == ready.run.rests and reckoning.target == ready.run.to:
        return ended(turn, shade, Fate.REACHED, "the hem bar was there already, as reckoned")
    turn.unsent[shade.id] = shade
    note_start(turn, shade)
    return sent(turn, replace(shade, knowledge=ready.knowledge), ready.run, ready.value, halts=False)


def halt(turn: Turn, shade: Shade) -> Shade:
    """Tell the board to halt: by its stop topic, or with a target a braking way on from where it is."""
    spec, run = shade.spec, shade.reckoning.run
    request = None if shade.request is None else shade.request.id
    if run is None:
        return _halt_at_rest(turn, shade)
    if spec.one_way.stop is not None:
        halted = position.halting(spec, run, request=request, now_s=turn.now_s)
        return sent(turn, shade, halted, None, halts=True)
    return _halt_by_target(turn, shade, run)


def _halt_by_target(turn: Turn, shade: Shade, run: Run) -> Shade:
    """Send the board to a braking way on from where it is, or up where that might be too low."""
    spec, request = shade.spec, None if shade.request is None else shade.request.id
    wanted = value_for(spec, position.stopping_count(spec, run, turn.now_s))
    to, whole = count_of(spec, wanted), position.path(run)
    if to == run.to or not whole.contains(position.only(to)):
        run = replace(run, request=request)
        return awaiting(turn, replace(shade, reckoning=replace(shade.reckoning, run=run)), run)
    for value in (wanted, value_for(spec, whole.low)):
        to = count_of(spec, value)
        now = position.set_off(spec, shade.reckoning, to=to, request=request, now_s=turn.now_s)
        known = position.perhaps_fallen(spec, shade.knowledge, shade.reckoning)
        known = position.departed(spec, known, now, way=position.way_to(shade.reckoning, to))
        if refuse_downward(shade, known, now) is None and to != run.to:
            return sent(turn, replace(shade, knowledge=known), now, value, halts=True)
    why = "its board knows no halt, and no target would be a safe one; switch its power off to stop it"
    return ended(turn, shade, Fate.FAILED, why)


def _halt_at_rest(turn: Turn, shade: Shade) -> Shade:
    """Send a halt where there is a topic for it, whatever is reckoned; a target would only begin motion."""
    if shade.spec.one_way.stop is None:
        return ended(turn, shade, Fate.REACHED, "it stands still as reckoned; its board knows no halt")
    shade = sent(turn, shade, None, None, halts=True)
    return ended(turn, shade, Fate.REACHED, "it stands still as reckoned; the halt was sent all the same")
