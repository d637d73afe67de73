"""Where a shade hangs, minute by minute, when it follows the rules at each look, or a plan.

Both keep the same restraint. Following takes the place that the rules ask for now; a plan also knows what
they will ask, so it goes at once where it need not be moved again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from bridge.core.intending import wish
from bridge.core.plan.course import OPEN_PCT, Course, Range, course, in_steps, runs_of, with_view
from bridge.core.plan.onward import THERE_PCT
from bridge.core.plan.series import Asked, Flags, Floats
from bridge.core.rules.demand import Verdict
from bridge.core.surroundings import Quiet, Restraint

DAY_MIN = 1440
# So long a time in which nobody wants it lower is worth the way up and down again.
VIEW_MIN = 60
Progress = Callable[[int], None]


def quiet_progress(minutes: int) -> None:
    """Tell nobody."""


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
    lows, highs = asked.low_pct.tolist(), asked.high_pct.tolist()

    def next_place(at: int, place: float) -> float:
        low, high = lows[at], highs[at]
        # Nothing to do is the usual case.
        if low <= place <= high and (high - place < restraint.smallest_move_pct and high < OPEN_PCT):
            return place
        verdict = Verdict(low_pct=low, high_pct=high, low_by=None, high_by=None, lost=(), firm_low_pct=low)
        move = wish(verdict, now_pct=place, mine=True, step_pct=restraint.smallest_move_pct)
        return place if move is None else float(move.to_pct)

    return _looked(asked, restraint, local, start_pct, next_place, told)


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
    every = round(restraint.every_s / 60)
    lows, highs = asked.low_pct.tolist(), asked.high_pct.tolist()
    coming = list(zip(ahead.low_pct.tolist(), ahead.high_pct.tolist(), strict=True))
    # Days overlap: what is the same in each is reckoned once.
    stepped = [in_steps(each, restraint.smallest_move_pct) for each in coming]
    bound = _next(ahead.high_pct < OPEN_PCT)
    freed = _since(asked.high_pct < OPEN_PCT)
    plan: list[tuple[int, float]] = []

    def next_place(at: int, place: float) -> float:
        now = _until_next_look((lows[at], highs[at]), coming[at : at + every])
        if not now[0] - THERE_PCT <= place <= now[1] + THERE_PCT:
            plan[:] = [
                (at + piece.ends, piece.open_pct)
                for piece in _best(now, stepped[at : at + DAY_MIN], every, place, restraint).pieces
            ]
            return plan[0][1]
        while plan and plan[0][0] <= at:
            plan.pop(0)
        if plan and coming[at] == (lows[at], highs[at]) and place < plan[0][1] <= now[1]:
            # A raise for the view, foreseen when the sky was taken to do as it does.
            return plan[0][1]
        is_free = place < OPEN_PCT and now[1] >= OPEN_PCT
        if is_free and (bound[at] - at >= VIEW_MIN or at - freed[at] >= VIEW_MIN):
            return OPEN_PCT
        return place

    return _looked(asked, restraint, local, start_pct, next_place, told)


def _until_next_look(now: Range, coming: Sequence[Range]) -> Range:
    """Return what holds until the next look, where the sky does as foreseen; else what holds now."""
    if coming[0] != now:
        return now
    low, high = max(each[0] for each in coming), min(each[1] for each in coming)
    return (low, high) if low <= high else now


def _best(now: Range, stepped: Sequence[Range], every: int, place: float, restraint: Restraint) -> Course:
    """Return the best course from here; `stepped` is what will be asked, in whole steps."""
    wanted = [(every, *in_steps(now, restraint.smallest_move_pct)), *runs_of(stepped[every:])]
    wanted = with_view(wanted, free_steps=VIEW_MIN)
    return course(wanted, start_pct=place, move_worth=restraint.move_worth_s / 60 * OPEN_PCT)


def _looked(
    asked: Asked,
    restraint: Restraint,
    local: Floats | None,
    start_pct: float,
    next_place: Callable[[int, float], float],
    told: Progress,
) -> Floats:
    """Return the places of all minutes; wind and rain wait for no dwell, and nothing starts in ice."""
    every, dwell = round(restraint.every_s / 60), restraint.dwell_s / 60
    ups, stills = asked.up.tolist(), asked.still.tolist()
    rests, days = _rests(restraint.quiet, local, asked.up.size)
    today, moves = -1, 0
    places = np.empty(asked.low_pct.shape)
    place, moved = start_pct, -DAY_MIN
    for at in range(0, places.size, every):
        if at % (7 * DAY_MIN) < every:
            told(at)
        if days[at] != today:
            today, moves = days[at], 0
        if stills[at]:
            pass
        elif ups[at]:
            place = OPEN_PCT
        elif not rests[at] and (local is None or moves < restraint.moves_a_day) and at - moved >= dwell:
            before, place = place, next_place(at, place)
            if place != before:
                moved, moves = at, moves + 1
        places[at : at + every] = place
    return places


def _rests(quiet: Quiet | None, local: Floats | None, size: int) -> tuple[list[bool], list[int]]:
    """Return for each minute whether the rules rest, and its local day; none of both without clocks."""
    if local is None:
        return [False] * size, [0] * size
    days: list[int] = np.floor(local / DAY_MIN).astype(np.int64).tolist()
    if quiet is None:
        return [False] * size, days
    begins, ends = (each.hour * 60 + each.minute + each.second / 60 for each in (quiet.begins, quiet.ends))
    clock = local % DAY_MIN
    late, early = clock >= begins, clock < ends
    rests: list[bool] = (late & early if begins <= ends else late | early).tolist()
    return rests, days


def _next(happens: Flags) -> list[int]:
    """Return for each minute the next one, itself included, at which something happens; the end if none."""
    at = np.where(happens, np.arange(happens.size), happens.size)
    found: list[int] = np.minimum.accumulate(at[::-1])[::-1].tolist()
    return found


def _since(happens: Flags) -> list[int]:
    """Return for each minute the last one, itself included, at which something happened; -1 if none."""
    found: list[int] = np.maximum.accumulate(np.where(happens, np.arange(happens.size), -1)).tolist()
    return found
