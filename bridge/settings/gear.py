"""Gear ratios as the owner writes them: exact fractions, never a rounded decimal.

5:1 on a label may be 57/11 in the teeth; 13 turns at 800 pulses then differ by 1891 steps.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal
from fractions import Fraction

from bridge.core.errors import RequestError
from bridge.core.shade.drive import parse_gear
from bridge.settings.faults import RefusedValueError, number

# Wider than any gear sold for shades; beyond it the fraction is upside down or mistyped.
RATIO_MIN, RATIO_MAX = 1, 5000
_DECIMAL = re.compile(r"[0-9]{1,9}\.[0-9]{1,12}")


def read_gear(value: object) -> Fraction:
    """Return motor turns per tube turn from `"57/11"`, `"5"` or 5.

    Raises:
        RefusedValueError: a decimal, anything that is no fraction, or a ratio out of range.
    """
    if isinstance(value, float) and math.isfinite(value) and value > 0:
        raise _decimal_refused(Decimal(repr(value)))
    if isinstance(value, str) and _DECIMAL.fullmatch(value) and Decimal(value) > 0:
        raise _decimal_refused(Decimal(value))
    if isinstance(value, int) and not isinstance(value, bool):
        return _in_range(Fraction(value))
    if not isinstance(value, str):
        raise _not_a_fraction()
    try:
        return _in_range(parse_gear(value))
    except RequestError as error:
        raise _not_a_fraction() from error


def simplest_fraction(value: Decimal) -> Fraction:
    """Return the fraction of the smallest denominator, up to 1000, that rounds to a decimal as written."""
    exact = Fraction(value)
    exponent = value.as_tuple().exponent
    assert isinstance(exponent, int), "finite"
    half_unit = Fraction(10) ** exponent / 2
    for denominator in range(1, 1001):
        candidate = Fraction(round(exact * denominator), denominator)
        if abs(candidate - exact) <= half_unit:
            return candidate
    return exact.limit_denominator(1000)


def _decimal_refused(value: Decimal) -> RefusedValueError:
    near = simplest_fraction(value)
    hint = f'gear = "{near.numerator}/{near.denominator}" ({float(near):.4f}) is the nearest small one'
    if near.denominator == 1:
        hint = f'gear = "{near.numerator}" if it is exact; planetary gears sold as 5:1 are commonly 57/11'
    return RefusedValueError(
        "a decimal hides the teeth and its error grows with every turn",
        f"count the teeth or find the exact fraction in the data sheet: {hint}",
    )


def _not_a_fraction() -> RefusedValueError:
    return RefusedValueError(
        "it must be a fraction of whole numbers",
        'write motor turns per tube turn, such as gear = "57/11", or 1 without a gear',
    )


def _in_range(ratio: Fraction) -> Fraction:
    if 0 < ratio < RATIO_MIN:
        raise RefusedValueError(
            "it is less than one motor turn per tube turn",
            f'turn it round: gear = "{ratio.denominator}/{ratio.numerator}"',
        )
    if not RATIO_MIN <= ratio <= RATIO_MAX:
        raise RefusedValueError(
            f"it must be {RATIO_MIN} to {number(RATIO_MAX)} motor turns per tube turn",
            'write the gear as a fraction such as "57/11"',
        )
    return ratio
