"""A stall on the way to the upper stop that can't have been the stop: something held the hem bar."""

from __future__ import annotations

from math import ceil

from bridge.core.position.allowance import scale_allowance, slip_of_path, snap
from bridge.core.spec import ShadeSpec
from bridge.core.values import Interval, Steps


def held_below(spec: ShadeSpec, *, began: Interval, gone: Steps, stop: Interval) -> Steps | None:
    """Return the highest position at which a rise can have stalled, when that is below the stop; else None.

    Lost steps only leave the hem bar lower than it was counted up.

    Args:
        spec: The shade.
        began: Where it was when it set out.
        gone: Steps counted upward since, >= 0.
        stop: The positions at which a stall may be the upper stop.
    """
    off = slip_of_path(spec, moves=1, distance=gone) + 2 * snap(spec)
    off += ceil(scale_allowance(spec, bound=None) * (gone + began.width))
    highest = began.low - gone - off
    return highest if highest > stop.high else None
