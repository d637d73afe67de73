"""Who may start now: amps of a supply shared out by rank, and starts spread after power has returned.

A shade that is moving is never held back by this; one that has to wait keeps its request and does not expire.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from heapq import heappop, heappush

from bridge.core.shade.profile import move_profile
from bridge.core.spec import HouseSpec, Mounting, ShadeSpec, SupplySpec
from bridge.core.state import House, Purpose, Shade
from bridge.core.turn import Turn
from bridge.core.values import SupplyId

# After power has returned to a board, starts are spread for so long: by then what waited has begun.
RESTLESS_S = 60.0
# Sums of amps given to one or two decimals.
ROUNDING_A = 1e-9

MOTION = (Purpose.MOVE, Purpose.REFERENCE)


def draw_a(shade: Shade) -> float:
    """Return the amps that a shade may be drawing now; out of hearing it may still be at its last order."""
    report, pending = shade.channel.report, shade.outstanding
    ordered = pending is not None and pending.purpose in MOTION
    if ordered or _moves(shade):
        return shade.spec.moving_a
    if report is not None and not report.awake:
        return 0.0
    return shade.spec.standstill_a


def drawn_a(shades: Iterable[Shade], supply: SupplyId) -> float:
    """Return the amps that all shades of a supply may be drawing together."""
    return sum(draw_a(shade) for shade in shades if shade.spec.supply == supply)


def must_wait(turn: Turn, shade: Shade) -> bool:
    """Say whether a start of `shade` has to wait for amps of its supply."""
    limit = _limit_a(turn.house.spec.supplies, shade.spec.supply)
    if limit is None or shade.spec.supply is None:
        return False
    if draw_a(shade) >= shade.spec.moving_a:
        return False
    others = (each for name, each in turn.house.shades.items() if name != shade.id)
    drawn = drawn_a(others, shade.spec.supply) + turn.drawn.get(shade.spec.supply, 0.0)
    return drawn + shade.spec.moving_a > limit + ROUNDING_A


def note_start(turn: Turn, shade: Shade) -> None:
    """Reckon with a start for whatever else is decided in this turn."""
    turn.started_at_s = turn.now_s
    supply = shade.spec.supply
    if supply is not None:
        more = max(0.0, shade.spec.moving_a - draw_a(shade))
        turn.drawn[supply] = turn.drawn.get(supply, 0.0) + more


def stagger_due_s(house: House) -> float | None:
    """Return the monotonic second before which no further shade starts; None when starts are free."""
    if house.returned_at_s is None or house.started_at_s is None:
        return None
    if house.started_at_s >= house.returned_at_s + RESTLESS_S:
        return None
    return house.started_at_s + house.spec.stagger_s


def must_stagger(turn: Turn, shade: Shade) -> bool:
    """Say whether a start has to wait because another was just now, soon after power returned."""
    if draw_a(shade) >= shade.spec.moving_a > 0 or _moves(shade):
        return False
    returned = turn.house.returned_at_s if turn.returned_at_s is None else turn.returned_at_s
    started = turn.house.started_at_s if turn.started_at_s is None else turn.started_at_s
    if returned is None or started is None or turn.now_s >= returned + RESTLESS_S:
        return False
    return turn.now_s < started + turn.house.spec.stagger_s


def queue(house: House) -> list[Shade]:
    """Return the shades that wait for amps: the higher rank first, then the older request."""
    waiting = [shade for shade in house.shades.values() if shade.request is not None and shade.request.queued]
    return sorted(waiting, key=_place)


def _place(shade: Shade) -> tuple[int, int]:
    assert shade.request is not None
    return -shade.request.rank, shade.request.id


def worst_raise_s(spec: HouseSpec, mounting: Mounting = Mounting.EXTERIOR) -> float:
    """Return the longest time until every shade of a mounting is up: all are down, all are asked at once.

    The same queue as at work: those that fit start, in the order of the settings; then whenever one is up.
    Time for the boards to hear of it is not in it.
    """
    waiting = [shade for shade in spec.shades if shade.mounting is mounting]
    standing = {each.id: _standing_a(spec.shades, each.id) for each in spec.supplies}
    ends: list[tuple[float, int, ShadeSpec]] = []
    now_s = 0.0
    while waiting or ends:
        for shade in [each for each in waiting if _fits(spec.supplies, standing, each)]:
            if not _fits(spec.supplies, standing, shade):
                continue
            waiting.remove(shade)
            _take(standing, shade, shade.moving_a - shade.standstill_a)
            heappush(ends, (now_s + raise_s(shade), spec.shades.index(shade), shade))
        if not ends:
            return float("inf")
        now_s, _, done = heappop(ends)
        _take(standing, done, done.standstill_a - done.moving_a)
    return now_s


def raise_s(spec: ShadeSpec) -> float:
    """Return the seconds of a full travel."""
    steps = spec.travel.lower_steps
    return move_profile(steps=steps, top_pps=spec.top_pps, ramp_pps2=spec.ramp_pps2).duration_s


def _standing_a(shades: Sequence[ShadeSpec], supply: SupplyId) -> float:
    return sum(shade.standstill_a for shade in shades if shade.supply == supply)


def _fits(supplies: Sequence[SupplySpec], standing: dict[SupplyId, float], shade: ShadeSpec) -> bool:
    limit = _limit_a(supplies, shade.supply)
    if limit is None or shade.supply is None:
        return True
    return standing[shade.supply] + shade.moving_a - shade.standstill_a <= limit + ROUNDING_A


def _take(standing: dict[SupplyId, float], shade: ShadeSpec, amps: float) -> None:
    if shade.supply is not None:
        standing[shade.supply] += amps


def _limit_a(supplies: Sequence[SupplySpec], supply: SupplyId | None) -> float | None:
    return next((each.amps for each in supplies if each.id == supply), None)


def _moves(shade: Shade) -> bool:
    report = shade.channel.report
    return (report is not None and report.moving) or shade.reckoning.run is not None
