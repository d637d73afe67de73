"""Where a hem bar may be whose board never says so: its move profile held against the clock.

The link between count and position is the same as on a two-way link; what is missing is the count, so an
interval of counts takes its place. Nothing here sends or asks.
"""

from __future__ import annotations

from math import ceil, copysign, floor

from bridge.core.position.allowance import braking, free_above, physical_range, snap, steps_for_mm
from bridge.core.position.claims import claim_at, reckoned_at
from bridge.core.position.estimate import Knowledge
from bridge.core.position.evidence import rebased, slipped
from bridge.core.position.fall import after_power_cut, holds
from bridge.core.reckoning import Reckoning, Run
from bridge.core.replacing import replace
from bridge.core.shade.profile import Profile, move_profile
from bridge.core.shade.units import rounding
from bridge.core.spec import PowerUp, ShadeSpec
from bridge.core.values import Interval, Steps

# How far a board's clock, and its rounding of the time between two steps, may be out either way.
PACE = 0.05
# Counts of a one-way board belong to no boot that anybody could name.
NO_BOOT = 0
# From a board's connection until its greeting has been heard, a slow network included.
GREETING_S = 1.0


def slack(spec: ShadeSpec) -> Steps:
    """Return how far a shade may stand from its count: the board's rounding, a sleeping rotor's snap."""
    return rounding(spec.one_way.unit) + (0 if spec.one_way.rest_current else snap(spec))


def claim_over(spec: ShadeSpec, known: Knowledge, counts: Interval) -> Interval:
    """Return the positions in which the hem bar is when the count is anywhere in `counts`."""
    both = claim_at(spec, known, counts.low).joined(claim_at(spec, known, counts.high))
    return both.widened(slack(spec)).clipped(physical_range(spec))


def only(count: Steps) -> Interval:
    """Return the interval of one count."""
    return Interval(low=count, high=count)


# The clock.


def _profile(spec: ShadeSpec, steps: Steps) -> Profile:
    return move_profile(steps=steps, top_pps=spec.top_pps, ramp_pps2=spec.ramp_pps2)


def duration_s(spec: ShadeSpec, steps: Steps) -> float:
    """Return the longest that a board takes for `steps` >= 0, its latency not in it."""
    return _profile(spec, steps).duration_s * (1 + PACE)


def ends_s(spec: ShadeSpec, run: Run) -> float | None:
    """Return when a run is over for certain; None while the broker has not been heard to pass it on."""
    return None if run.heard_s is None else run.heard_s + spec.one_way.latency_s + run.lasts_s


def path(run: Run) -> Interval:
    """Return every count of a run."""
    return run.began.joined(only(run.to))


def window(spec: ShadeSpec, run: Run, now_s: float) -> Interval:
    """Return the counts between which the board is now, as its profile and the clock have it."""
    if not run.steady:
        return path(run)
    way = run.to - run.guess
    profile = _profile(spec, abs(way))
    first = ceil(profile.steps_after((now_s - run.sent_s) * (1 + PACE)))
    late_s = 0.0 if run.heard_s is None else now_s - run.heard_s - spec.one_way.latency_s
    last = floor(profile.steps_after(late_s / (1 + PACE)))
    sign = 1 if way >= 0 else -1
    low, high = sorted((run.guess + sign * last, run.guess + sign * min(first, abs(way))))
    return Interval(low=low, high=high)


def ahead(spec: ShadeSpec, run: Run, now_s: float) -> Interval:
    """Return the counts at which the board may be from now on, until the run is over."""
    return window(spec, run, now_s).joined(only(run.to)).joined(run.rests)


def aim(spec: ShadeSpec, run: Run, now_s: float) -> Steps:
    """Return the count at which the board most likely is now."""
    start, since_s = _from_rest(spec, run)
    if now_s < since_s:
        left_s = since_s - now_s
        return start - round(copysign(spec.ramp_pps2 * left_s * left_s / 2, run.pps))
    way = run.to - start
    done = round(_profile(spec, abs(way)).steps_after(now_s - since_s))
    return start + (done if way >= 0 else -done)


