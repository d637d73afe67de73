"""So many lines a second and no more: what is held back is counted and told, never lost in silence."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass
class Throttle:
    """A bucket that fills with time.

    Args:
        burst: How many may pass at once, >= 1.
        per_s: How many a second in the long run, > 0.

    Attributes:
        held: How many have been held back since one last passed.
    """

    burst: float
    per_s: float
    held: int = 0
    _left: float | None = None
    _at_s: float = 0.0

    def passes(self, now_s: float) -> bool:
        """Say whether another one may pass; one that may not is counted."""
        left = self.burst if self._left is None else self._left
        left = min(self.burst, left + (now_s - self._at_s) * self.per_s)
        self._at_s = now_s
        passing = left >= 1
        self._left = left - 1 if passing else left
        self.held += not passing
        return passing

    def told(self) -> int:
        """Return how many were held back, and begin to count anew."""
        held, self.held = self.held, 0
        return held
