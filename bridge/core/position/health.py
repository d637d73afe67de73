"""How one shade's knowledge has fared and will fare: figures for people, from what is kept anyway."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from math import inf

from bridge.core.position.claims import claim_at, grade_of, width_mm
from bridge.core.position.drift import Drift, learn
from bridge.core.position.estimate import Grade, Knowledge, Landmark
from bridge.core.spec import ShadeSpec
from bridge.core.values import Interval

# With so many moves a day a forecast is made where the journal does not yet tell (common practice for a shade
# that a few rules and people use).
MOVES_A_DAY = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Met:
    """One reference: what, when, and how far off the estimate was.

    Attributes:
        utc: When.
        landmark: What it was.
        off_mm: How far from the middle of the claim it was; positive when the hem bar hung lower than
            reckoned; None when nothing had been claimed.
        inside: Whether the claim held it; None when nothing had been claimed.
    """

    utc: datetime
    landmark: Landmark
    off_mm: float | None
    inside: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """One shade's record.

    Attributes:
        grade: Now.
        width_mm: Now.
        moves: Since the last reference; since the beginning without one.
        turns: The same for tube turns.
        growth_mm_a_move: What a move adds to the width, on the average since the last reference.
        moves_a_day: Over the time between the first and the last reference; None where that is not known.
        days_to_doubt: Forecast until the width passes the owner's bound; infinite when it does not grow.
        met: The references kept, the oldest first.
        drift: What they tell.
    """

    grade: Grade
    width_mm: float
    moves: int
    turns: float
    growth_mm_a_move: float
    moves_a_day: float | None
    days_to_doubt: float
    met: tuple[Met, ...]
    drift: Drift


def health_of(spec: ShadeSpec, known: Knowledge) -> Health:
    """Return the record of a shade."""
    last = known.meetings[-1] if known.meetings else None
    moves = known.moves - (0 if last is None else last.moves)
    travelled = known.travelled - (0 if last is None else last.travelled)
    width = width_mm(spec, _at_rest(spec, known))
    growth = _growth_mm(spec, known, moves)
    a_day = _moves_a_day(known)
    return Health(
        grade=grade_of(spec, known.hull, hearsay=known.hearsay),
        width_mm=width_mm(spec, known.hull),
        moves=moves,
        turns=travelled / float(spec.travel.drive.pulses_per_turn),
        growth_mm_a_move=growth,
        moves_a_day=a_day,
        days_to_doubt=_days(spec.doubtful_mm - width, growth * (a_day or MOVES_A_DAY)),
        met=tuple(_met(spec, known)),
        drift=learn(spec, known.meetings),
    )


def _at_rest(spec: ShadeSpec, known: Knowledge) -> Interval:
    """Return the claim without motion under way, where there is a count to make one from."""
    if known.base is None or known.settled_count is None:
        return known.hull
    return claim_at(spec, known, known.settled_count)


def _growth_mm(spec: ShadeSpec, known: Knowledge, moves: int) -> float:
    """Return what slip has added to the width by each move since the last reference."""
    if not moves or not known.meetings:
        return 2 * (spec.slip_per_move_mm + spec.slip_per_turn_mm * spec.travel.roll.total_turns / 2)
    slip = known.slip - known.meetings[-1].slip
    middle = spec.travel.lower_steps // 2
    return 2 * slip / moves * spec.travel.mm_between(middle, middle + 1)


def _moves_a_day(known: Knowledge) -> float | None:
    if len(known.meetings) < 2:
        return None
    first, last = known.meetings[0], known.meetings[-1]
    days = (last.utc - first.utc).total_seconds() / 86400
    return (last.moves - first.moves) / days if days >= 1 else None


def _days(room_mm: float, growth_mm: float) -> float:
    if room_mm <= 0:
        return 0.0
    return inf if growth_mm <= 0 else room_mm / growth_mm


def _met(spec: ShadeSpec, known: Knowledge) -> list[Met]:
    met = []
    for each in known.meetings:
        off = inside = None
        if each.claimed is not None:
            claimed = min(each.claimed.middle, spec.travel.end_steps)
            off = round(spec.travel.mm_between(claimed, each.at.middle), 1)
            inside = each.at.low <= each.claimed.high and each.claimed.low <= each.at.high
        met.append(Met(utc=each.utc, landmark=each.landmark, off_mm=off, inside=inside))
    return met
