"""Range checks shared by the sun's files: the offending value is shown and never clamped."""

import math

from bridge.core.errors import RequestError


def within(value: float, *, where: str, low: float, high: float, unit: str, remedy: str) -> float:
    """Return `value` if it is a number from `low` to `high`, ends included.

    Raises:
        RequestError: not finite, or outside the range; the message shows the value.
    """
    if not math.isfinite(value):
        raise RequestError(where=where, problem=f"{value} is not a number", remedy=remedy)
    if not low <= value <= high:
        span = f"{low:g} to {high:g} {unit}".rstrip()
        raise RequestError(where=where, problem=f"{value:g} is outside {span}", remedy=remedy)
    return value
