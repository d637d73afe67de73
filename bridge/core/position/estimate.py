"""The claim about one shade: an interval of positions and its grade.

    position = count + offset

`base` is the offset as the last reference and all slip since have left it; the scale error is not in it,
because it grows and shrinks with the distance from the reference and is added whenever a claim is made.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from bridge.core.values import Interval, Steps


class Grade(StrEnum):
    """How well a position is known."""

    REFERENCED = "referenced"
    RECKONED = "reckoned"
    DOUBTFUL = "doubtful"
    UNKNOWN = "unknown"


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
