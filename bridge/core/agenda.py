"""Which shades want a look, and when: a row of numbers for each, so that an event looks at few of them.

What the numbers are is found in `dues.py`; whoever looks at shades asks here which ones it can leave out.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import IntEnum
from math import inf
from typing import Any

from bridge.core.kept import Kept, Leasts

# A sum and a difference of the same seconds may round apart; looking a moment too early changes nothing.
ROUNDING_S = 1e-6
# Any number that is not infinite.
FINITE = 1e300


class Column(IntEnum):
    """What a number tells: seconds of the clock named, infinite for never, minus infinite for at once."""

    WAKES = 0  # monotonic: a `Ticked` is wanted for the shade itself
    LOOKS = 1  # monotonic: `pursue` may find something to do
    HOLDS = 2  # UTC: its hold ends
    WAITS = 3  # at once: its request waits for amps or for its turn
    TURNS = 4  # monotonic: what waits may find its turn
    SPACED = 5  # monotonic: what waits is kept no longer by the limit of four orders a second
    OVER = 6  # monotonic: an order that nobody hears of is surely over
    LEVEL = 7  # at once: it moves, or waits to move, with a level group
    DOUBTS = 8  # UTC: it wants a reference, and is not barred from it
    AGAIN = 9  # UTC: a guard may ask again
    RULES = 10  # UTC: its rules may find something to do though nothing is heard
    FORESEES = 11  # at once: its rules wait for their foresight


@dataclass(frozen=True, slots=True)
class Agenda:
    """The rows of all shades as they were found last.

    Attributes:
        spec: The settings that they follow from.
        shades: The shades that they follow from.
        states: Whether the broker is there, another bridge is in charge, the house is locked.
        rows: By place in the settings.
    """

    spec: object
    shades: Kept[Any, Any]
    states: tuple[bool, bool, bool]
    rows: Leasts

    def first(self, column: Column) -> float:
        """Return the least number of a column; infinite when there is none."""
        return self.rows.least[column]

    def has(self, column: Column) -> bool:
        """Say whether some shade has a number in a column."""
        return self.rows.least[column] < inf

    def earliest(self, column: Column) -> list[int]:
        """Return the places with the least number of a column; none without any number."""
        return self.places(column, until=self.rows.least[column]) if self.has(column) else []

    def places(self, *columns: Column, until: float = FINITE) -> list[int]:
        """Return the places with a number up to `until` in one of the columns, in order."""
        least = self.rows.least
        if len(columns) == 1:
            return [*self.rows.up_to(columns[0], until)] if least[columns[0]] <= until else []
        wanted = [column for column in columns if least[column] <= until]
        found = [place for column in wanted for place in self.rows.up_to(column, until)]
        return sorted(set(found)) if len(wanted) > 1 else found


def stamp(at: datetime) -> float:
    """Return an aware instant as seconds, exact enough to tell microseconds apart."""
    return at.timestamp()


def soon(at: datetime) -> float:
    """Return an aware instant as seconds, a moment later."""
    return (at + timedelta(seconds=ROUNDING_S)).timestamp()
