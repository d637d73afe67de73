"""Where a shade hangs, minute by minute, when it follows the rules at each look, or a plan.

Both keep the same restraint. Following takes the place that the rules ask for now; a plan also knows what
they will ask, so it goes at once where it need not be moved again. Most looks move nothing: places at which
nothing is to be done are reckoned for all looks at once, and only the other looks are thought about.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable
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
    """All looks; lists with one value each.

    Attributes:
        every: Minutes between two.
        low_pct: What the rules ask, no lower than this.
        high_pct: No further open than this.
        up: Wind or rain wants it up, shape (n,).
        still: Nothing starts, for ice.
        rests: It is a quiet hour.
        day: Days of the local clock, counted.
        moves_a_day: Most moves by rules in one of them.
    """

    every: int
    low_pct: list[float]
    high_pct: list[float]
    up: Flags
    still: list[bool]
    rests: list[bool]
    day: list[int]
    moves_a_day: float


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
    low, high = asked.low_pct[:: looks.every], asked.high_pct[:: looks.every]
    # A place this near below the upper end is not left for it; for the highest one it always is.
    idle = np.maximum(low, np.where(high < OPEN_PCT, high - step + _HAIR, high)), high

    def thought(at: int, place: float) -> _Thought:
        low, high = looks.low_pct[at], looks.high_pct[at]
        verdict = Verdict(low_pct=low, high_pct=high, low_by=None, high_by=None, lost=(), firm_low_pct=low)
        move = wish(verdict, now_pct=place, mine=True, step_pct=step)
        return (place if move is None else float(move.to_pct)), inf

    return _looked(looks, restraint, asked.low_pct.size, start_pct, idle, thought, told)


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
    low, high, foreseen = _until_next_look(asked, ahead, looks.every)
    lows, highs, as_foreseen = low.tolist(), high.tolist(), foreseen.tolist()
    free = (high >= OPEN_PCT) & _free_for_long(asked, ahead, looks.every)
    idle = np.where(free, OPEN_PCT, low - THERE_PCT), high + THERE_PCT
    is_free, coming = free.tolist(), _coming(ahead, restraint.smallest_move_pct)
    worth = restraint.move_worth_s / 60 * OPEN_PCT
    plan: list[tuple[int, float]] = []

    def thought(at: int, place: float) -> _Thought:
        low, high, minute = lows[at], highs[at], at * looks.every
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
            if as_foreseen[at] and plan[0][1] <= high:
                return plan[0][1], plan[0][0]
            again: float = minute
        else:
            again = plan[0][0] if plan else inf
        return (OPEN_PCT if place < OPEN_PCT and is_free[at] else place), again

    return _looked(looks, restraint, asked.low_pct.size, start_pct, idle, thought, told)


def _until_next_look(asked: Asked, ahead: Asked, every: int) -> tuple[Floats, Floats, Flags]:
    """Return at each look what holds until the next one, and whether the sky does as foreseen now.

    Where it does not, what is asked now holds.
    """
    now_low, now_high = asked.low_pct[::every], asked.high_pct[::every]
    low, high = ahead.low_pct[::every].copy(), ahead.high_pct[::every].copy()
    foreseen = (low == now_low) & (high == now_high)
    for minute in range(1, every):
        later_low, later_high = ahead.low_pct[minute::every], ahead.high_pct[minute::every]
        np.maximum(low[: later_low.size], later_low, out=low[: later_low.size])
        np.minimum(high[: later_high.size], later_high, out=high[: later_high.size])
    serves = foreseen & (low <= high)
    return np.where(serves, low, now_low), np.where(serves, high, now_high), foreseen


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
    changes = np.flatnonzero((low[1:] != low[:-1]) | (high[1:] != high[:-1])) + 1
    at = [0, *changes.tolist()]
    asked: list[Range] = list(zip(low[at].tolist(), high[at].tolist(), strict=True))
    stepped = {each: in_steps(each, step_pct) for each in set(asked)}
    begins: list[int] = []
    ranges: list[Range] = []
    for minute, each in zip(at, asked, strict=True):
        cut = stepped[each]
        if not ranges or cut != ranges[-1]:
            begins.append(minute)
            ranges.append(cut)
    return _Coming(begins=[*begins, low.size], ranges=ranges)


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
        low_pct=asked.low_pct[::every].tolist(),
        high_pct=asked.high_pct[::every].tolist(),
        up=asked.up[::every],
        still=still.tolist(),
        rests=rests.tolist(),
        day=day.tolist(),
        moves_a_day=inf if local is None else restraint.moves_a_day,
    )


def _quiet(quiet: Quiet, clock: Floats) -> Flags:
    begins, ends = (each.hour * 60 + each.minute + each.second / 60 for each in (quiet.begins, quiet.ends))
    late, early = clock >= begins, clock < ends
    return late & early if begins <= ends else late | early


def _looked(
    looks: _Looks,
    restraint: Restraint,
    size: int,
    start_pct: float,
    idle: tuple[Floats, Floats],
    thought: Callable[[int, float], _Thought],
    told: Progress,
) -> Floats:
    """Return the places of all minutes; wind and rain wait for no dwell, and nothing starts in ice."""
    least, most = (np.where(looks.up, OPEN_PCT, each).tolist() for each in idle)
    ups, dwell = looks.up.tolist(), restraint.dwell_s / 60
    place, moved, again = start_pct, -DAY_MIN, inf
    today, moves, said = -1, 0, -inf
    begins, places = [0], [start_pct]
    for at, (low, high) in enumerate(zip(least, most, strict=True)):
        minute = at * looks.every
        if low <= place <= high and minute < again:
            continue
        if minute - said >= 7 * DAY_MIN:
            told(minute)
            said = minute
        if looks.day[at] != today:
            today, moves = looks.day[at], 0
        before = place
        if looks.still[at]:
            continue
        if ups[at]:
            place = OPEN_PCT
        elif not looks.rests[at] and moves < looks.moves_a_day and minute - moved >= dwell:
            place, again = thought(at, place)
            if place != before:
                moved, moves = minute, moves + 1
        if place != before:
            begins.append(at)
            places.append(place)
    lengths = np.diff([*begins, len(least)]) * looks.every
    return np.repeat(places, lengths)[:size]
