"""The course of a shade with the fewest worthwhile moves that breaks no promise, and of those the most open.

A promise is a range of percent open for each step of time. Ranges come from `ahead` (one by one) or `series`
(whole years); nothing here knows sun, rules or clocks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from math import ceil, floor

Range = tuple[float, float]
# Lowest and highest percent open, and the same of rounding: nearer is there.
OPEN_PCT = 100.0
_HAIR = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A stretch of time at one place.

    Attributes:
        begins: First step, from 0.
        ends: First step after it.
        open_pct: Percent open, 0 to 100.
    """

    begins: int
    ends: int
    open_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """Where the shade hangs, step by step.

    Attributes:
        pieces: In order of time, without gaps; neighbours differ.
        moves: How often it moves, the first one away from where it hangs now included.
    """

    pieces: tuple[Piece, ...]
    moves: int

    @property
    def openness(self) -> float:
        """Percent open times steps."""
        return sum((piece.ends - piece.begins) * piece.open_pct for piece in self.pieces)

    def places(self) -> list[float]:
        """Return the percent open of every step."""
        return [piece.open_pct for piece in self.pieces for _ in range(piece.ends - piece.begins)]


def course(
    ranges: Sequence[Range], *, start_pct: float | None = None, move_worth: float | None = None
) -> Course:
    """Return the best course through the ranges.

    Of courses equally few in moves and equally open the one that moves later is taken, so that a plan made
    again on the way goes on as it had begun.

    Args:
        ranges: For each step the lowest and the highest percent open; never empty ones.
        start_pct: Where the hem bar hangs before the first step; None lets it begin anywhere, free of charge.
        move_worth: A move more than the fewest must gain so much openness, in percent times steps; None for
            the fewest moves whatever they cost.

    Source:
        Dynamic programming from the end (Bellman, Dynamic Programming, 1957): moves, then openness. A place
        between two moves is the lowest upper end of its steps, so only the times of moves are searched.
    """
    runs = _runs(ranges)
    best, until = _onward(runs, (1, 0.0) if move_worth is None else (0, move_worth))
    pieces: list[Piece] = []
    at, moves = 0, -1
    if start_pct is not None:
        at, moves = _held(runs, best, start_pct), 0
        if at:
            pieces.append(Piece(begins=0, ends=runs[at - 1].ends, open_pct=start_pct))
    while at < len(runs):
        end = until[at]
        place = min(run.high for run in runs[at:end])
        pieces.append(Piece(begins=runs[at].begins, ends=runs[end - 1].ends, open_pct=place))
        at, moves = end, moves + 1
    return Course(pieces=tuple(pieces), moves=max(0, moves))


def in_steps(asked: Range, step_pct: float) -> Range:
    """Return the part of a range on whole steps, so that no move is smaller; the range where none lies in it.

    Args:
        asked: Lowest and highest percent open.
        step_pct: The smallest move.
    """
    low, high = asked
    bottom = min(OPEN_PCT, ceil(low / step_pct - _HAIR) * step_pct)
    top = OPEN_PCT if high >= OPEN_PCT else floor(high / step_pct + _HAIR) * step_pct
    return (bottom, top) if bottom <= top else (low, high)


def with_view(ranges: Sequence[Range], *, free_steps: int) -> list[Range]:
    """Return the ranges with the promise that a long time in which nobody wants it lower gives the view back.

    Without it the fewest moves would be made by a shade that stays down for good.

    Args:
        ranges: What the rules ask.
        free_steps: So many steps in a row are worth the way up and down again.
    """
    found: list[Range] = []
    for free, some in groupby(ranges, key=lambda each: each[1] >= OPEN_PCT):
        stretch = list(some)
        worth = free and len(stretch) >= free_steps
        found += [(OPEN_PCT, OPEN_PCT)] * len(stretch) if worth else stretch
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Run:
    begins: int
    ends: int
    low: float
    high: float


def _runs(ranges: Sequence[Range]) -> list[_Run]:
    """Return the ranges with equal neighbours put together: a move within such a run gains nothing."""
    runs, at = [], 0
    for (low, high), some in groupby(ranges):
        assert low <= high, (low, high)
        ends = at + sum(1 for _ in some)
        runs.append(_Run(begins=at, ends=ends, low=low, high=high))
        at = ends
    return runs


_Cost = tuple[int, float]


def _onward(runs: Sequence[_Run], price: _Cost) -> tuple[list[_Cost], list[int]]:
    """Return for each run the least cost from a move at its begin on, and the run before which it ends."""
    each, worth = price
    best: list[_Cost] = [(0, 0.0)] * (len(runs) + 1)
    until = [0] * len(runs)
    for at in range(len(runs) - 1, -1, -1):
        low, high, found = 0.0, OPEN_PCT, None
        for end in range(at, len(runs)):
            low, high = max(low, runs[end].low), min(high, runs[end].high)
            if low > high:
                break
            moves, closed = best[end + 1]
            cost = (moves + each, closed + worth - high * (runs[end].ends - runs[at].begins))
            if found is None or cost <= found:
                found, until[at] = cost, end + 1
        assert found is not None, "a run is no empty range"
        best[at] = found
    return best, until


def _held(runs: Sequence[_Run], best: Sequence[_Cost], start_pct: float) -> int:
    """Return the run before which the shade first leaves its present place."""
    found, at = best[0], 0
    for end, run in enumerate(runs):
        if not run.low <= start_pct <= run.high:
            break
        moves, closed = best[end + 1]
        cost = (moves, closed - start_pct * run.ends)
        if cost <= found:
            found, at = cost, end + 1
    return at
