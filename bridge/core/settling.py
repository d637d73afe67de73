"""One report that may be believed: what it does to the estimate, to the order in force and to the request."""

from __future__ import annotations

from bridge.core.command.backing import CLOSED, stuck
from bridge.core.command.orders import top_reference
from bridge.core.command.pursue import fallen_silent, under_way
from bridge.core.command.requests import Fate, ended, held
from bridge.core.concluding import at_rest
from bridge.core.contract import ADDRESSING, Do, Report, Why
from bridge.core.outcome import Level
from bridge.core.position import evidence
from bridge.core.position.allowance import (
    braking,
    nearest_cycle,
    physical_range,
    reference_interval,
    room_above,
    snap,
)
from bridge.core.position.claims import claim_at, grade_of, width_mm
from bridge.core.position.estimate import Knowledge, Landmark
from bridge.core.position.stall import held_below
from bridge.core.recalling import recall
from bridge.core.replacing import replace
from bridge.core.state import (
    Channel,
    Outstanding,
    Purpose,
    Shade,
    bounded,
    bounds_in_force,
    unbounded,
)
from bridge.core.turn import Turn
from bridge.core.unasked import by_hand, in_command, slipped_unasked
from bridge.core.values import Interval, Rank, Steps

_LANDMARKS = {
    Why.UPPER_SWITCH: Landmark.UPPER_SWITCH,
    Why.LOWER_SWITCH: Landmark.LOWER_SWITCH,
    Why.STALLED: Landmark.UPPER_STOP,
}


def absorb(turn: Turn, shade: Shade, report: Report) -> Shade:
    """Return the shade after a report that is evidence."""
    shade = recall(turn, shade, report)
    rebooted = report.boot != shade.knowledge.boot
    in_flight, foreign = report.seq < shade.seq, report.seq > shade.seq
    if rebooted:
        shade = _rebooted(turn, shade, report)
        known = shade.knowledge
    else:
        known = _after_sleep(shade, slipped_unasked(shade, report), report)
    hull = known.hull
    if report.moving:
        known = _moving(shade, known, report)
    else:
        known = _resting(turn, shade, known, report)
        known = known if rebooted else _let_go(shade, known, report)
    if in_flight:
        linked, known = known, _ahead_of(shade, known, report)
        if known is not linked:
            shade = _aimed_before(shade)
        known = replace(known, hull=known.hull.joined(hull))
    seq, channel = max(shade.seq, report.seq), _conversed(turn, shade.channel, report)
    pending = shade.outstanding
    if foreign:
        channel = unbounded(channel)
    elif pending is not None and not by_hand(report):
        channel = bounded(channel, pending.order, report)
    shade = replace(shade, seq=seq, knowledge=known, channel=channel)
    return _concluded(turn, shade, report, foreign=foreign)


def _ahead_of(shade: Shade, known: Knowledge, report: Report) -> Knowledge:
    """Return knowledge after a report that left its board before an order had come there.

    That order may move the shade at any moment. A link that this report has made knows nothing of it yet.
    """
    spec, before, pending = shade.spec, shade.knowledge, shade.outstanding
    if pending is None or known.base is None or report.count is None:
        return known
    if (known.mark, known.chain) == (before.mark, before.chain):
        return known
    order = pending.order
    if order.do is Do.SEEK:
        return evidence.departed_upward(spec, known)
    if order.do is not Do.GO or order.to is None:
        return known
    known = evidence.slipped(spec, known, moves=1, distance=abs(order.to - report.count))
    return evidence.departed(spec, evidence.swallowed(spec, known, order.to), to=order.to)


def _aimed_before(shade: Shade) -> Shade:
    """Return the shade with a move that was aimed by the link before this one, so that it is aimed anew."""
    pending = shade.outstanding
    if pending is None or pending.purpose is not Purpose.MOVE:
        return shade
    return replace(shade, outstanding=replace(pending, request=None))


def _conversed(turn: Turn, channel: Channel, report: Report) -> Channel:
    asked = channel.asked_seq
    if report.answers is not None and report.answers == asked:
        asked = None
    return replace(
        channel,
        boot=report.boot,
        n=report.n,
        read=report.n,
        answered=True,
        asked_seq=asked,
        asks=0,
        heard_at_s=turn.now_s,
        report=report,
        stalls=report.stalls,
    )


