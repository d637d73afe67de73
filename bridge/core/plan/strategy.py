"""Where a shade hangs, minute by minute, when it follows the rules at each look, or a plan.

Both keep the same restraint. Following takes the place that the rules ask for now; a plan also knows what
they will ask, so it goes at once where it need not be moved again. Most looks move nothing: places at which
nothing is to be done are reckoned for all looks at once, and only the other looks are thought about.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from bridge.core.intending import wish
from bridge.core.plan.course import OPEN_PCT, Range, Run, course, in_steps, with_view
from bridge.core.plan.onward import THERE_PCT
from bridge.core.plan.series import Asked, Flags, Floats
from bridge.core.rules.demand import Verdict
from bridge.core.surroundings import Quiet, Restraint

DAY_MIN = 1440
# So long a time in which nobody wants it lower is worth the way up and down again.
VIEW_MIN = 60
_HAIR = 1e-9
Progress = Callable[[int], None]


def quiet_progress(minutes: int) -> None:
    """Tell nobody."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Looks:
    """All looks; arrays of shape (n,).

    Attributes:
        every: Minutes between two.
        low_pct: What the rules ask, no lower than this.
        high_pct: No further open than this.
        up: Wind or rain wants it up.
        still: Nothing starts, for ice.
        rests: It is a quiet hour.
        day: Days of the local clock, counted.
        moves_a_day: Most moves by rules in one of them.
        dwell_min: Least time between two of them.
    """

    every: int
    low_pct: Floats
    high_pct: Floats
    up: Flags
    still: Flags
    rests: Flags
    day: NDArray[np.int64]
    moves_a_day: int
    dwell_min: float


# The place from a look on, and the minute from which on it is thought about whatever the place.
_Thought = tuple[float, float]


def followed(
    asked: Asked,
    restraint: Restraint,
    *,
    local: Floats | None = None,
    start_pct: float = OPEN_PCT,
    told: Progress = quiet_progress,
) -> Floats:
    """Return the percent open of each minute when the rules are followed at each look, shape (n,).

    Args:
        asked: What they ask, minute by minute.
        restraint: Looks, smallest move, dwell; with `local` quiet hours and the bound on moves a day too.
        local: Minutes of the local week, shape (n,).
        start_pct: Before the first look.
        told: Hears now and then how many minutes are done.
    """
    looks, step = _looks(asked, restraint, local), restraint.smallest_move_pct
    low, high = looks.low_pct, looks.high_pct
    # A place this near below the upper end is not left for it; for the highest one it always is.
    idle = np.maximum(low, np.where(high < OPEN_PCT, high - step + _HAIR, high)), high

    def thought(at: int, place: float) -> _Thought:
        low, high = float(looks.low_pct[at]), float(looks.high_pct[at])
        verdict = Verdict(low_pct=low, high_pct=high, low_by=None, high_by=None, lost=(), firm_low_pct=low)
        move = wish(verdict, now_pct=place, mine=True, step_pct=step)
        return (place if move is None else float(move.to_pct)), inf

    return _looked(looks, asked.low_pct.size, start_pct, idle, thought, told)


def planned(
    asked: Asked,
    ahead: Asked,
    restraint: Restraint,
    *,
    local: Floats | None = None,
    start_pct: float = OPEN_PCT,
    told: Progress = quiet_progress,
) -> Floats:
    """Return the percent open of each minute when each move looks a day ahead, shape (n,).

    Args:
        asked: What the rules ask, minute by minute.
        ahead: What they would ask under a cloudless sky: all that is known beforehand.
        restraint: As for `followed`.
        local: As for `followed`.
        start_pct: Before the first look.
        told: Hears now and then how many minutes are done.
    """
    looks = _looks(asked, restraint, local)
    lows, highs, foreseen = _until_next_look(looks, ahead)
    free = (highs >= OPEN_PCT) & _free_for_long(asked, ahead, looks.every)
    idle = np.where(free, OPEN_PCT, lows - THERE_PCT), highs + THERE_PCT
    coming = _coming(ahead, restraint.smallest_move_pct)
    worth = restraint.move_worth_s / 60 * OPEN_PCT
    plan: list[tuple[int, float]] = []

    def thought(at: int, place: float) -> _Thought:
        low, high, minute = float(lows[at]), float(highs[at]), at * looks.every
        if not low - THERE_PCT <= place <= high + THERE_PCT:
            now = (looks.every, *in_steps((low, high), restraint.smallest_move_pct))
            wanted = [now, *_between(coming, minute + looks.every, minute + DAY_MIN)]
            way = course(with_view(wanted, free_steps=VIEW_MIN), start_pct=place, move_worth=worth)
            plan[:] = [(minute + piece.ends, piece.open_pct) for piece in way.pieces]
            return plan[0][1], plan[0][0]
        while plan and plan[0][0] <= minute:
            plan.pop(0)
        if plan and place < plan[0][1]:
            # A raise for the view, foreseen when the sky was taken to do as it does; else it waits for that.
            if foreseen[at] and plan[0][1] <= high:
                return plan[0][1], plan[0][0]
            again: float = minute
        else:
            again = plan[0][0] if plan else inf
        return (OPEN_PCT if place < OPEN_PCT and free[at] else place), again

    return _looked(looks, asked.low_pct.size, start_pct, idle, thought, told)


