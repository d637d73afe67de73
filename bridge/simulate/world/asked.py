"""One request as the ledger of a simulated house has it."""

from __future__ import annotations

from dataclasses import dataclass

from bridge.core.values import ShadeId


@dataclass(slots=True, kw_only=True)
class Asking:
    """One request in the ledger.

    Attributes:
        shade: Whose.
        asked_s: When it was accepted, or when something last gave it more time.
        fate: How it ended; None while it is open.
        ended_s: When.
        why: For what reason, in the words that people read.
    """

    shade: ShadeId
    asked_s: float
    fate: str | None = None
    ended_s: float = 0.0
    why: str = ""
