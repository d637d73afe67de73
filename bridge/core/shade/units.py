"""What the numbers on a one-way board's topic mean as its own count of steps, and back.

A percent here is the board's: linear in its steps from end to end, which is not linear in the drop. Counts
grow as cloth is lowered. Where a count is on the window is not known here.
"""

from __future__ import annotations

from fractions import Fraction

from bridge.core.spec import ShadeSpec, Unit
from bridge.core.values import Interval, Steps


def count_of(spec: ShadeSpec, value: Fraction) -> Steps:
    """Return the count that a board is sent to by `value`, in its link's unit, rounded to a whole step."""
    link = spec.one_way
    match link.unit:
        case Unit.STEPS:
            return round(value)
        case Unit.TURNS:
            return round(value * spec.travel.drive.pulses_per_turn)
        case Unit.PERCENT_CLOSED:
            return round(value * link.full_steps / 100)
        case Unit.PERCENT_OPEN:
            return round((100 - value) * link.full_steps / 100)


def value_for(spec: ShadeSpec, count: Steps) -> Fraction:
    """Return the number, in the link's unit and decimals, that sends a board nearest to `count`."""
    link = spec.one_way
    grid = 10**link.decimals
    near = Fraction(round(_exact(spec, count) * grid), grid)
    return near if is_endless(link.unit) else min(max(near, Fraction(0)), Fraction(100))


def _exact(spec: ShadeSpec, count: Steps) -> Fraction:
    match spec.one_way.unit:
        case Unit.STEPS:
            return Fraction(count)
        case Unit.TURNS:
            return count / spec.travel.drive.pulses_per_turn
        case Unit.PERCENT_CLOSED:
            return Fraction(100 * count, spec.one_way.full_steps)
        case Unit.PERCENT_OPEN:
            return 100 - Fraction(100 * count, spec.one_way.full_steps)


def reach(spec: ShadeSpec) -> Interval | None:
    """Return the counts between which the unit can send a board; None when it has no ends."""
    link = spec.one_way
    return None if is_endless(link.unit) else Interval(low=0, high=link.full_steps)


def is_endless(unit: Unit) -> bool:
    """Say whether a number of that unit may lead beyond the board's own ends."""
    return unit in (Unit.STEPS, Unit.TURNS)


def rounding(unit: Unit) -> Steps:
    """Return by how many steps a board may round a number of that unit otherwise than the bridge."""
    return 0 if unit is Unit.STEPS else 1
