"""The small values that everything speaks in: instants, ids, intervals, ranks.

Steps are whole numbers from the upper limit, growing as cloth is lowered. An interval is closed and rounded
outwards, so that rounding never claims more than is known.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from enum import IntEnum
from typing import NewType

from bridge.core.replacing import quick

ShadeId = NewType("ShadeId", str)
BoardId = NewType("BoardId", str)
GroupId = NewType("GroupId", str)
SupplyId = NewType("SupplyId", str)
Steps = int


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """One instant on both clocks.

    Attributes:
        utc: Aware UTC, for the sun, for people, and for ages across a restart.
        mono_s: Monotonic seconds of this machine's present run, for durations.
    """

    utc: datetime
    mono_s: float

    def __post_init__(self) -> None:
        """Refuse a naive time: it would mean another instant on another machine."""
        assert self.utc.tzinfo is UTC, "a Moment carries aware UTC"


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """A closed interval of steps or counts; `low` never exceeds `high`."""

    low: Steps
    high: Steps

    def __post_init__(self) -> None:
        """Keep the two ends in order."""
        assert self.low <= self.high, (self.low, self.high)

    @property
    def width(self) -> Steps:
        """Steps between the ends, >= 0."""
        return self.high - self.low

    @property
    def middle(self) -> Steps:
        """The aim: the middle, rounded down."""
        return (self.low + self.high) // 2

    def shifted(self, by: Steps) -> Interval:
        """Return the interval moved down the shade by `by` steps (up when negative)."""
        return Interval(low=self.low + by, high=self.high + by)

    def widened(self, by: Steps) -> Interval:
        """Return the interval grown by `by` >= 0 steps at both ends."""
        assert by >= 0, by
        return Interval(low=self.low - by, high=self.high + by)

    def joined(self, other: Interval) -> Interval:
        """Return the hull of both."""
        return Interval(low=min(self.low, other.low), high=max(self.high, other.high))

    def clipped(self, within: Interval) -> Interval:
        """Return the positions left when the hem bar cannot physically leave `within`."""
        return Interval(
            low=min(max(self.low, within.low), within.high),
            high=max(min(self.high, within.high), within.low),
        )

    def contains(self, other: Interval) -> bool:
        """Say whether `other` lies inside, ends included."""
        return self.low <= other.low and other.high <= self.high


class Rank(IntEnum):
    """Who wins; a newer request replaces one of equal or lower rank."""

    BASE = 10
    RULE = 20
    HAND = 30
    RAIN = 40
    WIND = 50
    ICE = 60
    STOP = 70
