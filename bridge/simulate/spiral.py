"""How much cloth lies on a tube: the arc of a spiral, so that the truth owes nothing to the bridge's formula.

Turns wound are signed: past the end of the cloth the tube takes it up the other way round, and the hem bar
rises again.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from math import asinh, hypot, pi, sqrt


def wound_mm(turns: float, *, tube_mm: float, cloth_mm: float) -> float:
    """Length of cloth in `turns` >= 0 turns: the arc of r = tube/2 + cloth * turns.

    Source: arc of an Archimedean spiral, the integral of sqrt(r^2 + (dr/dphi)^2) over phi, in closed form.
    """
    return wound_on(tube_mm, cloth_mm)(turns)


@lru_cache(maxsize=64)
def wound_on(tube_mm: float, cloth_mm: float) -> Callable[[float], float]:
    """`wound_mm` on one tube: what stays the same for the whole life of a tube is reckoned once."""
    bare, rise = tube_mm / 2, cloth_mm / (2 * pi)
    if rise == 0:
        return lambda turns: 2 * pi * bare * turns
    square = rise * rise

    def arc(radius: float) -> float:
        return (radius * hypot(radius, rise) + square * asinh(radius / rise)) / 2

    bare_arc = arc(bare)

    def wound(turns: float) -> float:
        radius = bare + cloth_mm * turns
        # As in `arc`, written out: this is asked for more often than anything else of the truth.
        return ((radius * hypot(radius, rise) + square * asinh(radius / rise)) / 2 - bare_arc) / rise

    return wound


def radius_mm(turns: float, *, tube_mm: float, cloth_mm: float) -> float:
    """Where the cloth hangs with `turns` wound, either way round."""
    return tube_mm / 2 + cloth_mm * abs(turns)


def turns_for(length_mm: float, *, tube_mm: float, cloth_mm: float) -> float:
    """Turns >= 0 that take up `length_mm` >= 0, by Newton's method on the arc."""
    # The area balance lands within a thousandth of a turn, so that one or two steps are enough.
    turns = 2 * length_mm / (pi * (tube_mm + sqrt(tube_mm * tube_mm + 4 * cloth_mm * length_mm / pi)))
    wound = wound_on(tube_mm, cloth_mm)
    for _ in range(50):
        error = wound(turns) - length_mm
        turns = max(0.0, turns - error / (2 * pi * radius_mm(turns, tube_mm=tube_mm, cloth_mm=cloth_mm)))
        if abs(error) < 1e-9:
            break
    return turns
