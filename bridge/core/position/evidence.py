"""What each event does to the estimate. Never narrower than what has been shown, never wider than needed.

Every function takes what was known and returns what is known now; `base` carries the link to the board's
count, `hull` the claim. A rebase says: from here on distances are counted from the present hull.
"""

from __future__ import annotations

from datetime import datetime
from itertools import pairwise
from math import ceil, floor

from bridge.core.contract import Report
from bridge.core.position.allowance import (
    braking,
    free_above,
    physical_range,
    slip_of_path,
    snap,
)
from bridge.core.position.claims import claim_at, reckoned_at
from bridge.core.position.estimate import MEETINGS_KEPT, Knowledge, Landmark, Mark, Meeting
from bridge.core.position.fall import after_power_cut, holds
from bridge.core.replacing import replace
from bridge.core.spec import ShadeSpec
from bridge.core.values import Interval, Steps


def nothing_known(spec: ShadeSpec) -> Knowledge:
    """Return what is known of a shade that was never heard of: its whole mechanical range."""
    ends = physical_range(spec)
    return Knowledge(
        hull=ends,
        base=None,
        anchor=ends,
        boot=None,
        settled_count=None,
        scale_bound=None,
        slip=0,
        moves=0,
        mark=None,
        drive=spec.travel.version,
    )


def rebased(
    spec: ShadeSpec, known: Knowledge, hull: Interval, *, count: Steps | None, boot: int | None
) -> Knowledge:
    """Return knowledge that starts afresh from `hull`: the chain of counts behind it is broken."""
    base = None if count is None else _open_ended(spec, hull).shifted(-count)
    return replace(
        known,
        hull=hull,
        base=base,
        anchor=hull,
        boot=boot,
        settled_count=count,
        mark=None,
        chain=known.chain + 1,
    )


def _open_ended(spec: ShadeSpec, hull: Interval) -> Interval:
    """Return the hull, half a turn longer where it reaches the end of the cloth: that is no better known."""
    if hull.high < spec.travel.end_steps:
        return hull
    return Interval(low=hull.low, high=hull.high + ceil(spec.travel.drive.pulses_per_turn / 2))


def slipped(spec: ShadeSpec, known: Knowledge, *, moves: int, distance: Steps) -> Knowledge:
    """Return knowledge with the slip allowance of `moves` starts over `distance` steps added."""
    slip = slip_of_path(spec, moves=moves, distance=distance)
    base = None if known.base is None else known.base.widened(slip)
    return replace(
        known,
        base=base,
        slip=known.slip + slip,
        moves=known.moves + moves,
        travelled=known.travelled + distance,
    )


def departed(spec: ShadeSpec, known: Knowledge, *, to: Steps) -> Knowledge:
    """Return knowledge while a move to count `to` may be under way: the hull of here, there and between."""
    return replace(known, hull=known.hull.joined(claim_at(spec, known, to)))


def departed_upward(spec: ShadeSpec, known: Knowledge) -> Knowledge:
    """Return knowledge while a seek toward the upper limit may be under way.

    Until it meets its reference the count means nothing: it may be losing steps against the upper stop. Once
    it has met a switch below that stop, none were lost, and the chain of counts goes on.
    """
    hull = Interval(low=physical_range(spec).low, high=known.hull.high)
    return replace(known, hull=hull, base=None, mark=None)


def passing(spec: ShadeSpec, known: Knowledge, *, count: Steps, to: Steps) -> Knowledge:
    """Return knowledge after a progress report: between here and the target, or still braking.

    The board may have been turned round just now, whichever way it ran: the way on both sides of `count` in
    which it brakes stays in.
    """
    reach = braking(spec)
    low, high = min(count - reach, to), max(count + reach, to)
    ahead = claim_at(spec, known, low).joined(claim_at(spec, known, high))
    return replace(known, hull=_met(known.hull, ahead))


def _met(hull: Interval, shown: Interval) -> Interval:
    """Return what both allow; evidence wins when they don't meet, since the older hull was then wrong."""
    low, high = max(hull.low, shown.low), min(hull.high, shown.high)
    return Interval(low=low, high=high) if low <= high else shown


def settled(spec: ShadeSpec, known: Knowledge, *, count: Steps) -> Knowledge:
    """Return knowledge once the board is at rest at `count` in the boot that `base` is about.

    Where the claim is cut off by the upper stop, steps may have been lost there: distances count from here.
    A count that means a place wholly past an end of what the hem bar can reach means nothing any more.
    """
    ends, at = physical_range(spec), reckoned_at(spec, known, count)
    if at.high < ends.low or ends.high < at.low:
        return rebased(spec, known, ends, count=count, boot=known.boot)
    if swallowed_at(spec, known, count):
        return rebased(spec, known, claim_at(spec, known, count), count=count, boot=known.boot)
    return replace(known, hull=claim_at(spec, known, count), settled_count=count)


