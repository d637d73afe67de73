"""The few things that the shell needs from the outside, as Protocols; adapters fulfil them, tests fake them."""

from __future__ import annotations

from typing import Protocol

from bridge.core.events import Event
from bridge.core.outcome import Decisions
from bridge.core.state import House


class Journal(Protocol):
    """Keeps every event and what it led to. Blocking: the shell calls it in its writer thread."""

    def recover(self) -> House | None:
        """Return the house as the journal leaves it: snapshot plus replayed tail; None when empty.

        Raises:
            BridgeError: the file can't be read and nothing older can be trusted either.
        """
        ...

    def append(self, event: Event, decisions: Decisions) -> None:
        """Write one event; return once it is written, and flushed to the disk when `decisions.grew`.

        Raises:
            LinkError: the disk refused; nothing of this event is kept and no order may leave.
        """
        ...

    def snapshot(self, house: House) -> None:
        """Write the whole house and drop the events that it makes unnecessary."""
        ...

    def close(self) -> None:
        """Flush and let go of the file."""
        ...
