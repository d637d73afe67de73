"""What the rules will do with a shade that a person's request holds, once that is over."""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import lru_cache
from math import floor

from bridge.core.plan.foreseen import Foresight, NextMove
from bridge.core.plan.onward import THERE_PCT, coming_of, moves_of, onward

_HAIR = 1e-9
# Faces ask again at every change of a shade; the answer changes with its place and its hold only.
_KEPT = 512


@lru_cache(maxsize=_KEPT)
def after_hold(
    held: Foresight, ends: datetime, *, place_pct: int, smallest_pct: float, worth_s: float
) -> NextMove | None:
    """Return the first move of the rules after a hold; None when none is foreseen.

    Args:
        held: What the rules will ask.
        ends: When the hold ends, aware UTC.
        place_pct: Where the shade hangs then, percent open.
        smallest_pct: The smallest move.
        worth_s: What a move that no promise needs must give, in seconds of open window.
    """
    spell = next(coming_of(held, ends), None)
    if spell is None:
        return None
    allowed = spell.low_pct - THERE_PCT <= place_pct <= spell.high_pct + THERE_PCT
    way = onward(
        held,
        (spell.low_pct, spell.high_pct),
        at=ends,
        until=ends + timedelta(seconds=held.step_s),
        place_pct=float(place_pct),
        smallest_pct=smallest_pct,
        worth_s=None if allowed else worth_s,
    )
    to_pct = floor(way.pieces[0].open_pct + _HAIR)
    if abs(to_pct - place_pct) > THERE_PCT:
        return NextMove(at=ends, to_pct=to_pct, rule=spell.rule if to_pct < place_pct else "")
    return next(iter(moves_of(held, way, ends)), None)
