"""What every face shows of a shade: one function, so that page, command line and broker tree agree."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from bridge.core.position.estimate import Grade
from bridge.core.state import Shade
from bridge.core.values import ShadeId


class Motion(StrEnum):
    """What the hem bar is doing, as far as the bridge knows."""

    STILL = "still"
    RAISING = "raising"
    LOWERING = "lowering"
    REFERENCING = "referencing"


class BoardState(StrEnum):
    """What is heard of the shade's board."""

    UNHEARD = "unheard"
    ASKED = "asked"
    UP = "up"
    LOST = "lost"
    OFF = "off"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True, kw_only=True)
class ShadeOutlook:
    """One shade as it is shown.

    Attributes:
        id: The shade.
        name: What people call it.
        position_pct: The aim in whole percent open, 0 and 100 only within tolerance of the limit;
            None when unknown.
        target_pct: The last accepted target; None before the first.
        low_pct: The most lowered that the hem bar may be, percent open, one decimal.
        high_pct: The most raised that it may be.
        width_mm: The width of the band at the hem bar.
        low_steps: The hull, in steps from the upper limit.
        high_steps: The hull, in steps from the upper limit.
        grade: How well it is known.
        motion: What it is doing.
        reason: One sentence.
        until: End of a hold, None without one.
        board: What is heard of its board.
        alert: What a person must do; "" when nothing.
    """

    id: ShadeId
    name: str
    position_pct: int | None
    target_pct: int | None
    low_pct: float
    high_pct: float
    width_mm: float
    low_steps: int
    high_steps: int
    grade: Grade
    motion: Motion
    reason: str
    until: datetime | None
    board: BoardState
    alert: str


def shade_outlook(shade: Shade, *, board: BoardState) -> ShadeOutlook:
    """Return what the faces show of `shade`."""
    raise NotImplementedError