def swallowed_at(spec: ShadeSpec, known: Knowledge, count: Steps) -> Steps:
    """Return the most steps that the upper stop may swallow on the way to `count`.

    The hem bar rises no higher than the owner says; the stop may come sooner, but leaves half of that free.
    """
    return max(0, free_above(spec) - reckoned_at(spec, known, count).low)


def swallowed(spec: ShadeSpec, known: Knowledge, to: Steps) -> Knowledge:
    """Return knowledge of a shade that may be driven to count `to`, against its upper stop perhaps."""
    if known.base is None:
        return known
    lost = swallowed_at(spec, known, to)
    if not lost:
        return known
    base = Interval(low=known.base.low, high=known.base.high + lost)
    return replace(known, base=base, chain=known.chain + 1)


def slept(spec: ShadeSpec, known: Knowledge) -> Knowledge:
    """Return knowledge once the motor has lost its current off a full electrical cycle."""
    half = snap(spec)
    base = None if known.base is None else known.base.widened(half)
    slip = known.slip + half
    return replace(known, base=base, slip=slip, hull=known.hull.widened(half).clipped(physical_range(spec)))


def let_go(spec: ShadeSpec, known: Knowledge) -> Knowledge:
    """Return knowledge once the motor sleeps: unless it holds all over the hull, the cloth may fall."""
    if holds(spec, known.hull):
        return known
    fallen = after_power_cut(spec, known.hull)
    return rebased(spec, known, fallen, count=known.settled_count, boot=known.boot)


def uncounted(known: Knowledge) -> Knowledge:
    """Return knowledge of a board that has lost count: what it counts from now on begins anew."""
    return replace(known, base=None, settled_count=None, mark=None, chain=known.chain + 1)


def stalled(spec: ShadeSpec, known: Knowledge, *, count: Steps, boot: int) -> Knowledge:
    """Return knowledge after a stall away from a reference, or a seek that found none: steps may be lost.

    The hem bar is where it was, or where the count has it, or between.
    """
    hull = known.hull if known.base is None else known.hull.joined(claim_at(spec, known, count))
    return rebased(spec, known, hull, count=count, boot=boot)


def unheard(spec: ShadeSpec, known: Knowledge, bounds: Interval | None) -> Knowledge:
    """Return knowledge while the board is out of hearing: its button may be used and its power may go.

    Args:
        spec: The shade.
        known: What was known.
        bounds: The counts that its local button is kept within; None when it has no such bounds.
    """
    hull = known.hull
    if spec.local_button:
        if bounds is None or known.base is None:
            hull = hull.joined(physical_range(spec))
        else:
            for end in (bounds.low, bounds.high):
                hull = hull.joined(claim_at(spec, known, end))
    return replace(known, hull=hull.joined(after_power_cut(spec, hull)))


def forgotten(known: Knowledge) -> Knowledge:
    """Return knowledge of a board that numbers its reports afresh: its flash was blank or replaced."""
    return replace(known, base=None, boot=None, mark=None, chain=known.chain + 1)


def chain_holds(known: Knowledge, report: Report) -> bool:
    """Say whether the report's count continues the counts that `base` is about."""
    if known.base is None or known.boot is None or report.count is None:
        return False
    if report.boot == known.boot:
        return True
    if report.boot < known.boot or not report.kept:
        return False
    since = report.boot if report.kept_since is None else report.kept_since
    return report.boot == known.boot + 1 or since <= known.boot


def _unmoved_since_its_cut(known: Knowledge, report: Report) -> bool:
    """Say whether power was cut once, at the count now reported: nothing has been sent anywhere since."""
    return known.boot is not None and report.boot == known.boot + 1 and report.to is None


def _snapped(spec: ShadeSpec, known: Knowledge, *, boot: int) -> Knowledge:
    """Return knowledge in a later boot: each power cut lets the rotor snap to another cycle."""
    assert known.base is not None
    assert known.boot is not None
    off = max(1, boot - known.boot) * snap(spec)
    return replace(known, base=known.base.widened(off), slip=known.slip + off, boot=boot)


