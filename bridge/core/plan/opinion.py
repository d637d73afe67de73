"""What one rule asks at many instants, kept only where it asks something."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Opinion:
    """A demand at some rows of a series.

    Attributes:
        rows: Where, rising, shape (k,).
        at_most_pct: No further open than this, one for all or shape (k,); None for no such demand.
        at_least_pct: No lower than this, likewise; not above `at_most_pct`.
    """

    rows: Rows
    at_most_pct: Floats | float | None = None
    at_least_pct: Floats | float | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bounds:
    """What several rules have come to so far; arrays of shape (n,) that `narrow` writes to.

    Attributes:
        low_pct: No lower than this.
        high_pct: No further open than this.
        firm_pct: As `low_pct`, without what was only yielded to a lost demand.
    """

    low_pct: Floats
    high_pct: Floats
    firm_pct: Floats

    def narrow(self, opinion: Opinion) -> None:
        """Take in a demand of lower or equal rank: it goes as far as those before let it."""
        rows = opinion.rows
        low, high = self.low_pct[rows], self.high_pct[rows]
        if opinion.at_most_pct is not None:
            high = np.maximum(low, np.minimum(high, opinion.at_most_pct))
            self.high_pct[rows] = high
        if opinion.at_least_pct is not None:
            met = (opinion.at_least_pct > low) & (opinion.at_least_pct <= high)
            self.firm_pct[rows] = np.where(met, opinion.at_least_pct, self.firm_pct[rows])
            self.low_pct[rows] = np.minimum(high, np.maximum(low, opinion.at_least_pct))


def unbounded(size: int) -> Bounds:
    """Return the bounds while nobody has asked anything."""
    return Bounds(low_pct=np.zeros(size), high_pct=np.full(size, 100.0), firm_pct=np.zeros(size))
