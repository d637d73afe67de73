"""Where a shade goes on from here: what the rules ask now, what they will ask, and the place that it has.

Scalar and cheap, for the service at each look. `strategy` does the same with whole years.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from itertools import groupby, pairwise
from math import ceil, floor

from bridge.core.plan.ahead import foreseen, verdicts_at
from bridge.core.plan.course import OPEN_PCT, Course, Range, course, in_steps, runs_of, with_view
from bridge.core.plan.foreseen import Foresight, NextMove, Spell
from bridge.core.rules.demand import Standing, Verdict
from bridge.core.rules.view import Readings
from bridge.core.spec import ShadeSpec
from bridge.core.surroundings import Site

STEP_S = 600.0
AHEAD_S = 24 * 3600.0
# So long a time in which nobody wants it lower is worth the way up and down again.
VIEW_S = 3600.0
# A foresight is made again when it is so old, or a reading that was taken to last has changed so far.
MADE_AGAIN_S = 3600.0
CHANGED: Mapping[str, float] = {"indoor-temperature": 1.0, "outdoor-temperature": 1.0, "presence": 0.5}
# Nearer than this is there.
THERE_PCT = 0.5
# Rules are asked so often within a step; what they ask in it is what all of these allow.
_WITHIN_S = (0.0, STEP_S / 2, STEP_S - 1.0)
_HAIR = 1e-9


def foresight_of(
    site: Site | None, spec: ShadeSpec, at: datetime, *, readings: Readings, before: Iterable[Standing]
) -> Foresight:
    """Return what the rules of a shade will ask for a day from the present step on.

    Args:
        site: Where the house stands.
        spec: The shade with its rules.
        at: Now, aware UTC.
        readings: As they are now.
        before: What the rules asked last.
    """
    begins = at - timedelta(seconds=at.timestamp() % STEP_S)
    steps = range(round(AHEAD_S / STEP_S))
    instants = (begins + timedelta(seconds=step * STEP_S + within) for step in steps for within in _WITHIN_S)
    found = verdicts_at(site, spec, instants, readings=readings, before=before)
    every = len(_WITHIN_S)
    asked = [_together(found[step * every : (step + 1) * every]) for step in steps]
    return Foresight(
        begins=begins,
        made_at=at,
        step_s=STEP_S,
        taken=_taken(readings),
        spells=tuple(
            Spell(steps=sum(1 for _ in some), low_pct=low, high_pct=high, rule=rule)
            for (low, high, rule), some in groupby(asked)
        ),
    )


def still_true(held: Foresight, at: datetime, readings: Readings) -> bool:
    """Say whether a foresight still serves: young, and made of the readings of now, but for their noise."""
    if not timedelta() <= at - held.made_at < timedelta(seconds=MADE_AGAIN_S):
        return False
    then, now = dict(held.taken), dict(_taken(readings))
    return then.keys() == now.keys() and all(abs(now[kind] - then[kind]) < CHANGED[kind] for kind in now)


def onward(
    held: Foresight,
    now: Range,
    *,
    at: datetime,
    until: datetime,
    place_pct: float,
    smallest_pct: float,
    worth_s: float | None,
) -> Course:
    """Return the best course from here; its steps are those of the foresight from the present one on.

    Args:
        held: What the rules will ask.
        now: What they ask now, lowest and highest percent open.
        at: Now, aware UTC.
        until: The next look, aware UTC: so long holds what they ask now.
        place_pct: Where the hem bar hangs.
        smallest_pct: The smallest move.
        worth_s: What a move that no promise needs must give, in seconds of open window; None for a shade that
            no rule may raise for the view alone.
    """
    coming = [(spell.low_pct, spell.high_pct) for spell in coming_of(held, at)]
    block = sum(1 for _ in coming_of(held, at, until))
    wanted = [(block, *now), *runs_of(coming[block:])]
    cut = [(steps, *_with_place(low, high, smallest_pct, place_pct)) for steps, low, high in wanted]
    if worth_s is not None:
        cut = with_view(cut, free_steps=round(VIEW_S / held.step_s))
    worth = None if worth_s is None else worth_s / held.step_s * OPEN_PCT
    return course(cut, start_pct=place_pct, move_worth=worth)


def until_next_look(held: Foresight, now: Range, *, at: datetime, until: datetime) -> Range:
    """Return what holds until the next look if the sky does as foreseen.

    Args:
        held: What the rules will ask.
        now: What they ask now.
        at: Now, aware UTC.
        until: The next look.
    """
    spells = list(coming_of(held, at, until))
    low = max(now[0], *(each.low_pct for each in spells))
    high = min(now[1], *(each.high_pct for each in spells))
    return (low, high) if low <= high else now


def begins_at(held: Foresight, at: datetime, step: int) -> datetime:
    """Return when a step begins, counted from the one in which `at` lies."""
    return held.begins + timedelta(seconds=(_step(held, at) + step) * held.step_s)


def moves_of(held: Foresight, way: Course, at: datetime) -> tuple[NextMove, ...]:
    """Return the moves of a course that do not begin now, in order of time.

    Args:
        held: What the rules will ask.
        way: The course from the present step on.
        at: Now, aware UTC.
    """
    coming = list(coming_of(held, at)) if len(way.pieces) > 1 else []
    return tuple(
        NextMove(
            at=begins_at(held, at, there.begins),
            to_pct=floor(there.open_pct + _HAIR),
            rule=coming[there.begins].rule if there.open_pct < here.open_pct else "",
        )
        for here, there in pairwise(way.pieces)
    )


def coming_of(held: Foresight, at: datetime, until: datetime | None = None) -> Iterator[Spell]:
    """Yield what the rules will ask, one spell a step: from the present one on, to that before `until`."""
    spells = [spell for spell in held.spells for _ in range(spell.steps)]
    last = len(spells) if until is None else ceil((until - held.begins).total_seconds() / held.step_s)
    yield from spells[_step(held, at) : last]


def _step(held: Foresight, at: datetime) -> int:
    return max(0, int((at - held.begins).total_seconds() // held.step_s))


def _taken(readings: Readings) -> tuple[tuple[str, float], ...]:
    return tuple(sorted(foreseen(readings).values.items()))


def _together(verdicts: Sequence[Verdict]) -> tuple[float, float, str]:
    """Return what serves all of the verdicts of one step; where nothing does, what the first asks."""
    low = max(each.firm_low_pct for each in verdicts)
    high = min(each.high_pct for each in verdicts)
    if low > high:
        low, high = verdicts[0].firm_low_pct, verdicts[0].high_pct
    by = next(
        (
            each.high_by if each.high_pct == high < OPEN_PCT else each.low_by
            for each in verdicts
            if each.high_pct == high < OPEN_PCT or each.firm_low_pct == low > 0
        ),
        None,
    )
    return low, high, "" if by is None else by.rule


def _with_place(low: float, high: float, smallest_pct: float, place_pct: float) -> Range:
    """Return the range in whole steps, and with the present place if that is as good as in it."""
    bottom, top = in_steps((low, high), smallest_pct)
    if low - THERE_PCT <= place_pct <= high + THERE_PCT:
        return min(bottom, place_pct), max(top, place_pct)
    return bottom, top
