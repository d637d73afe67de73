"""When a function of time changes sign: sampling, a closer look at near misses, bisection."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

_GOLDEN = 0.6180339887498949
_PRECISION_S = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """A change of sign.

    Args:
        at_s: When, to 0.05 s.
        rising: From negative to zero or more.
    """

    at_s: float
    rising: bool


def crossings(f: Callable[[float], float], *, start_s: float, end_s: float, step_s: float) -> list[Crossing]:
    """Return every crossing after `start_s` up to `end_s`, in order.

    Neighbouring spans report each crossing exactly once.

    Args:
        f: Continuous, with at most one extremum in any two steps.
        start_s: Start of the span.
        end_s: End of the span, not before its start.
        step_s: Distance of the samples, greater than 0.
    """
    points = _samples(f, start_s, end_s, step_s)
    found = []
    for (before_s, before), (after_s, after) in pairwise(points):
        if (before >= 0) != (after >= 0):
            found.append(Crossing(at_s=_bisect(f, before_s, after_s, before >= 0), rising=after >= 0))
    return found


def _samples(
    f: Callable[[float], float], start_s: float, end_s: float, step_s: float
) -> list[tuple[float, float]]:
    """Sample the span with both ends, and the tops and dips hidden between samples."""
    count = max(1, round((end_s - start_s) / step_s))
    width = (end_s - start_s) / count
    # One more on either side, so that an extremum beside an end is bracketed too.
    times = [start_s + k * width for k in range(-1, count + 2)]
    times[count + 1] = end_s
    values = [f(t) for t in times]
    points = list(zip(times[1:-1], values[1:-1], strict=True))
    for k in range(1, len(times) - 1):
        extremum = _hidden(f, times[k - 1 : k + 2], values[k - 1 : k + 2])
        if extremum is not None and start_s < extremum[0] < end_s:
            points.append(extremum)
    return sorted(points)


def _hidden(
    f: Callable[[float], float], times: list[float], values: list[float]
) -> tuple[float, float] | None:
    """Return a point of the other sign beside a middle sample that comes close, or None."""
    first, middle, last = values
    if middle < 0 and middle >= first and middle >= last:
        return _other_sign(f, times[0], times[2], 1.0)
    if middle >= 0 and middle <= first and middle <= last:
        return _other_sign(f, times[0], times[2], -1.0)
    return None


def _other_sign(
    f: Callable[[float], float], low_s: float, high_s: float, side: float
) -> tuple[float, float] | None:
    """Golden-section search for the extremum; stop at the first point on the wanted side of zero."""
    left_s, right_s = high_s - _GOLDEN * (high_s - low_s), low_s + _GOLDEN * (high_s - low_s)
    left, right = f(left_s), f(right_s)
    while high_s - low_s > _PRECISION_S:
        for at_s, value in ((left_s, left), (right_s, right)):
            if value >= 0 if side > 0 else value < 0:
                return at_s, value
        if side * left > side * right:
            high_s, right_s, right = right_s, left_s, left
            left_s = high_s - _GOLDEN * (high_s - low_s)
            left = f(left_s)
        else:
            low_s, left_s, left = left_s, right_s, right
            right_s = low_s + _GOLDEN * (high_s - low_s)
            right = f(right_s)
    return None


def _bisect(f: Callable[[float], float], low_s: float, high_s: float, low_is_up: bool) -> float:
    while high_s - low_s > _PRECISION_S:
        middle_s = (low_s + high_s) / 2
        if (f(middle_s) >= 0) == low_is_up:
            low_s = middle_s
        else:
            high_s = middle_s
    return (low_s + high_s) / 2
