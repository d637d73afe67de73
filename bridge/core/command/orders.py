"""What the bridge tells a board: orders and the bounds in them. No order can unroll the cloth past its end.

Every downward order goes through `refuse_downward`; there is no other way to build one.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor, isqrt

from bridge.core.command.goals import Refusal, top_sense
from bridge.core.contract import Do, Order, Sense, Then, Toward
from bridge.core.position.allowance import (
    nearest_cycle,
    physical_range,
    reference_interval,
    room_above,
    snap,
    steps_for_mm,
)
from bridge.core.position.claims import claim_at, reckoned_at
from bridge.core.position.estimate import Knowledge
from bridge.core.position.evidence import departed, departed_upward, slipped, swallowed
from bridge.core.position.fall import holds
from bridge.core.replacing import quick, replace
from bridge.core.spec import ShadeSpec
from bridge.core.state import Purpose, Shade
from bridge.core.values import Interval, Steps


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """An order ready to leave, and what will be known of the shade once it has left."""

    order: Order
    knowledge: Knowledge


def draft_go(shade: Shade, goal: Steps, *, term: int, seq: int) -> Draft | Refusal:
    """Return the order that leads the middle of the estimate to position `goal`.

    The target is rounded to the electrical cycle when the motor will sleep there.
    """
    spec, known, channel = shade.spec, shade.knowledge, shade.channel
    assert known.base is not None
    assert channel.boot is not None
    exact = goal - known.base.middle
    asleep = nearest_cycle(spec, exact)
    to, then, after = asleep, Then.SLEEP, slipped_for(shade, asleep)
    if shade.attended_until_s is not None or not holds(spec, claim_at(spec, after, asleep)):
        to, then, after = exact, Then.STAY, slipped_for(shade, exact)
    refusal = refuse_downward(shade, after, to)
    if refusal is not None:
        return refusal
    bounds = bounds_for(shade, after, to)
    order = Order(
        term=term,
        boot=channel.boot,
        seq=seq,
        seen=channel.n,
        do=Do.GO,
        to=to,
        low=bounds.low,
        high=bounds.high,
        pps=spec.top_pps,
        ramp=spec.ramp_pps2,
        then=then,
    )
    return Draft(order=order, knowledge=departed(spec, after, to=to))


def counts_now(shade: Shade) -> Interval:
    """Return the counts between which the board is now, a move under way included."""
    report = shade.channel.report
    assert report is not None
    assert report.count is not None
    counts = Interval(low=report.count, high=report.count)
    for to in (report.to if report.moving else None, _outstanding_to(shade)):
        if to is not None:
            counts = counts.joined(Interval(low=to, high=to))
    return counts


def _outstanding_to(shade: Shade) -> Steps | None:
    return None if shade.outstanding is None else shade.outstanding.order.to


def slipped_for(shade: Shade, to: Steps) -> Knowledge:
    """Return knowledge with the slip of the way to `to` added.

    A retarget adds only the way from the old target to the new one: by the triangle inequality that covers
    any point between at which the board turns round, since it never brakes past its old target.
    """
    old, now = _outstanding_to(shade), counts_now(shade)
    distance = abs(to - old) if old is not None else max(abs(to - now.low), abs(to - now.high))
    after = slipped(shade.spec, shade.knowledge, moves=1, distance=distance)
    return swallowed(shade.spec, after, to)


def refuse_downward(shade: Shade, after: Knowledge, to: Steps) -> Refusal | None:
    """Refuse a way down on which the cloth could come to its end, for any position it may have now."""
    now = counts_now(shade)
    if to <= now.low:
        return None
    spec = shade.spec
    lowest = max(reckoned_at(spec, after, to).high, after.hull.high + to - now.high)
    if lowest <= spec.travel.deepest_steps:
        return None
    spare = spec.travel.deepest_steps - (lowest - to) + _middle(after)
    safe = ceil(spec.travel.percent_at_steps(max(spare, 0)))
    return Refusal(
        why=f"the hem bar may be {spec.travel.mm_between(after.hull.low, after.hull.high):.0f} mm away from "
        f"where it is reckoned, so lower than {safe} % could unroll the cloth past its end; "
        "take a reference first"
    )


def _middle(known: Knowledge) -> Steps:
    assert known.base is not None
    return known.base.middle


def bounds_for(shade: Shade, after: Knowledge, to: Steps) -> Interval:
    """Return the counts that the board may not leave: the limits as aimed, never the end of the cloth.

    The way up stays open to the limit as aimed, or a wide interval could never be narrowed; the way down
    ends where the worst end of the estimate is still short of the end of the cloth.
    """
    spec = shade.spec
    slack = ceil(steps_for_mm(spec, spec.tolerance_mm))
    bottom = spec.travel.lower_steps - _middle(after)
    beyond = reckoned_at(spec, after, bottom).high - bottom
    high = min(bottom + slack, floor(spec.travel.deepest_steps - beyond))
    return Interval(low=min(-_middle(after) - slack, to), high=max(high, to))


def draft_seek_up(shade: Shade, *, term: int, seq: int) -> Draft:
    """Return the order that raises the shade until it feels its upper end, or has gone the worst distance."""
    spec, channel = shade.spec, shade.channel
    assert channel.boot is not None
    turn = spec.travel.drive.pulses_per_turn
    at_most = shade.knowledge.hull.high - physical_range(spec).low + ceil(turn / 4)
    after = slipped(spec, shade.knowledge, moves=1, distance=at_most)
    order = Order(
        term=term,
        boot=channel.boot,
        seq=seq,
        seen=channel.n,
        do=Do.SEEK,
        pps=seek_pps(spec, by_switch=top_sense(shade) is Sense.UPPER_SWITCH),
        ramp=spec.ramp_pps2,
        toward=Toward.UPPER,
        at_most=at_most,
    )
    return Draft(order=order, knowledge=departed_upward(spec, after))


def seek_pps(spec: ShadeSpec, *, by_switch: bool) -> int:
    """Return half the top speed, or less where the motor would brake past its switch up to the stop."""
    half = max(1, spec.top_pps // 2)
    if not by_switch or spec.upper_switch is None:
        return half
    room = room_above(spec, reference_interval(spec, spec.upper_switch))
    return max(1, min(half, isqrt(2 * spec.ramp_pps2 * room)))


def plain_order(shade: Shade, do: Do, *, term: int, seq: int) -> Order:
    """Return a `tell`, `stop`, `sleep` or `wake`."""
    channel = shade.channel
    assert channel.boot is not None
    order = Order(term=term, boot=channel.boot, seq=seq, seen=channel.n, do=do)
    return replace(order, ramp=shade.spec.ramp_pps2) if do is Do.STOP else order


def top_reference(shade: Shade, *, stalled: bool) -> Interval | None:
    """Return where the hem bar is when it has met its upper switch, or its upper stop when `stalled`.

    Half a cycle wider than the place itself: a rotor that gets current may snap across its switch, and one
    that has lost steps falls back into the nearest of its cycles.
    """
    spec = shade.spec
    reference = spec.upper_stall if stalled else spec.upper_switch
    return None if reference is None else reference_interval(spec, reference).widened(snap(spec))


def purpose_of(order: Order) -> Purpose:
    """Return what an order is for."""
    table = {Do.GO: Purpose.MOVE, Do.SEEK: Purpose.REFERENCE, Do.STOP: Purpose.STOP, Do.SLEEP: Purpose.SLEEP}
    return table[order.do]