def likely_pps(spec: ShadeSpec, run: Run, now_s: float) -> float:
    """Return the speed that the board most likely has now, positive to lower."""
    start, since_s = _from_rest(spec, run)
    if now_s < since_s:
        return copysign(spec.ramp_pps2 * (since_s - now_s), run.pps)
    profile, gone_s = _profile(spec, abs(run.to - start)), now_s - since_s
    on_ramp = spec.ramp_pps2 * max(0.0, min(gone_s, profile.duration_s - gone_s))
    return copysign(min(on_ramp, profile.peak_pps), run.to - start)


def _from_rest(spec: ShadeSpec, run: Run) -> tuple[Steps, float]:
    """Return the count and the time from which a run goes on as if it had begun at rest there and then.

    One that began at speed would have set off earlier and further back; one that had to brake first, to turn
    round or for want of way, sets off once it has.
    """
    brakes = round(copysign(_braking_way(spec, run.pps), run.pps))
    brakes_s = abs(run.pps) / spec.ramp_pps2
    way = run.to - run.guess
    if abs(brakes) <= (way if run.pps >= 0 else -way):
        return run.guess - brakes, run.sent_s - brakes_s
    return run.guess + brakes, run.sent_s + brakes_s


def _braking_way(spec: ShadeSpec, pps: float) -> float:
    return pps * pps / (2 * spec.ramp_pps2)


def set_off(spec: ShadeSpec, reckoning: Reckoning, *, to: Steps, request: int | None, now_s: float) -> Run:
    """Return the run to count `to` of a board as it is reckoned to be now.

    A board may finish an old run before it turns to the new one, so the time of both is granted.
    """
    run, counts, pps = reckoning.run, reckoning.counts, 0.0
    likely = None if reckoning.rests_s is None else reckoning.likely
    if run is not None:
        left_s = max(0.0, (run.heard_s or run.sent_s) + spec.one_way.latency_s + run.lasts_s - now_s)
        began, guess = ahead(spec, run, now_s), aim(spec, run, now_s)
        pps = likely_pps(spec, run, now_s)
        lasts_s = left_s + duration_s(spec, max(abs(to - run.rests.low), abs(to - run.rests.high)))
    elif counts is not None:
        began, guess = counts, counts.middle if likely is None else min(max(likely, counts.low), counts.high)
        lasts_s = duration_s(spec, max(abs(to - counts.low), abs(to - counts.high)))
    else:
        began, guess = only(to), to
        lasts_s = duration_s(spec, physical_range(spec).width)
    exact = run is None and counts is not None and counts.width == 0
    return Run(
        began=began,
        guess=guess,
        to=to,
        rests=only(to),
        request=request,
        sent_s=now_s,
        heard_s=None,
        lasts_s=lasts_s,
        looked_s=now_s,
        steady=exact,
        timed=exact or likely is not None if run is None else run.timed,
        pps=pps,
    )


def halting(spec: ShadeSpec, run: Run, *, request: int | None, now_s: float) -> Run:
    """Return the run of a board that is told to halt: it ends between here and a braking distance on."""
    sign = 1 if run.to >= run.guess else -1
    here = window(spec, run, now_s)
    further = window(spec, run, now_s + spec.one_way.latency_s)
    tip = further.high if sign > 0 else further.low
    reach = only(tip + sign * braking(spec)).clipped(path(run))
    stops = here.joined(only(reach.middle))
    at, pps = aim(spec, run, now_s), likely_pps(spec, run, now_s)
    return replace(
        run,
        began=ahead(spec, run, now_s),
        guess=at,
        pps=pps,
        to=at + round(copysign(_braking_way(spec, pps), pps)),
        rests=stops,
        request=request,
        sent_s=now_s,
        heard_s=None,
        lasts_s=spec.top_pps / spec.ramp_pps2 * (1 + PACE),
        looked_s=now_s,
        steady=False,
    )


