"""The plan of a day as the service wrote it down at the time; nothing is derived again.

What a plan had in mind stands in the notes of the journal's own decisions. Brings numpy.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from itertools import pairwise

import numpy as np

from bridge.adapters.journal import codec
from bridge.adapters.journal.rows import Content
from bridge.core.errors import LinkError
from bridge.core.outcome import Field, Note
from bridge.core.plan.day import ShadeDay, depth_with
from bridge.core.plan.foreseen import NextMove
from bridge.core.plan.series import Floats
from bridge.core.spec import ShadeSpec
from bridge.core.sun.daylight import LocalDay
from bridge.core.values import ShadeId

DECIDED, FORESEEN = "rule.shade.decided", "rule.shade.foreseen"
_MARK = b'"rule.shade.'


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What one decision had in mind for the rest of the day.

    Attributes:
        utc: When it was written down.
        at_pct: Where the shade should hang from then on, percent open.
        moved: It was set in motion for that; else it hung there, or something kept it.
        moves: What was to follow, in order of time.
    """

    utc: datetime
    at_pct: float
    moved: bool
    moves: tuple[NextMove, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spells:
    """What the rules were foreseen to ask.

    Attributes:
        utc: When it was written down.
        ends_s: Seconds since 1970 at which each spell ends; rising.
        low_pct: No lower than this, one for each spell.
        high_pct: No further open than this.
    """

    utc: datetime
    ends_s: tuple[float, ...]
    low_pct: tuple[float, ...]
    high_pct: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """What was written down about one shade, the last of before the day first; all in order of time.

    Attributes:
        plans: Plans.
        foreseen: What the rules would ask.
    """

    plans: list[Plan] = field(default_factory=list)
    foreseen: list[Spells] = field(default_factory=list)


def written(content: Content, shades: Sequence[ShadeId], span: LocalDay) -> dict[ShadeId, Written]:
    """Return what the journal says of the plans of a day; of a day without events it says nothing.

    Raises:
        LinkError: a row is not of this version.
    """
    found = {name: Written() for name in shades}
    lived = False
    for row in content.rows:
        at = datetime.fromisoformat(row.utc)
        if at >= span.end_utc:
            break
        lived = lived or at >= span.start_utc
        for note in _notes(row.id, row.decisions) if _MARK in row.decisions else ():
            if note.shade in found:
                _take(found[note.shade], note, at, before=at < span.start_utc)
    return found if lived else {name: Written() for name in shades}


def _notes(row: int, decisions: bytes) -> Iterator[Note]:
    try:
        yield from codec.decode_decisions(decisions).notes
    except ValueError as error:
        raise LinkError(
            where=f"journal, event {row}",
            problem=str(error),
            remedy="run `hembar replay` to see what is sound",
        ) from error


def _take(mine: Written, note: Note, at: datetime, *, before: bool) -> None:
    said = dict(note.fields)
    # Journals of earlier programs have no plan beyond the next move.
    if note.name == DECIDED and "at_pct" in said:
        if before:
            mine.plans.clear()
        at_pct, moved = _number(said["at_pct"]), bool(said.get("moved"))
        mine.plans.append(Plan(utc=at, at_pct=at_pct, moved=moved, moves=tuple(_moves(said))))
    elif note.name == FORESEEN:
        if before:
            mine.foreseen.clear()
        mine.foreseen.append(_spells(said, at))


def _number(value: Field) -> float:
    assert isinstance(value, int | float), value
    return float(value)


def _moves(said: Mapping[str, Field]) -> Iterator[NextMove]:
    if said["next_at"]:
        at = datetime.fromisoformat(str(said["next_at"]))
        yield NextMove(at=at, to_pct=round(_number(said["next_pct"])), rule=str(said["next_rule"]))
    for line in str(said["later"]).splitlines():
        when, to, *rule = line.split(" ")
        yield NextMove(at=datetime.fromisoformat(when), to_pct=int(to), rule="".join(rule))


def _spells(said: Mapping[str, Field], at: datetime) -> Spells:
    begins, step_s = datetime.fromisoformat(str(said["begins"])), _number(said["step_s"])
    lines = [line.split(" ") for line in str(said["spells"]).splitlines()]
    ends = np.cumsum([int(line[0]) for line in lines]) * step_s + begins.timestamp()
    return Spells(
        utc=at,
        ends_s=tuple(ends.tolist()),
        low_pct=tuple(float(line[1]) for line in lines),
        high_pct=tuple(float(line[2]) for line in lines),
    )


def since(mine: Written, span: LocalDay) -> datetime | None:
    """Return since when the plan of the day stands in the journal; None when it does not."""
    return max(mine.plans[0].utc, span.start_utc) if mine.plans else None


def as_written(day: ShadeDay, spec: ShadeSpec, mine: Written) -> ShadeDay:
    """Return the day with the plan as it was written down.

    Each instant shows the plan that stood then, what comes after the last event the newest. Before anything
    was written the day keeps what is reckoned now.
    """
    times = day.seen.sun.utc_s
    planned = np.array(day.planned, dtype=np.float64)
    low, high = np.array(day.asked.low_pct), np.array(day.asked.high_pct)
    for plan in mine.plans:
        known = times >= plan.utc.timestamp()
        planned[known] = _places(plan, times)[known]
    for each in mine.foreseen:
        known = (times >= each.utc.timestamp()) & (times < each.ends_s[-1])
        at = np.searchsorted(each.ends_s, times[known], side="right")
        low[known], high[known] = np.array(each.low_pct)[at], np.array(each.high_pct)[at]
    return replace(
        day,
        planned=planned,
        asked=replace(day.asked, low_pct=low, high_pct=high),
        far_m=depth_with(spec, day.seen, planned),
    )


def _places(plan: Plan, times: Floats) -> Floats:
    places = np.full(times.shape, plan.at_pct)
    for move in plan.moves:
        places[times >= move.at.timestamp()] = move.to_pct
    return places


def moves(day: ShadeDay, mine: Written, span: LocalDay) -> list[tuple[datetime, float, float]]:
    """Return when the plan moves the shade that day, or did, from where and to where.

    Where a person has put it is no move of the plan. Where none was written down they are those reckoned now.
    """
    if not mine.plans:
        return changes(day)
    made = [(plan.utc, plan.at_pct) for plan in mine.plans if plan.moved]
    made += [(move.at, float(move.to_pct)) for move in mine.plans[-1].moves]
    times = day.seen.sun.utc_s
    before = np.searchsorted(times, [at.timestamp() for at, _ in made]) - 1
    return [
        (at, float(day.planned[max(0, index)]), to_pct)
        for (at, to_pct), index in zip(made, before.tolist(), strict=True)
        if span.start_utc <= at < span.end_utc
    ]


def changes(day: ShadeDay) -> list[tuple[datetime, float, float]]:
    """Return when the plan that is reckoned now moves, from where and to where."""
    return [
        (datetime.fromtimestamp(float(day.seen.sun.utc_s[at + 1]), tz=UTC), float(one), float(other))
        for at, (one, other) in enumerate(pairwise(day.planned.tolist()))
        if one != other
    ]


def plans_told(plans: Iterable[Plan]) -> list[dict[str, object]]:
    """Return plans as JSON values."""
    return [
        {
            "utc": plan.utc.isoformat(),
            "open_pct": plan.at_pct,
            "moves": [
                {"utc": move.at.isoformat(), "to_pct": move.to_pct, "rule": move.rule or None}
                for move in plan.moves
            ],
        }
        for plan in plans
    ]
