"""The course of a shade with the fewest worthwhile moves that breaks no promise, and of those the most open.

A promise is a range of percent open for each step of time, and equal ones in a row are a run. They come from
`ahead` (one by one) or `series` (whole years); nothing here knows sun, rules or clocks.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import accumulate, groupby
from math import ceil, floor, inf

Range = tuple[float, float]
# Steps, lowest and highest percent open.
Run = tuple[int, float, float]
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


def course(runs: Iterable[Run], *, start_pct: float | None = None, move_worth: float | None = None) -> Course:
    """Return the best course through the runs.

    Of courses equally few in moves and equally open the one that moves later is taken, so that a plan made
    again on the way goes on as it had begun.

    Args:
        runs: What is promised, in order of time; never an empty range.
        start_pct: Where the hem bar hangs before the first step; None lets it begin anywhere, free of charge.
        move_worth: A move more than the fewest must gain so much openness, in percent times steps; None for
            the fewest moves whatever they cost.

    Source:
        Dynamic programming from the end (Bellman, Dynamic Programming, 1957). A place between two moves is
        the lowest upper end of its steps, so only the times of moves are searched, and none within a run:
        it would gain nothing.
    """
    joined = _joined(runs)
    ends = list(accumulate((steps for steps, _, _ in joined), initial=0))
    # No openness of the whole time outweighs one move then.
    worth = OPEN_PCT * ends[-1] + 1.0 if move_worth is None else move_worth
    best, until = _onward(joined, ends, worth)
    pieces: list[Piece] = []
    at, moves = 0, -1
    if start_pct is not None:
        at, moves = _held(joined, ends, best, start_pct), 0
        if at:
            pieces.append(Piece(begins=0, ends=ends[at], open_pct=start_pct))
    while at < len(joined):
        end = until[at]
        place = min(high for _, _, high in joined[at:end])
        pieces.append(Piece(begins=ends[at], ends=ends[end], open_pct=place))
        at, moves = end, moves + 1
    return Course(pieces=tuple(pieces), moves=max(0, moves))


def runs_of(ranges: Iterable[Range]) -> list[Run]:
    """Return the ranges of single steps as runs."""
    return [(sum(1 for _ in some), low, high) for (low, high), some in groupby(ranges)]


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


def with_view(runs: Iterable[Run], *, free_steps: int) -> list[Run]:
    """Return the runs with the promise that a long time in which nobody wants it lower gives the view back.

    Without it the fewest moves would be made by a shade that stays down for good.

    Args:
        runs: What the rules ask.
        free_steps: So many steps in a row are worth the way up and down again.
    """
    found: list[Run] = []
    for free, some in groupby(runs, key=lambda run: run[2] >= OPEN_PCT):
        stretch = list(some)
        long = sum(steps for steps, _, _ in stretch)
        found += [(long, OPEN_PCT, OPEN_PCT)] if free and long >= free_steps else stretch
    return found


def _joined(runs: Iterable[Run]) -> list[Run]:
    """Return the runs with equal neighbours put together."""
    found: list[Run] = []
    for steps, low, high in runs:
        assert low <= high, (low, high)
        if found and found[-1][1:] == (low, high):
            found[-1] = (found[-1][0] + steps, low, high)
        elif steps:
            found.append((steps, low, high))
    return found


def _onward(runs: Sequence[Run], ends: Sequence[int], worth: float) -> tuple[list[float], list[int]]:
    """Return for each run the least cost from a move at its begin on, and the run before which it ends."""
    best, until = [0.0] * (len(runs) + 1), [0] * len(runs)
    for at in range(len(runs) - 1, -1, -1):
        _, lowest, place = runs[at]
        begins, found = ends[at], inf
        for end in range(at, len(runs)):
            _, low, high = runs[end]
            if low > lowest:  # noqa: PLR1730  a plan spends its time here: a call takes three times as long
                lowest = low
            if high < place:  # noqa: PLR1730  likewise
                place = high
            if lowest > place:
                break
            cost = best[end + 1] - place * (ends[end + 1] - begins)
            if cost <= found:
                found, until[at] = cost, end + 1
        best[at] = found + worth
    return best, until


def _held(runs: Sequence[Run], ends: Sequence[int], best: Sequence[float], start_pct: float) -> int:
    """Return the run before which the shade first leaves its present place."""
    found, at = best[0], 0
    for end, (_, low, high) in enumerate(runs, start=1):
        if not low <= start_pct <= high:
            break
        cost = best[end] - start_pct * ends[end]
        if cost <= found:
            found, at = cost, end
    return at