def gone_on(spec: ShadeSpec, run: Run, now_s: float) -> Run:
    """Return a run that halts, its message passed on at `now_s` only: until then the board has gone on."""
    further = ceil(spec.top_pps * (1 + PACE) * max(0.0, now_s - run.sent_s))
    low = run.rests.low - (further if run.to <= run.guess else 0)
    high = run.rests.high + (further if run.to >= run.guess else 0)
    return replace(run, rests=Interval(low=low, high=high).clipped(path(run)).joined(run.rests))


def stopping_count(spec: ShadeSpec, run: Run, now_s: float) -> Steps:
    """Return the count to send a board to that is to halt and knows nothing but targets: a braking way on."""
    here = aim(spec, run, now_s)
    sign = 1 if run.to >= here else -1
    return here + sign * min(braking(spec), abs(run.to - here))


# What is known.


def way_to(reckoning: Reckoning, to: Steps) -> Steps:
    """Return the longest way to count `to`; of a board that is turned on the way, only what is new in it."""
    rests = reckoning.counts if reckoning.run is None else reckoning.run.rests
    return 0 if rests is None else max(abs(to - rests.low), abs(to - rests.high))


def departed(spec: ShadeSpec, known: Knowledge, run: Run, *, way: Steps) -> Knowledge:
    """Return knowledge once a target is on its way: slip added, and here, there and between in the hull."""
    after = slipped(spec, known, moves=1, distance=way)
    if after.base is None:
        return replace(after, hull=physical_range(spec))
    after = _blocked(spec, after, path(run).low)
    return replace(after, hull=after.hull.joined(_let_go(spec, claim_over(spec, after, path(run)))))


def perhaps_fallen(spec: ShadeSpec, known: Knowledge, reckoning: Reckoning) -> Knowledge:
    """Return knowledge of a board that is told something while it is on its way.

    It may have come to its end already, and gone to sleep there: where nothing holds it then the cloth has
    fallen, and the count means another place.
    """
    run = reckoning.run
    if run is None or known.base is None or spec.one_way.rest_current:
        return known
    at = claim_over(spec, known, run.rests)
    if holds(spec, at):
        return known
    fallen = linked(spec, known, after_power_cut(spec, at), run.rests)
    assert fallen.base is not None
    return replace(fallen, hull=known.hull.joined(fallen.hull), base=known.base.joined(fallen.base))


def _let_go(spec: ShadeSpec, hull: Interval) -> Interval:
    """Return `hull` with where the cloth falls from there once the board, arrived or halted, is asleep."""
    if spec.one_way.rest_current or holds(spec, hull):
        return hull
    return hull.joined(after_power_cut(spec, hull))


def _blocked(spec: ShadeSpec, known: Knowledge, highest: Steps) -> Knowledge:
    """Return knowledge with the steps that a motor may lose at its upper stop on the way to count `highest`.

    Nobody reports that stall. Half the room that the owner gives above the upper limit is taken to be free.
    """
    assert known.base is not None
    lost = free_above(spec) - reckoned_at(spec, known, highest).low
    if lost <= 0:
        return known
    return replace(known, base=Interval(low=known.base.low, high=known.base.high + lost + snap(spec)))


def on_the_way(spec: ShadeSpec, known: Knowledge, run: Run, now_s: float) -> Knowledge:
    """Return knowledge while a run goes on: what the clock says to be behind the hem bar is left out."""
    if known.base is None:
        return known
    now = _let_go(spec, claim_over(spec, known, ahead(spec, run, now_s)))
    low, high = max(known.hull.low, now.low), min(known.hull.high, now.high)
    return replace(known, hull=Interval(low=low, high=high) if low <= high else now)


def at_rest(spec: ShadeSpec, known: Knowledge, counts: Interval) -> Knowledge:
    """Return knowledge of a board that stands in `counts`; without current the cloth may fall."""
    if known.base is None:
        return known
    count = counts.low if counts.width == 0 else None
    rested = replace(known, hull=claim_over(spec, known, counts), settled_count=count)
    if spec.one_way.rest_current or holds(spec, rested.hull):
        return rested
    return linked(spec, rested, after_power_cut(spec, rested.hull), counts)


