"""How long to wait before trying again: longer each time, up to a cap, and never in step with others."""

from __future__ import annotations

from collections.abc import Callable, Iterator


def backoff(
    random: Callable[[], float], *, first_s: float = 0.25, cap_s: float = 30.0, factor: float = 2.0
) -> Iterator[float]:
    """Yield delays in seconds, without end.

    Each is drawn evenly from the upper half of a span that grows from `first_s` by `factor` up to `cap_s`, so
    that many clients of a broker that comes back do not all arrive at once, and none hammers it.

    Args:
        random: Returns a float in [0, 1) each time; pass `Random(seed).random`.
        first_s: The longest first delay, > 0.
        cap_s: The longest of all, >= first_s.
        factor: How fast the span grows, >= 1.
    """
    span_s = first_s
    while True:
        yield span_s * (0.5 + 0.5 * random())
        span_s = min(span_s * factor, cap_s)
