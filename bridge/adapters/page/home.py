"""What the page's server needs of the bridge; the shell fulfils it, tests fake it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Protocol

from bridge.core.events import Event
from bridge.core.state import House
from bridge.core.values import Moment, ShadeId


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What the house said to a request.

    Attributes:
        taken: At least a part of it was taken up.
        refused: Shade and reason of what was not; the shade "" when it is the whole house.
    """

    taken: bool
    refused: tuple[tuple[str, str], ...] = ()


class Home(Protocol):
    """The bridge as the page sees it."""

    def now(self) -> Moment:
        """Return this instant."""
        ...

    def house(self) -> House:
        """Return the house as it is now."""
        ...

    def counted(self) -> dict[str, dict[str, int]]:
        """Return what has been counted in this run: `events`, `orders` and `requests`, each by kind."""
        ...

    def widths(self) -> Mapping[ShadeId, float]:
        """Return how wide each cloth is in mm, where the settings tell."""
        ...

    async def ask(self, event: Event) -> Answer:
        """Let the house decide.

        Raises:
            RefusalError: too much is waiting, or no answer comes.
        """
        ...

    async def day(self, on: date) -> dict[str, Any]:
        """Return a day of every shade with a window, as JSON values.

        Raises:
            RefusalError: it can't be worked out now.
        """
        ...

    async def journal(self, *, search: str, shade: str, before: int | None, limit: int) -> dict[str, Any]:
        """Return entries of the journal, newest first, as JSON values.

        Raises:
            RefusalError: it can't be read.
        """
        ...