def linked(spec: ShadeSpec, known: Knowledge, hull: Interval, counts: Interval) -> Knowledge:
    """Return knowledge that starts afresh: the hem bar is in `hull` while the count is in `counts`."""
    fresh = rebased(spec, known, hull, count=0, boot=NO_BOOT)
    assert fresh.base is not None
    base = Interval(low=fresh.base.low - counts.high, high=fresh.base.high - counts.low)
    return replace(fresh, base=base, settled_count=counts.low if counts.width == 0 else None)


def power_lost(spec: ShadeSpec, known: Knowledge) -> Knowledge:
    """Return knowledge of a board that is gone: it stopped somewhere in the hull, and the cloth may fall."""
    return replace(known, hull=known.hull.joined(after_power_cut(spec, known.hull)))


def power_returned(
    spec: ShadeSpec, known: Knowledge, reckoning: Reckoning, now_s: float
) -> tuple[Knowledge, Reckoning]:
    """Return what is known of a board that is there again and may have been without power.

    Without power it believes what the settings say: to be at its retained target wherever the cut has left
    it, or at zero. It may also have lost its network only, and gone on: the link is the hull of both.
    """
    run, retained = reckoning.run, spec.one_way.power_up is PowerUp.RETAINED_TARGET
    if reckoning.value is None and reckoning.counts is not None:
        # Nothing is kept for it: never told anything, or forgotten.
        retained = False
    believed = reckoning.target if retained else 0
    after = replace(reckoning, run=None, echoes=(), vouched_s=None, watched=False, rests_s=None)
    if believed is None:
        return replace(known, base=None, mark=None), replace(after, counts=None)
    hull, counts = known.hull, only(believed)
    if known.base is not None and retained:
        hull = hull.joined(claim_over(spec, known, counts))
    if run is None:
        counts = counts if retained or reckoning.counts is None else counts.joined(reckoning.counts)
        return linked(spec, known, hull, counts), replace(after, counts=counts)
    return _returned_to_a_target(
        spec, linked(spec, known, hull, counts), after, run, now_s, retained=retained
    )


def _returned_to_a_target(
    spec: ShadeSpec, known: Knowledge, after: Reckoning, run: Run, now_s: float, *, retained: bool
) -> tuple[Knowledge, Reckoning]:
    """Return what is known when the board was on its way, or was sent there just as it came back.

    With its power uncut it goes on. Told only after it had begun anew, it sets off from wherever it hangs.
    """
    believed = only(run.to)
    if retained and now_s >= run.sent_s + 2 * spec.one_way.latency_s + GREETING_S:
        rests = believed
    else:
        rests = path(run) if retained else path(run).joined(only(0))
        known = linked(spec, known, known.hull, rests)
        known = replace(known, hull=known.hull.joined(claim_over(spec, known, believed)))
    run = replace(run, request=None, heard_s=now_s, began=path(run), rests=rests, steady=False, timed=False)
    return known, replace(after, run=run, counts=rests)


def forgotten(spec: ShadeSpec, known: Knowledge, reckoning: Reckoning) -> tuple[Knowledge, Reckoning]:
    """Return what is known of a board for which its broker has lost the retained target.

    If it was without power since, its count is 0 wherever it hangs; nobody can tell, so it may be both.
    """
    after = replace(
        reckoning, target=None, value=None, vouched_s=None, watched=False, rests_s=None, kept_s=None
    )
    run, counts = reckoning.run, reckoning.counts
    if known.base is None or counts is None or abs(known.base.middle) > steps_for_mm(spec, spec.doubtful_mm):
        # Far from where it was switched on, no count would lead up without running against the stop.
        return replace(power_lost(spec, known), base=None, mark=None), replace(after, run=None, counts=None)
    if run is not None:
        counts = path(run).joined(run.rests).joined(only(0))
        after = replace(after, run=replace(run, rests=counts, steady=False))
    counts, known = counts.joined(only(0)), power_lost(spec, known)
    known = linked(spec, known, known.hull, counts)
    return replace(known, hearsay=True), replace(after, counts=counts)
