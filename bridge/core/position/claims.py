"""From what is known to what may be said: the claim at a count, its width, its grade."""

from __future__ import annotations

from math import ceil

from bridge.core.position.allowance import physical_range, scale_allowance
from bridge.core.position.estimate import Grade, Knowledge
from bridge.core.spec import OneWayLink, ShadeSpec
from bridge.core.values import Interval, Steps


def claim_at(spec: ShadeSpec, known: Knowledge, count: Steps) -> Interval:
    """Return the positions in which the hem bar is when the board's count is `count` and it is at rest."""
    return reckoned_at(spec, known, count).clipped(physical_range(spec))


def reckoned_at(spec: ShadeSpec, known: Knowledge, count: Steps) -> Interval:
    """Return the positions that `count` may mean by reckoning alone, past the ends of cloth and stop too."""
    assert known.base is not None, "a count means nothing before it is linked to a position"
    low, high = known.base.low + count, known.base.high + count
    reach = max(abs(high - known.anchor.low), abs(low - known.anchor.high))
    off = ceil(scale_allowance(spec, bound=known.scale_bound) * reach)
    return Interval(low=low - off, high=high + off)


def width_mm(spec: ShadeSpec, hull: Interval) -> float:
    """Return the width of `hull` at the hem bar."""
    return spec.travel.mm_between(hull.low, hull.high)


def grade_of(spec: ShadeSpec, hull: Interval, *, hearsay: bool = False) -> Grade:
    """Return how well a position in `hull` is known; from a memory alone it is in doubt, however narrow."""
    if hull.contains(physical_range(spec)):
        return Grade.UNKNOWN
    width = width_mm(spec, hull)
    if hearsay:
        return Grade.DOUBTFUL
    if width <= spec.tolerance_mm and not _unwatched(spec):
        return Grade.REFERENCED
    return Grade.RECKONED if width <= spec.doubtful_mm else Grade.DOUBTFUL


def _unwatched(spec: ShadeSpec) -> bool:
    """Say whether the board could lose its power without anybody hearing of it."""
    return isinstance(spec.link, OneWayLink) and (spec.link.alive is None or spec.link.alive.gone is None)
