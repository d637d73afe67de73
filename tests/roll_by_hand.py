"""Drop to steps by area balance and bisection: an independent way to what the bridge computes.

The cross-section of the wound cloth is its length times its thickness, so n turns on a tube of diameter D
hold pi * n * (D + n * t) of cloth (derivation; shares no code with bridge/core/shade).
"""

from math import pi

PULSES_PER_TURN = 800 * 57 / 11


def _wound_mm(turns: float, tube_mm: float, cloth_mm: float) -> float:
    return pi * turns * (tube_mm + turns * cloth_mm)


def _solve(wanted: float, tube_mm: float, cloth_mm: float) -> float:
    low, high = 0.0, 1000.0
    for _ in range(200):
        middle = (low + high) / 2
        if _wound_mm(middle, tube_mm, cloth_mm) < wanted:
            low = middle
        else:
            high = middle
    return low


def steps_at_drop(
    drop_mm: float, *, tube_mm: float, cloth_mm: float, full_drop_mm: float, wraps_left: float
) -> float:
    """Steps from the upper limit at a drop."""
    at_lower = _wound_mm(wraps_left, tube_mm, cloth_mm)
    at_top = _solve(at_lower + full_drop_mm, tube_mm, cloth_mm)
    now = _solve(at_lower + full_drop_mm - drop_mm, tube_mm, cloth_mm)
    return (at_top - now) * PULSES_PER_TURN
