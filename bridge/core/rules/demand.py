"""What a rule asks, and what comes of several: one range of percent open, its winners and its losers.

The higher rank comes first, within a rank the rule that stands first in the settings. Nothing here knows
clocks, boards or what any rule is about.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from bridge.core.plan.foreseen import Foresight, NextMove
from bridge.core.values import Rank


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """What one rule asks: a range of percent open, and why.

    Attributes:
        why: In the owner's words, with the numbers.
        at_least_pct: No lower than this, 0 to 100.
        at_most_pct: No further open than this, `at_least_pct` to 100.
        may_lower: The shade may be lowered at all.
        may_raise: The shade may be raised at all.
        guard: Nobody's request leads outside of it, whoever asks; only a stop is above it.
    """

    why: str
    at_least_pct: float = 0.0
    at_most_pct: float = 100.0
    may_lower: bool = True
    may_raise: bool = True
    guard: bool = False

    def __post_init__(self) -> None:
        """Refuse what is no range; a number that is none fails here too."""
        assert 0.0 <= self.at_least_pct <= self.at_most_pct <= 100.0, (self.at_least_pct, self.at_most_pct)
        assert self.why, "a demand says why"


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """A demand in force.

    Attributes:
        number: Which of the shade's rules, from 0 in the order of the settings.
        rule: Its name.
        rank: How it ranks.
        demand: What it asks.
    """

    number: int
    rule: str
    rank: Rank
    demand: Demand


@dataclass(frozen=True, slots=True, kw_only=True)
class Ruling:
    """What the rules hold about one shade between two looks.

    Attributes:
        standing: The demands in force, in the order of the settings.
        mine: Its place was asked by a rule, so the rules may also take it back up.
        moved_at: When a rule for comfort last moved it; aware UTC.
        day: The local day that `moves` counts, as an ISO date.
        moves: Moves by rules for comfort on that day.
        again_at: A guard asks no sooner than this; None when it may at once.
        tries: How often guards have asked for it to be raised since they last had their way.
        tried_at: When they last did; None when they have had their way.
        told: What the last line about it was about, so that nothing is told twice.
        foresight: What the rules will ask in the day ahead; None until it has been reckoned.
        waits: The rules have looked, and what they decide waits for the foresight.
        cloudy_since: Since when no rule has wanted it lower though a cloudless sky would have one want that.
        next_move: The next move of the plan; None when none is foreseen.
        later: Its moves after that, in order of time.
    """

    standing: tuple[Standing, ...] = ()
    mine: bool = False
    moved_at: datetime | None = None
    day: str = ""
    moves: int = 0
    again_at: datetime | None = None
    tries: int = 0
    tried_at: datetime | None = None
    told: str = ""
    foresight: Foresight | None = None
    waits: bool = False
    cloudy_since: datetime | None = None
    next_move: NextMove | None = None
    later: tuple[NextMove, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What several demands come to.

    Attributes:
        low_pct: No lower than this.
        high_pct: No further open than this, `low_pct` or more.
        low_by: Whose demand set the lower end; None when nobody did.
        high_by: Whose demand set the upper end; None when nobody did.
        lost: Demands that could not be met, or not wholly.
        firm_low_pct: The lower end without what was yielded to lost demands.
    """

    low_pct: float
    high_pct: float
    low_by: Standing | None
    high_by: Standing | None
    lost: tuple[Standing, ...]
    firm_low_pct: float


def in_order(standing: Iterable[Standing]) -> list[Standing]:
    """Return demands by falling rank, those of one rank in the order of the settings."""
    return sorted(standing, key=lambda each: (-each.rank, each.number))


def decided(standing: Sequence[Standing], *, now_pct: float) -> Verdict:
    """Return the range that serves the demands by rank; it is never empty.

    A demand that does not overlap with what those before it left is lost; what is left then shrinks to the
    end nearest to it.

    Args:
        standing: The demands.
        now_pct: Where the hem bar is, 0 to 100, for those that only allow one direction.
    """
    low, high, firm_low = 0.0, 100.0, 0.0
    low_by: Standing | None = None
    high_by: Standing | None = None
    lost: list[Standing] = []
    for each in in_order(standing):
        bottom, top = bounds(each.demand, now_pct=now_pct)
        if bottom > high:
            lost.append(each)
            low, low_by = high, high_by
        elif top < low:
            lost.append(each)
            high, high_by = low, low_by
        else:
            if bottom > low:
                low, low_by, firm_low = bottom, each, bottom
            if top < high:
                high, high_by = top, each
    return Verdict(
        low_pct=low, high_pct=high, low_by=low_by, high_by=high_by, lost=tuple(lost), firm_low_pct=firm_low
    )


def bounds(demand: Demand, *, now_pct: float) -> tuple[float, float]:
    """Return the lowest and highest percent open that a demand allows from where the hem bar is."""
    bottom, top = demand.at_least_pct, demand.at_most_pct
    if not demand.may_lower:
        bottom, top = max(bottom, now_pct), max(top, now_pct)
    if not demand.may_raise:
        bottom, top = min(bottom, now_pct), min(top, now_pct)
    return bottom, top
