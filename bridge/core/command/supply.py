"""Who may start now: amps of a supply shared out by rank, and starts spread after power has returned.

A shade that is moving is never held back by this; one that has to wait keeps its request and does not expire.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from heapq import heappop, heappush
from math import inf

from bridge.core.agenda import Agenda, Column
from bridge.core.command.orders import seek_pps
from bridge.core.command.requests import asked_by
from bridge.core.replacing import replace
from bridge.core.shade.profile import move_profile
from bridge.core.spec import HouseSpec, Mounting, ShadeSpec
from bridge.core.state import House, Purpose, Request, Shade, kept
from bridge.core.turn import Turn
from bridge.core.values import SupplyId

# After power has returned to a board, starts are spread for so long: by then what waited has begun.
RESTLESS_S = 60.0
# A connection that has died unnoticed delivers for so long, and a board may be so much slower than told.
LATE_S = 15.0
PACE = 1.5
# A dragged slider reaches the board at most four times a second (DESIGN: requests, ranks, orders).
ORDER_EVERY_S = 0.25
# Sums of amps given to one or two decimals.
ROUNDING_A = 1e-9

MOTION = (Purpose.MOVE, Purpose.REFERENCE)


def moves(shade: Shade, now_s: float) -> bool:
    """Say whether a shade may be moving now; out of hearing it may still be at its last order for a while."""
    if _reports_motion(shade):
        return True
    over_s = surely_over_s(shade)
    return over_s is not None and (shade.channel.answered or now_s < over_s)


def draw_a(shade: Shade, now_s: float) -> float:
    """Return the amps that a shade may be drawing now."""
    report = shade.channel.report
    if moves(shade, now_s) or _is_to_join(shade):
        return shade.spec.moving_a
    if report is not None and not report.awake:
        return 0.0
    return shade.spec.standstill_a


def _is_to_join(shade: Shade) -> bool:
    """Say whether a level group on its way has amps set aside for a shade."""
    request = shade.request
    return request is not None and request.level is not None and request.level.pace is not None


def drawn_a(shades: Iterable[Shade], supply: SupplyId, now_s: float) -> float:
    """Return the amps that all shades of a supply may be drawing together."""
    return sum(draw_a(shade, now_s) for shade in shades if shade.spec.supply == supply)


def must_wait(turn: Turn, shade: Shade) -> bool:
    """Say whether a start has to wait for amps of its supply, or for those whose turn comes before."""
    supply = shade.spec.supply
    limit = _limit_a(turn.house.spec, supply)
    if limit is None or supply is None or draw_a(shade, turn.now_s) >= shade.spec.moving_a:
        return False
    others = [each for each in _at(turn.house, supply) if each.id != shade.id]
    drawn = drawn_a(others, supply, turn.now_s) + turn.drawn.get(supply, 0.0)
    if drawn + shade.spec.moving_a > limit + ROUNDING_A:
        return True
    # Else one that needs little would pass one that needs much for ever.
    return any(_waits_before(each, shade) for each in others)


def must_wait_together(turn: Turn, shades: Sequence[Shade]) -> bool:
    """Say whether a start of all `shades` at once has to wait for amps, as `must_wait` does for one."""
    mine = {shade.id for shade in shades}
    for supply in {shade.spec.supply for shade in shades}:
        limit = _limit_a(turn.house.spec, supply)
        some = [shade for shade in shades if shade.spec.supply == supply]
        starting = [shade for shade in some if draw_a(shade, turn.now_s) < shade.spec.moving_a]
        if limit is None or supply is None or not starting:
            continue
        others = [each for each in _at(turn.house, supply) if each.id not in mine]
        drawn = drawn_a(others, supply, turn.now_s) + turn.drawn.get(supply, 0.0)
        if drawn + sum(shade.spec.moving_a for shade in some) > limit + ROUNDING_A:
            return True
        first = min(starting, key=_place)
        if any(_waits_before(each, first) for each in others):
            return True
    return False


def _waits_before(other: Shade, shade: Shade) -> bool:
    queued = other.request is not None and other.request.queued
    return queued and (shade.request is None or _place(other) < _place(shade))


def note_start(turn: Turn, shade: Shade) -> None:
    """Reckon with a start for whatever else is decided in this turn."""
    turn.started_at_s = turn.now_s
    supply = shade.spec.supply
    if supply is not None:
        more = max(0.0, shade.spec.moving_a - draw_a(shade, turn.now_s))
        turn.drawn[supply] = turn.drawn.get(supply, 0.0) + more


def due_s(house: House, agenda: Agenda) -> float | None:
    """Return the monotonic second at which a shade that waits may get its turn though nothing happens."""
    if not agenda.has(Column.WAITS):
        return None
    dues = (agenda.first(Column.SPACED), agenda.first(Column.OVER), ends_stagger_s(house))
    return min((due for due in dues if house.now.mono_s < due < inf), default=None)


def ends_stagger_s(house: House) -> float:
    """Return from when on another start may follow the last one; infinite when starts are not spread."""
    if house.returned_at_s is None or house.started_at_s is None:
        return inf
    return min(house.started_at_s + house.spec.stagger_s, house.returned_at_s + RESTLESS_S)


def must_stagger(turn: Turn, shade: Shade) -> bool:
    """Say whether a start has to wait because another was just now, soon after power returned."""
    returned = turn.house.returned_at_s if turn.returned_at_s is None else turn.returned_at_s
    started = turn.house.started_at_s if turn.started_at_s is None else turn.started_at_s
    if returned is None or started is None or moves(shade, turn.now_s):
        return False
    return turn.now_s < min(started + turn.house.spec.stagger_s, returned + RESTLESS_S)


def queue(house: House, places: Iterable[int]) -> list[Shade]:
    """Return those at `places` that wait for amps: the higher rank first, then the older request."""
    found = map(kept(house).at, places)
    return sorted((each for each in found if each.request is not None and each.request.queued), key=_place)


def queued(shade: Shade, request: Request) -> Shade:
    """Return the shade waiting for its turn, and saying so."""
    waits = "it waits until its supply has amps to spare, or for its turn after a power cut"
    reason = f"{asked_by(request.want, request.source)}; {waits}"
    return replace(shade, request=replace(request, queued=True), reason=reason)


def out_of_queue(turn: Turn, shade: Shade) -> Shade:
    """Return the shade with its request no longer waiting for its turn: the usual time is left for it."""
    request = shade.request
    if request is None or not request.queued:
        return shade
    deadline_s = turn.now_s + turn.house.spec.board_wait_s
    request = replace(request, queued=False, deadline_s=deadline_s)
    return replace(shade, request=request, reason=asked_by(request.want, request.source))


def _place(shade: Shade) -> tuple[int, int]:
    assert shade.request is not None
    return -shade.request.rank, shade.request.id


def worst_raise_s(spec: HouseSpec, mounting: Mounting = Mounting.EXTERIOR) -> float:
    """Return the longest time until every shade of a mounting is up, power having just returned.

    All hang at their lower limit and are asked at once, in the order of the settings, and those that can feel
    their top look for it. The same queue as at work: in that order as long as the supply can bear it, the
    rest whenever one is up. Time for the boards to hear of it is not in it.

    Returns:
        Seconds; 0 without such shades, infinite when one can never have its turn.
    """
    waiting = [shade for shade in spec.shades if shade.mounting is mounting]
    free = {each.id: each.amps - _standing_a(spec.shades, each.id) for each in spec.supplies}
    ends: list[tuple[float, int]] = []
    now_s, next_s = 0.0, 0.0
    while waiting:
        shade = _first_that_fits(waiting, free)
        if shade is not None and now_s >= next_s:
            waiting.remove(shade)
            _take(free, shade, shade.moving_a - shade.standstill_a)
            heappush(ends, (now_s + raise_s(shade), spec.shades.index(shade)))
            next_s = now_s + spec.stagger_s if now_s < RESTLESS_S else now_s
        elif shade is not None and (not ends or next_s < ends[0][0]):
            now_s = next_s
        elif ends:
            now_s, number = heappop(ends)
            up = spec.shades[number]
            _take(free, up, up.standstill_a - up.moving_a)
            if up.upper_switch is not None and now_s < RESTLESS_S:
                # The way back from its switch was a start of its own.
                next_s = now_s + spec.stagger_s
        else:
            return inf
    return max((end_s for end_s, _ in ends), default=now_s)


def raise_s(spec: ShadeSpec) -> float:
    """Return the seconds of a full travel upward, looking for the upper end where there is one to feel."""
    at = spec.upper_switch or spec.upper_stall
    if at is None:
        return _travel_s(spec, spec.travel.lower_steps, spec.top_pps)
    seek_s = _travel_s(spec, spec.travel.lower_steps, seek_pps(spec, by_switch=spec.upper_switch is not None))
    back = abs(round(spec.travel.steps_at_drop(at.at_mm)))
    return seek_s + _travel_s(spec, back, spec.top_pps)


def _travel_s(spec: ShadeSpec, steps: int, pps: int) -> float:
    return move_profile(steps=steps, top_pps=pps, ramp_pps2=spec.ramp_pps2).duration_s


def _standing_a(shades: Sequence[ShadeSpec], supply: SupplyId) -> float:
    return sum(shade.standstill_a for shade in shades if shade.supply == supply)


def _first_that_fits(waiting: Sequence[ShadeSpec], free: dict[SupplyId, float]) -> ShadeSpec | None:
    """Return the first shade that its supply can bear now; nobody passes one that waits for the same."""
    blocked = set()
    for shade in waiting:
        if shade.supply is None or shade.supply not in free:
            return shade
        if shade.supply in blocked:
            continue
        if shade.moving_a - shade.standstill_a <= free[shade.supply] + ROUNDING_A:
            return shade
        blocked.add(shade.supply)
    return None


def _take(free: dict[SupplyId, float], shade: ShadeSpec, amps: float) -> None:
    if shade.supply is not None and shade.supply in free:
        free[shade.supply] -= amps


def _limit_a(spec: HouseSpec, supply: SupplyId | None) -> float | None:
    return None if supply is None else spec.amps.get(supply)


def _at(house: House, supply: SupplyId) -> Iterator[Shade]:
    """Yield the shades of a supply, in the order of the settings."""
    return map(house.shades.__getitem__, house.spec.on_supply.get(supply, ()))


def _reports_motion(shade: Shade) -> bool:
    report = shade.channel.report
    return (report is not None and report.moving) or shade.reckoning.run is not None


def surely_over_s(shade: Shade) -> float | None:
    """Return by when a board that nobody hears has ended its last motion, if it made one; None without."""
    pending, channel, spec = shade.outstanding, shade.channel, shade.spec
    if pending is not None and (pending.purpose in MOTION or pending.braking):
        steps = shade.knowledge.hull.width if pending.order.at_most is None else pending.order.at_most
        pps, ramp, since_s = pending.order.pps, pending.order.ramp, pending.sent_at_s
    elif channel.left_moving and not channel.answered:
        # No order of ours accounts for it: another bridge's, or one from before its request was given up.
        steps, pps, ramp, since_s = spec.ends.width, spec.top_pps // 2, None, channel.heard_at_s
    else:
        return None
    move = move_profile(steps=steps, top_pps=pps or spec.top_pps, ramp_pps2=ramp or spec.ramp_pps2)
    return since_s + LATE_S + PACE * move.duration_s