def _rebooted(turn: Turn, shade: Shade, report: Report) -> Shade:
    """Return the shade after its board has come up in another boot; what was under way is over."""
    channel, known = shade.channel, shade.knowledge
    bounds = channel.bounds if channel.bounds_boot == known.boot else None
    after = evidence.power_returned(shade.spec, known, report, bounds)
    if known.boot is not None:
        turn.returned_at_s = turn.now_s
        turn.note(
            "board.power.returned",
            Level.WARNING,
            shade=shade.id,
            boot=report.boot,
            known_boot=known.boot,
            kept=report.kept,
            width_mm=round(width_mm(shade.spec, after.hull), 1),
            grade=grade_of(shade.spec, after.hull, hearsay=after.hearsay).value,
        )
    pending, request = shade.outstanding, shade.request
    shade = replace(shade, knowledge=after, outstanding=None)
    moved = pending is not None and (pending.heard or not report.kept)
    # A newer request has not been on its way yet, and is served now.
    if moved and pending is not None and request is not None and pending.request == request.id:
        board = shade.spec.contract.board
        return ended(turn, shade, Fate.FAILED, f"board {board} lost its power on the way; ask again")
    return shade


def _after_sleep(shade: Shade, known: Knowledge, report: Report) -> Knowledge:
    """Return knowledge with the snap of a rotor that went to sleep off a full electrical cycle."""
    if report.awake or report.moving or report.count is None or known.base is None:
        return known
    if _slept_before(shade, report) or nearest_cycle(shade.spec, report.count) == report.count:
        return known
    return evidence.slept(shade.spec, known)


def _moving(shade: Shade, known: Knowledge, report: Report) -> Knowledge:
    """Return knowledge while the motor turns: between here and where it is going."""
    pending = shade.outstanding
    seeking = pending is not None and pending.purpose is Purpose.REFERENCE
    if seeking and not by_hand(report):
        return known
    if report.count is None or known.base is None:
        return replace(known, hull=physical_range(shade.spec))
    ours = pending is not None and report.seq >= pending.order.seq and not by_hand(report)
    if ours and pending is not None and pending.order.do is Do.GO and report.to == pending.order.to:
        assert report.to is not None
        return evidence.passing(shade.spec, known, count=report.count, to=report.to)
    if pending is not None and pending.purpose is Purpose.STOP and not by_hand(report):
        return known
    here = claim_at(shade.spec, known, report.count)
    there = physical_range(shade.spec) if report.to is None else claim_at(shade.spec, known, report.to)
    return replace(known, hull=known.hull.joined(here).joined(there))


def _resting(turn: Turn, shade: Shade, known: Knowledge, report: Report) -> Knowledge:
    """Return knowledge once the motor stands still: a reference, a stall, or the count and what it means."""
    if report.count is None:
        return evidence.uncounted(known)
    at = _reference_met(shade, report)
    if at is not None:
        return _pinned(turn, shade, known, at, report)
    unheard_stall = report.boot == shade.channel.boot and report.stalls > shade.channel.stalls
    if report.why in (Why.STALLED, Why.NOT_FOUND) or unheard_stall:
        highest = _held_below(shade, report)
        if highest is not None:
            known = replace(known, hull=Interval(low=min(highest, known.hull.high), high=known.hull.high))
        return evidence.stalled(shade.spec, known, count=report.count, boot=report.boot)
    if known.base is None:
        return evidence.rebased(shade.spec, known, known.hull, count=report.count, boot=report.boot)
    return evidence.settled(shade.spec, known, count=report.count)


def _let_go(shade: Shade, known: Knowledge, report: Report) -> Knowledge:
    """Return knowledge of a shade at rest whose motor has just lost its current: the cloth may fall."""
    if report.awake or report.count is None or _slept_before(shade, report):
        return known
    return evidence.let_go(shade.spec, known)


def _slept_before(shade: Shade, report: Report) -> bool:
    """Say whether the motor had no current at this count before: nothing has fallen since."""
    last = shade.channel.report
    if last is None:
        return report.boot == shade.knowledge.boot and shade.knowledge.settled_count == report.count
    return not last.awake and not last.moving and last.count == report.count


def _reference_met(shade: Shade, report: Report) -> Interval | None:
    pending = shade.outstanding
    seeking = pending is not None and pending.purpose is Purpose.REFERENCE
    if report.why is Why.UPPER_SWITCH:
        at = top_reference(shade, stalled=False)
        return None if at is None else _with_lost_steps(shade, at, report)
    if report.why is Why.LOWER_SWITCH and shade.spec.lower_switch is not None:
        return reference_interval(shade.spec, shade.spec.lower_switch).widened(snap(shade.spec))
    if report.why is Why.STALLED and seeking and _held_below(shade, report) is None:
        return top_reference(shade, stalled=True)
    return None


