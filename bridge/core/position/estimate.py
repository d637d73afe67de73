"""The claim about one shade: an interval of positions and its grade.

    position = count + offset

`base` is the offset as the last reference and all slip since have left it; the scale error is not in it,
because it grows and shrinks with the distance from the reference and is added whenever a claim is made.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from bridge.core.replacing import quick
from bridge.core.values import Interval, Steps


class Grade(StrEnum):
    """How well a position is known."""

    REFERENCED = "referenced"
    RECKONED = "reckoned"
    DOUBTFUL = "doubtful"
    UNKNOWN = "unknown"


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A reference that was met: the count there and where that is.

    Attributes:
        at: The positions in which the hem bar was.
        count: The board's count at that moment.
        moves: Moves made since the shade was first known, to tell slip from scale.
        slip: Slip allowance in steps summed up to here.
    """

    at: Interval
    count: Steps
    moves: int
    slip: Steps


# Enough for a year of weekly references; older ones say nothing of the drive as it is now.
MEETINGS_KEPT = 64


class Landmark(StrEnum):
    """What pins a position."""

    UPPER_SWITCH = "upper switch"
    LOWER_SWITCH = "lower switch"
    UPPER_STOP = "upper stop"
    UPPER_BY_HAND = "upper limit by hand"
    LOWER_BY_HAND = "lower limit by hand"


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Meeting:
    """One reference as it was met, kept to learn the drive from.

    Attributes:
        utc: When.
        landmark: What it was.
        at: The positions in which the hem bar then was.
        count: The board's count.
        chain: Counts of two meetings can be compared when both are of one chain.
        moves: Moves of the shade's life up to here.
        travelled: Steps travelled in the shade's life up to here.
        slip: Slip allowance of the shade's life up to here.
        claimed: What had been claimed just before; None when no count was linked to a position.
    """

    utc: datetime
    landmark: Landmark
    at: Interval
    count: Steps
    chain: int
    moves: int
    travelled: Steps
    slip: Steps
    claimed: Interval | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Knowledge:
    """All that is known of one hem bar.

    Attributes:
        hull: Positions in which the hem bar is, motion under way included: the claim.
        base: Offset without scale error; None while no count is linked to a position.
        anchor: Positions where the scale error is zero: those of the last reference or rebase.
        boot: The boot whose counts `base` is about; None with `base` None.
        settled_count: The count at which the shade was last seen at rest; None if never.
        scale_bound: Relative error of the drive that two references at different places still allow;
            None before there were two.
        slip: Slip allowance in steps summed over the shade's life.
        moves: Moves summed over the shade's life.
        mark: The last reference, None before the first.
        drive: The version of the travel that counted these steps.
        travelled: Steps travelled over the shade's life.
        chain: Rises whenever counts before and after can't be compared any more.
        meetings: The last references, the oldest first.
        hearsay: It rests on a memory, so it stays in doubt until a reference is met.
    """

    hull: Interval
    base: Interval | None
    anchor: Interval
    boot: int | None
    settled_count: Steps | None
    scale_bound: float | None
    slip: Steps
    moves: int
    mark: Mark | None
    drive: str
    travelled: Steps = 0
    chain: int = 0
    meetings: tuple[Meeting, ...] = ()
    hearsay: bool = False