def power_returned(spec: ShadeSpec, known: Knowledge, report: Report, bounds: Interval | None) -> Knowledge:
    """Return knowledge after a board came up in another boot than the one known.

    A kept count says where the tube was when power went; only where the unpowered motor holds does it also
    say where the tube is now. Otherwise what is left is the hull of where it could have been, fallen.
    """
    if chain_holds(known, report):
        assert report.count is not None
        at_cut = claim_at(spec, known, report.count)
        cut_there = not spec.local_button or _unmoved_since_its_cut(known, report)
        if holds(spec, at_cut if cut_there else known.hull.joined(at_cut)):
            return settled(spec, _snapped(spec, known, boot=report.boot), count=report.count)
        if cut_there:
            now = after_power_cut(spec, at_cut)
            return rebased(spec, known, now, count=report.count, boot=report.boot)
    skipped = known.boot is None or report.boot != known.boot + 1
    where = unheard(spec, known, None if skipped else bounds).hull
    return rebased(spec, known, after_power_cut(spec, where), count=report.count, boot=report.boot)


def referenced(
    spec: ShadeSpec,
    known: Knowledge,
    at: Interval,
    *,
    count: Steps,
    boot: int,
    landmark: Landmark,
    utc: datetime,
) -> Knowledge:
    """Return knowledge once a reference has pinned the hem bar to `at` while the board counted `count`."""
    # Up to a stall the board counts steps that the stop has swallowed.
    chain = known.chain + 1 if landmark is Landmark.UPPER_STOP else known.chain
    meeting = Meeting(
        utc=utc,
        landmark=landmark,
        at=at,
        count=count,
        chain=chain,
        moves=known.moves,
        travelled=known.travelled,
        slip=known.slip,
        claimed=None if known.base is None else claim_at(spec, known, count),
    )
    mark = Mark(at=at, count=count, moves=known.moves, slip=known.slip)
    meetings = (*known.meetings, meeting)[-MEETINGS_KEPT:]
    bound = _tighter(known.scale_bound, _scale_agreed(spec, meetings))
    return replace(
        known,
        hull=at,
        base=at.shifted(-count),
        anchor=at,
        boot=boot,
        settled_count=count,
        scale_bound=bound,
        mark=mark,
        chain=chain,
        meetings=meetings,
        hearsay=False,
    )


def _scale_agreed(spec: ShadeSpec, meetings: tuple[Meeting, ...]) -> float | None:
    """Return the relative error that the last way down and the last way up both allow; None before both.

    One way proves nothing, nor do two in one direction: pulls that nobody felt make a way down look longer
    than it was counted and a way up shorter, so that they may hide the drive's error in one of them only.
    """
    last: dict[bool, float] = {}
    for old, new in pairwise(meetings):
        shown = _scale_shown(spec, old, new) if old.chain == new.chain else None
        if shown is not None:
            last[new.count > old.count] = shown
    return max(last.values()) if len(last) > 1 else None


def _scale_shown(spec: ShadeSpec, old: Meeting, new: Meeting) -> float | None:
    """Return the relative error that the way between two references, a turn apart or more, still allows."""
    counted = abs(new.count - old.count)
    if counted < spec.travel.drive.pulses_per_turn:
        return None
    went = abs(new.at.middle - old.at.middle)
    room = (new.at.width + old.at.width) / 2 + new.slip - old.slip
    return (abs(went - counted) + room) / counted


def _tighter(known: float | None, shown: float | None) -> float | None:
    """Return the smaller bound of those that exist."""
    both = [each for each in (known, shown) if each is not None]
    return min(both, default=None)


def redrawn(old: ShadeSpec, new: ShadeSpec, known: Knowledge) -> Knowledge:
    """Return knowledge carried over to another geometry: what was claimed in mm is still claimed in mm."""
    ends = physical_range(new)
    low = floor(new.travel.steps_at_drop(old.travel.drop_at_steps(known.hull.low)))
    high = floor(new.travel.steps_at_drop(_within(old, new, known.hull.high))) + 1
    # The end of the cloth is known to half a turn only: what reached the old one reaches the new one.
    if known.hull.high >= physical_range(old).high:
        high = max(high, ends.high)
    hull = Interval(low=low, high=high).clipped(ends)
    fresh = rebased(new, known, hull, count=None, boot=None)
    return replace(fresh, scale_bound=None, drive=new.travel.version)


def _within(old: ShadeSpec, new: ShadeSpec, steps: Steps) -> float:
    """Return the drop at `steps`, no longer than all the cloth that the new geometry has."""
    return min(old.travel.drop_at_steps(steps), new.travel.drop_at_steps(new.travel.end_steps))