def _held_below(shade: Shade, report: Report) -> Steps | None:
    """Return the highest that a seek can have come which has stalled short of its stop; else None."""
    pending, stop = shade.outstanding, top_reference(shade, stalled=True)
    if report.why is not Why.STALLED or pending is None or pending.purpose is not Purpose.REFERENCE:
        return None
    if stop is None or pending.began is None or pending.began_count is None or report.count is None:
        return None
    gone = max(0, pending.began_count - report.count)
    return held_below(shade.spec, began=pending.began, gone=gone, stop=stop)


def _with_lost_steps(shade: Shade, at: Interval, report: Report) -> Interval:
    """Return where the upper switch was met, lower by the steps that braking past it may have lost.

    A motor too fast to stop dead runs on above the switch and comes back; if it meets the upper stop on the
    way, it comes back by too much. At least half the room above the switch is taken to be free.
    """
    assert report.count is not None
    pending, in_force = in_command(shade), bounds_in_force(shade.channel, report.boot)
    end = None
    if pending is not None and pending.order.do is Do.GO and not by_hand(report):
        end = pending.order.to
    elif pending is None and in_force is not None:
        end = in_force.low
    pps = shade.spec.top_pps
    if pending is not None and pending.order.pps is not None and pending.pace is None:
        pps = pending.order.pps
    past = braking(shade.spec, pps) if end is None else min(braking(shade.spec, pps), report.count - end)
    lost = max(0, past - room_above(shade.spec, at))
    return Interval(low=at.low, high=at.high + lost)


def _pinned(turn: Turn, shade: Shade, known: Knowledge, at: Interval, report: Report) -> Knowledge:
    assert report.count is not None
    count, boot, why = report.count, report.boot, report.why
    was = None if known.base is None else claim_at(shade.spec, known, count)
    turn.note(
        "shade.reference.met",
        Level.INFO,
        shade=shade.id,
        at_mm=round(shade.spec.travel.drop_at_steps(at.middle), 1),
        width_mm=round(width_mm(shade.spec, at), 1),
        off_by_steps=None if was is None else at.middle - was.middle,
        inside_claim=None if was is None else not (at.high < was.low or was.high < at.low),
    )
    return evidence.referenced(
        shade.spec, known, at, count=count, boot=boot, landmark=_LANDMARKS[why], utc=turn.utc
    )


def _concluded(turn: Turn, shade: Shade, report: Report, *, foreign: bool) -> Shade:
    """Return the shade after the report has been held against the order in force and the request."""
    if by_hand(report):
        return _moved_by_hand(turn, shade, report)
    pending = shade.outstanding
    if pending is None:
        return shade
    if report.why is Why.REFUSED and report.seq < pending.order.seq:
        return _refused(turn, shade, pending, report)
    if report.seq < pending.order.seq:
        return shade
    if report.moving:
        # Somebody else's order has set it going.
        return replace(shade, outstanding=None) if foreign else under_way(turn, shade, pending)
    return at_rest(turn, replace(shade, outstanding=None), pending, report)


def _moved_by_hand(turn: Turn, shade: Shade, report: Report) -> Shade:
    """Return the shade after the button at its board, or its wind contact, has taken over."""
    wind = report.why is Why.WIND
    who = "the wind contact at its board" if wind else "the button at its board"
    pending = shade.outstanding
    if pending is not None and report.seq >= pending.order.seq:
        shade = replace(shade, outstanding=None)
    shade = ended(turn, shade, Fate.SUPERSEDED, f"{who} came after it")
    reason = f"moved by {who}"
    if not report.moving:
        turn.note("shade.moved.locally", Level.INFO, shade=shade.id, by=who, count=report.count)
    return replace(held(turn, shade, Rank.WIND if wind else Rank.HAND), reason=reason)


def _refused(turn: Turn, shade: Shade, pending: Outstanding, report: Report) -> Shade:
    """Return the shade after its board refused: addressed aright another time, or given up."""
    because = report.because or "it did not say why"
    turn.note("order.refused", Level.WARNING, shade=shade.id, seq=pending.order.seq, because=because)
    if report.term is not None and report.term > turn.term and turn.may_outbid:
        turn.term = report.term + 1
    # What else is on its way to the board is told apart by asking it.
    shade = fallen_silent(replace(shade, outstanding=None))
    request = shade.request
    if because in ADDRESSING or request is None:
        return shade
    if because == CLOSED and pending.purpose is Purpose.REFERENCE:
        if request.backed_off:
            return ended(turn, shade, Fate.FAILED, stuck())
        return replace(shade, request=replace(request, back_off=True))
    why = f"board {shade.spec.contract.board} refused: {because}; check its settings"
    return ended(turn, shade, Fate.FAILED, why)