def _until_next_look(looks: _Looks, ahead: Asked) -> tuple[Floats, Floats, Flags]:
    """Return at each look what holds until the next one, and whether the sky does as foreseen now.

    Where it does not, what is asked now holds.
    """
    begins = np.arange(0, ahead.low_pct.size, looks.every)
    low, high = np.maximum.reduceat(ahead.low_pct, begins), np.minimum.reduceat(ahead.high_pct, begins)
    foreseen = (ahead.low_pct[begins] == looks.low_pct) & (ahead.high_pct[begins] == looks.high_pct)
    serves = foreseen & (low <= high)
    return np.where(serves, low, looks.low_pct), np.where(serves, high, looks.high_pct), foreseen


def _free_for_long(asked: Asked, ahead: Asked, every: int) -> Flags:
    """Return at which looks nobody will want it lower for long, or has wanted to for as long."""
    size = asked.low_pct.size
    minutes = np.arange(0, size, every)
    bound = np.append(np.flatnonzero(ahead.high_pct < OPEN_PCT), size)
    held = np.insert(np.flatnonzero(asked.high_pct < OPEN_PCT), 0, -1)
    following = bound[np.searchsorted(bound, minutes)]
    last = held[np.searchsorted(held, minutes, side="right") - 1]
    return (following - minutes >= VIEW_MIN) | (minutes - last >= VIEW_MIN)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Coming:
    """What will be asked, in whole steps: runs by the minutes at which they begin, the end after the last."""

    begins: list[int]
    ranges: list[Range]


def _coming(ahead: Asked, step_pct: float) -> _Coming:
    low, high = ahead.low_pct, ahead.high_pct
    at = _changes(low, high)
    # A complex number stands for a range: those of a year are a few hundred.
    different, which = np.unique(low[at] + 1j * high[at], return_inverse=True)
    stepped = np.array([in_steps((each.real, each.imag), step_pct) for each in different.tolist()])[which]
    begins = _changes(*stepped.T)
    ranges: list[Range] = list(map(tuple, stepped[begins].tolist()))
    return _Coming(begins=[*at[begins].tolist(), low.size], ranges=ranges)


def _changes(low: Floats, high: Floats) -> NDArray[np.int64]:
    """Return where ranges differ from the one before, the first included."""
    return np.append(0, np.flatnonzero((low[1:] != low[:-1]) | (high[1:] != high[:-1])) + 1)


def _between(coming: _Coming, begins: int, ends: int) -> list[Run]:
    """Return the runs between two minutes, as far as something is known of them."""
    edges = coming.begins
    first, last = bisect_right(edges, begins) - 1, min(bisect_left(edges, ends), len(coming.ranges))
    return [
        (min(edges[at + 1], ends) - max(edges[at], begins), *coming.ranges[at]) for at in range(first, last)
    ]


def _looks(asked: Asked, restraint: Restraint, local: Floats | None) -> _Looks:
    every = round(restraint.every_s / 60)
    still = asked.still[::every]
    rests = np.zeros(still.shape, dtype=bool)
    day: NDArray[np.int64] = np.zeros(still.shape, dtype=np.int64)
    if local is not None:
        clocks = local[::every]
        rests = rests if restraint.quiet is None else _quiet(restraint.quiet, clocks % DAY_MIN)
        day = np.cumsum(np.diff(np.floor(clocks / DAY_MIN), prepend=-1) != 0)
    return _Looks(
        every=every,
        low_pct=asked.low_pct[::every],
        high_pct=asked.high_pct[::every],
        up=asked.up[::every],
        still=still,
        rests=rests,
        day=day,
        moves_a_day=still.size + 1 if local is None else restraint.moves_a_day,
        dwell_min=restraint.dwell_s / 60,
    )


def _quiet(quiet: Quiet, clock: Floats) -> Flags:
    begins, ends = (each.hour * 60 + each.minute + each.second / 60 for each in (quiet.begins, quiet.ends))
    late, early = clock >= begins, clock < ends
    return late & early if begins <= ends else late | early


def _looked(
    looks: _Looks,
    size: int,
    start_pct: float,
    idle: tuple[Floats, Floats],
    thought: Callable[[int, float], _Thought],
    told: Progress,
) -> Floats:
    """Return the places of all minutes; wind and rain wait for no dwell, and nothing starts in ice."""
    place, again, said = start_pct, inf, -inf
    moved: list[int] = []
    begins, places = [0], [start_pct]
    for first, last, low, high in _spells(*(np.where(looks.up, OPEN_PCT, each) for each in idle)):
        for at in range(first, last):
            minute = at * looks.every
            if low <= place <= high and minute < again:
                if last * looks.every <= again:
                    break
                continue
            before = place
            if looks.up[at] and not looks.still[at]:
                place = OPEN_PCT
            elif _may_move(looks, at, moved):
                place, again = thought(at, place)
                moved += [at] if place != before else []
            if place != before:
                begins.append(at)
                places.append(place)
        if first * looks.every - said >= 7 * DAY_MIN:
            said = first * looks.every
            told(said)
    lengths = np.diff([*begins, looks.up.size]) * looks.every
    return np.repeat(places, lengths)[:size]


def _may_move(looks: _Looks, at: int, moved: Sequence[int]) -> bool:
    """Say whether a rule for comfort may move it at a look, after those at which one has."""
    if looks.still[at] or looks.rests[at]:
        return False
    if moved and (at - moved[-1]) * looks.every < looks.dwell_min:
        return False
    return len(moved) < looks.moves_a_day or bool(looks.day[moved[-looks.moves_a_day]] != looks.day[at])


def _spells(low: Floats, high: Floats) -> Iterator[tuple[int, int, float, float]]:
    """Yield looks with one range: the first, the one after the last, and the range."""
    begins = _changes(low, high)
    ends = np.append(begins[1:], low.size)
    return zip(begins.tolist(), ends.tolist(), low[begins].tolist(), high[begins].tolist(), strict=True)
