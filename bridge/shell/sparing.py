"""Warnings about what strangers send: so many lines and no more, and what is held back is counted and told.

In a storm of rubbish the log, and whoever watches it, must not become the next victim.
"""

from __future__ import annotations

from dataclasses import dataclass

from structlog.typing import FilteringBoundLogger

from bridge.shell.clock import now

BURST, PER_S = 20, 2.0
TELL_APART_S = 10.0


@dataclass
class Throttle:
    """A bucket that fills with time.

    Args:
        burst: How many may pass at once, >= 1.
        per_s: How many a second in the long run, > 0.

    Attributes:
        held: How many have been held back and not told of.
    """

    burst: float = BURST
    per_s: float = PER_S
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


class Sparing:
    """A logger of warnings that come in numbers.

    Args:
        log: Where the lines go.
    """

    def __init__(self, log: FilteringBoundLogger) -> None:
        self._log = log
        self._throttles: dict[str, Throttle] = {}
        self._told_s = now().mono_s

    def warning(self, event: str, **fields: object) -> bool:
        """Write a line unless there were too many of its kind; say whether it was written."""
        throttle = self._throttles.setdefault(event, Throttle())
        if throttle.passes(now().mono_s):
            self._log.warning(event, **fields)
            return True
        return False

    def tell(self) -> None:
        """Say now and then how many lines were held back."""
        in_s = now().mono_s - self._told_s
        if in_s < TELL_APART_S:
            return
        self._told_s += in_s
        for event, throttle in self._throttles.items():
            if throttle.held:
                self._log.warning("log.lines.held", of=event, count=throttle.held, in_s=round(in_s, 1))
                throttle.held = 0
