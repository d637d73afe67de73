"""What is kept in mind of the day ahead between two looks: plain values, small enough for every snapshot."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Spell:
    """A time in which the rules will ask the same.

    Attributes:
        steps: How long, in steps of the foresight; 1 or more.
        low_pct: No lower than this, 0 to 100.
        high_pct: No further open than this, `low_pct` to 100.
        rule: Who sets the end that bounds the shade; "" when nobody does.
    """

    steps: int
    low_pct: float
    high_pct: float
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Foresight:
    """What the rules will ask under a cloudless sky.

    Attributes:
        begins: The first step, aware UTC.
        made_at: When it was made, aware UTC.
        step_s: Length of a step, in seconds.
        taken: The readings that were taken to last, by kind, in alphabetical order.
        spells: In order of time, without gaps.
    """

    begins: datetime
    made_at: datetime
    step_s: float
    taken: tuple[tuple[str, float], ...]
    spells: tuple[Spell, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NextMove:
    """The next move of the plan, if sky and people do as foreseen.

    Attributes:
        at: When, aware UTC.
        to_pct: Percent open, 0 to 100.
        rule: Whose demand leads there; "" when nobody wants it lower any more.
    """

    at: datetime
    to_pct: int
    rule: str
