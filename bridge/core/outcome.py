"""What `handle` hands back beside the next house: orders to send and notes to write.

The shell writes the journal first, then sends the orders in their sequence, then shows the new house.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from bridge.core.contract import Order
from bridge.core.replacing import quick
from bridge.core.values import BoardId, ShadeId

Field = str | int | float | bool | None


class Level(StrEnum):
    """How loud a note is: STYLE of the project's logs."""

    DEBUG = "debug"
    INFO = "info"
    WARNING = "warning"
    ERROR = "error"


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class SendOrder:
    """One order for one channel."""

    shade: ShadeId
    board: BoardId
    channel: int
    order: Order


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class SendTarget:
    """One target, or a halt, for a one-way board.

    Attributes:
        shade: Whose link says the topic and the spelling.
        value: The number, in the link's unit; None for the message on its stop topic.
        halts: It ends motion rather than begins one.
    """

    shade: ShadeId
    value: Fraction | None
    halts: bool


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """One line for the log and, when it is about a shade, for whoever watches it.

    Attributes:
        name: Fixed, `thing.part.past-tense`.
        level: How loud.
        shade: The shade it is about, or None.
        text: One sentence for people, or "" when the fields say it all.
        fields: What varies, as pairs, units in the names.
    """

    name: str
    level: Level
    shade: ShadeId | None = None
    text: str = ""
    fields: tuple[tuple[str, Field], ...] = ()


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Decisions:
    """What one event led to.

    Attributes:
        orders: To be sent in this sequence, after the journal holds event and orders.
        targets: What leaves for one-way boards, in this sequence, after the same write.
        notes: To be logged.
        grew: Some hull is not inside what it was, so the write is flushed before the orders leave.
    """

    orders: tuple[SendOrder, ...] = ()
    targets: tuple[SendTarget, ...] = ()
    notes: tuple[Note, ...] = ()
    grew: bool = False
