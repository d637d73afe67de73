"""What takes the place of a conversation with a board that never reports, as frozen values.

Monotonic seconds in here belong to the present run, as in `state.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from bridge.core.replacing import quick
from bridge.core.values import Interval, Steps


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A motion that a board without reports is taken to be making.

    Attributes:
        began: The counts between which it began.
        guess: The likeliest of them.
        to: The count that it leads to.
        rests: The counts between which it ends.
        request: The request that it serves; None for a stranger's.
        sent_s: From when on the board may have begun.
        heard_s: When the broker passed the target on; None while that has not been heard.
        lasts_s: The longest that it may take once the board has begun.
        looked_s: When it was last held against the clock.
        steady: It began at rest, so that its profile tells where it is on the way.
        timed: Where and when it began is known, if only to the board's latency.
        pps: The likeliest speed at which it began, positive to lower: it was on its way already.
    """

    began: Interval
    guess: Steps
    to: Steps
    rests: Interval
    request: int | None
    sent_s: float
    heard_s: float | None
    lasts_s: float
    looked_s: float
    steady: bool
    timed: bool = True
    pps: float = 0.0


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Echo:
    """What was sent and has not come back from the broker yet; `value` None for a halt."""

    value: Fraction | None
    at_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Reckoning:
    """What is reckoned of a channel that never reports.

    Attributes:
        counts: Where the board's count is at rest; None while nothing tells.
        target: The last count that the board was told on its topic, by whomever.
        value: The same as it was spelt there.
        echoes: Own messages that the broker has not passed on yet, oldest first.
        run: The motion under way.
        alive: What its alive topic says; None before it said anything.
        alive_s: When that topic last spoke.
        vouched_s: When the board will have been heard of long enough after its last motion; None once it has.
        watched: The alive topic has been heard without a break since the last reference.
        rests_s: From when on its topic may be told where it rests, having been halted; None if it need not.
        likely: The count at which it most likely rests then; None when nothing tells.
        kept_s: By then the broker will have handed back what it keeps for it; None when it need not.
    """

    counts: Interval | None = None
    target: Steps | None = None
    value: Fraction | None = None
    echoes: tuple[Echo, ...] = ()
    run: Run | None = None
    alive: bool | None = None
    alive_s: float = 0.0
    vouched_s: float | None = None
    watched: bool = False
    rests_s: float | None = None
    likely: Steps | None = None
    kept_s: float | None = None


def rests_elsewhere(before: Reckoning, after: Reckoning) -> bool:
    """Say whether its board may come to rest where it was not going to: no report would ever tell."""
    was, is_now = _rests(before), _rests(after)
    if was is is_now or was is None:
        return False
    return is_now is None or not was.contains(is_now)


def _rests(reckoning: Reckoning) -> Interval | None:
    return reckoning.counts if reckoning.run is None else reckoning.run.rests
