"""What the shell needs from the outside, as Protocols; adapters fulfil them, tests fake them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from bridge.core.events import Event
from bridge.core.outcome import Decisions
from bridge.core.state import House

Handle = Callable[[House | None, Event], tuple[House, Decisions]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """A place where replaying the journal gives something else than it holds.

    Attributes:
        row: The event's number; for a snapshot, the number of the last event in it.
        utc: When it happened, ISO 8601.
        shades: The shades concerned, by id.
        kept: What the journal holds, as JSON: this is what really left.
        replayed: What this version makes of it, as JSON, or the fault that stopped it.
        orders_differ: Not only words: other orders left than this version would have sent.
    """

    row: int
    utc: str
    shades: tuple[str, ...]
    kept: str
    replayed: str
    orders_differ: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Recovered:
    """What a journal still knows.

    Attributes:
        house: As the last sound event leaves it; None when nothing is known.
        differences: Events that this version would have decided otherwise. The orders that the journal holds
            have left all the same, so `house` may claim too little.
        damage: What is wrong with the file, one sentence each.
        lost: Events are missing at the end, so `house` is a claim about the past only.
    """

    house: House | None
    differences: tuple[Difference, ...] = ()
    damage: tuple[str, ...] = ()
    lost: bool = False


class Journal(Protocol):
    """Keeps every event and what it led to. Blocking: the shell calls it in its writer thread."""

    @property
    def wants_snapshot(self) -> bool:
        """Enough events have been written since the last snapshot: the next quiet moment is for another."""
        ...

    @property
    def needs_snapshot(self) -> bool:
        """Twice as many have been written: quiet or not."""
        ...

    def recover(self) -> Recovered:
        """Take the file and return what it knows: snapshot plus replayed tail. Called once, first.

        The damage it tells is told again at every start until the first `append` that follows, which should
        be the event that carries it to the house.

        Raises:
            LinkError: the file is another process's, or the disk refuses; nothing has been changed.
            ConfigError: the file is no journal, or one of a newer version.
        """
        ...

    def append(self, *happened: tuple[Event, Decisions]) -> None:
        """Write events in their sequence, all or none.

        Returns once they are written, and flushed to the disk when `grew` is set in any of the decisions.

        Raises:
            LinkError: the disk refused; nothing of these events is kept and no order may leave.
        """
        ...

    def snapshot(self, house: House, *, forced: bool = False) -> None:
        """Write and flush the whole house and drop the events that it makes unnecessary.

        Args:
            house: As it is now.
            forced: It is not what the events written so far lead to, because some could not be written:
                write it though no event is new. Without this, nothing is done when no event is new.

        Raises:
            LinkError: the disk refused; everything older still stands.
        """
        ...

    def close(self) -> None:
        """Flush and let go of the file."""
        ...
