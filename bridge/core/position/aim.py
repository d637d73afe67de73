"""Where a hem bar is most likely now: what is shown of it, and what rules go by. Never a claim."""

from __future__ import annotations

from bridge.core.position import one_way
from bridge.core.spec import OneWayLink
from bridge.core.state import Shade
from bridge.core.values import Interval


def aim(shade: Shade, *, now_s: float) -> Interval:
    """Return where the hem bar is now: while it moves, around the last count it reported; else the hull.

    The link may also mean places out of the claim: steps that a stop may yet swallow widen it at once.
    """
    if isinstance(shade.spec.link, OneWayLink):
        return _aim_one_way(shade, now_s)
    report, known = shade.channel.report, shade.knowledge
    if report is None or report.count is None or known.base is None or not report.moving:
        return known.hull
    low, high = known.base.low + report.count, known.base.high + report.count
    low, high = max(low, known.hull.low), min(high, known.hull.high)
    return Interval(low=low, high=high) if low <= high else known.hull


def _aim_one_way(shade: Shade, now_s: float) -> Interval:
    """Return where the clock has the hem bar of a board that never reports."""
    reckoning, base, hull = shade.reckoning, shade.knowledge.base, shade.knowledge.hull
    if base is None:
        return hull
    if reckoning.run is not None and reckoning.alive is not False:
        at = one_way.aim(shade.spec, reckoning.run, now_s)
    elif reckoning.counts is not None and reckoning.counts.width == 0 and reckoning.alive is not False:
        at = reckoning.counts.low
    else:
        return hull
    middle = base.shifted(at).middle
    return hull if not hull.low <= middle <= hull.high else Interval(low=middle, high=middle)
