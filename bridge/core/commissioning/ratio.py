"""From the turns that a tube was seen to make to the exact gear ratio that explains them."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations_with_replacement
from math import ceil, floor, prod

# Ratios of single planetary stages in small gear motors, 1 + ring teeth / sun teeth; from memory of common
# catalogues. Gear heads of several stages are products of these.
STAGES = (Fraction(63, 17), Fraction(57, 11))
STAGES_MOST = 3
# Of other fractions only those of small gears are offered.
DENOMINATOR_MOST = 12
OFFERED = 5


def stage_products() -> dict[Fraction, tuple[Fraction, ...]]:
    """Return the ratios of one to three common planetary stages, each with its stages."""
    found: dict[Fraction, tuple[Fraction, ...]] = {}
    for many in range(1, STAGES_MOST + 1):
        for stages in combinations_with_replacement(STAGES, many):
            found[prod(stages, start=Fraction(1))] = stages
    return found


def candidates(measured: float, *, tolerance: float) -> tuple[Fraction, ...]:
    """Return the exact ratios that explain a measured one, the likeliest first, five at most.

    Args:
        measured: Motor turns for one tube turn, > 0.
        tolerance: Relative error of the measurement, > 0.

    Returns:
        Products of common planetary stages and whole numbers first, then fractions with a small
        denominator; within each kind the nearest first.
    """
    low, high = measured * (1 - tolerance), measured * (1 + tolerance)
    usual = [ratio for ratio in stage_products() if low <= ratio <= high]
    usual += [Fraction(whole) for whole in range(max(1, ceil(low)), floor(high) + 1)]
    small = {
        Fraction(top, bottom)
        for bottom in range(2, DENOMINATOR_MOST + 1)
        for top in range(max(1, ceil(low * bottom)), floor(high * bottom) + 1)
    }

    def off(ratio: Fraction) -> float:
        return abs(float(ratio) - measured)

    others = sorted(small - set(usual), key=lambda ratio: (ratio.denominator, off(ratio)))
    return (*sorted(usual, key=off), *others)[:OFFERED]


def in_words(ratio: Fraction) -> str:
    """Return a ratio with where it comes from, for people."""
    text = f"{ratio} ({float(ratio):.4f})"
    stages = stage_products().get(ratio)
    if stages is None:
        return text
    label = f"commonly sold as {round(float(ratio))}:1"
    if len(stages) == 1:
        return f"{text}: one planetary stage, 1 + {ratio - 1}, {label}"
    return f"{text}: planetary stages {' x '.join(str(stage) for stage in stages)}, {label}"
