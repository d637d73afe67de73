"""Where an unpowered motor leaves the hem bar: held where it is, or somewhere further down."""

from __future__ import annotations

from bridge.core.position.allowance import physical_range, snap
from bridge.core.spec import ShadeSpec
from bridge.core.values import Interval


def holds(spec: ShadeSpec, where: Interval) -> bool:
    """Say whether the unpowered motor holds the hem bar wherever in `where` it is."""
    return any(held.contains(where) for held in spec.held)


def after_power_cut(spec: ShadeSpec, where: Interval) -> Interval:
    """Return where the hem bar may be once the motor has lost its current.

    Held: the rotor may snap by half a cycle. Not held: it may be anywhere down to the end of the first
    stretch that holds and is long enough to stop it (one turn), or to the end of the cloth.
    """
    ends = physical_range(spec)
    if holds(spec, where):
        return where.widened(snap(spec)).clipped(ends)
    turn = spec.travel.drive.pulses_per_turn
    reach = ends.high
    for held in spec.held:
        if held.high >= where.high and held.width >= turn:
            reach = held.high
            break
    return Interval(low=where.low, high=max(reach, where.high)).widened(snap(spec)).clipped(ends)
