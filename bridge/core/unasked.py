"""Motion that no order of this bridge accounts for: a button, the wind, another bridge, words unheard."""

from __future__ import annotations

from bridge.core.contract import Report, Why
from bridge.core.position import evidence
from bridge.core.position.estimate import Knowledge
from bridge.core.position.memory import most_travelled
from bridge.core.state import Outstanding, Shade, bounds_in_force

# A way by button, its reversal and its end each have their report.
REPORTS_THERE_AND_BACK = 3


def by_hand(report: Report) -> bool:
    """Say whether a finger at the board, or its wind contact, is behind a report."""
    return report.why in (Why.BUTTON, Why.WIND)


def in_command(shade: Shade) -> Outstanding | None:
    """Return the order that the motor obeys, if that is sure: unheard, a hand may have taken over from it."""
    pending = shade.outstanding
    return None if pending is not None and pending.unheard and shade.spec.local_button else pending


def slipped_unasked(shade: Shade, report: Report) -> Knowledge:
    """Return knowledge with the slip of motion that no order of this bridge accounts for."""
    known, last = shade.knowledge, shade.channel.report
    before = known.settled_count if last is None else last.count
    ours = shade.outstanding is not None and not by_hand(report)
    if last is None and shade.spec.local_button:
        ours = False
    # What was heard and not believed is missed as well.
    missed = max(0, report.n - shade.channel.read - 1)
    back_again = shade.spec.local_button and last is None and missed >= REPORTS_THERE_AND_BACK
    still = before == report.count and not back_again
    if ours or known.base is None or report.count is None or before is None or still:
        return known
    hidden = most_travelled(shade.spec, missed)
    distance = abs(report.count - before) + hidden
    known = evidence.slipped(shade.spec, known, moves=1 + missed, distance=distance)
    in_force = bounds_in_force(shade.channel, report.boot)
    # With no bound it may have gone up as far as nobody has heard, and come back.
    highest = min(before, report.count) - hidden // 2 if in_force is None else in_force.low
    ends = (report.count, report.to, highest)
    return evidence.swallowed(shade.spec, known, min(end for end in ends if end is not None))
