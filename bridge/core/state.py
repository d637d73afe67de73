"""Everything that the bridge holds in mind, as frozen values; `house.py` is the only place that makes new ones.

Monotonic seconds in here belong to the present run: `Started` clears or converts each of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from bridge.core.contract import Link, Order, Report
from bridge.core.events import Want
from bridge.core.position.estimate import Knowledge
from bridge.core.spec import HouseSpec, ShadeSpec
from bridge.core.values import BoardId, Moment, Rank, ShadeId, Steps


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """What a board's link topic says; `link` None before it was heard."""

    link: Link | None = None
    boot: int | None = None
    heard_live: bool = False
    lost_at_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """The conversation with one channel in this session.

    Attributes:
        boot: The boot that orders are addressed to; a hint until `answered`.
        n: The newest report read in that boot.
        answered: A report answered this session's own `tell`, so later ones are evidence.
        asked_seq: The `tell` that waits for its answer.
        asked_at_s: When it was sent.
        asks: How many were sent since the last answer, for the retry delay.
        report: The newest evidence; None before any.
    """

    boot: int | None = None
    n: int = 0
    answered: bool = False
    asked_seq: int | None = None
    asked_at_s: float = 0.0
    asks: int = 0
    report: Report | None = None


class Purpose(StrEnum):
    """What a sent order is for."""

    MOVE = "move"
    STOP = "stop"
    REFERENCE = "reference"
    OTHER = "other"


@dataclass(frozen=True, slots=True, kw_only=True)
class Outstanding:
    """The order that the board is about to obey or obeying."""

    order: Order
    purpose: Purpose
    request: int | None
    sent_at_s: float
    heard: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What somebody asked for and has not got yet.

    Attributes:
        id: Rises over the life of the house.
        want: As it was asked.
        rank: Who wins.
        source: Who asked, in words.
        goal: The position asked for; None for a reference run or a stop.
        target_pct: Percent open, as published in `$target`; None for a stop or a run from unknown.
        asked_at: When.
        deadline_s: Monotonic; by then something must have been heard of it, or it ends.
    """

    id: int
    want: Want
    rank: Rank
    source: str
    goal: Steps | None
    target_pct: int | None
    asked_at: Moment
    deadline_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Shade:
    """One shade as the bridge sees it now.

    Attributes:
        spec: As built.
        knowledge: Where the hem bar may be.
        channel: The conversation with its channel.
        seq: The last order number used, never used again.
        outstanding: The order in force, None when the board has nothing to do.
        request: The one request being served; a newer one replaces it.
        ordered_at_s: When the last motion order left, for the limit of four a second.
        target_pct: The last accepted target, kept after it is reached.
        hold_until: Rules rest until then; None without a hold.
        reason: Why the shade is where it is, or does what it does: one sentence.
        alert: What a person must do; "" when nothing.
    """

    spec: ShadeSpec
    knowledge: Knowledge
    channel: Channel = field(default_factory=Channel)
    seq: int = 0
    outstanding: Outstanding | None = None
    request: Request | None = None
    ordered_at_s: float = float("-inf")
    target_pct: int | None = None
    hold_until: datetime | None = None
    reason: str = "nothing has been asked yet"
    alert: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class House:
    """Everything. `now` is the time of the last event.

    Attributes:
        spec: As built.
        now: The time of the last event.
        term: This bridge's claim; every order carries it.
        broker_up: The session with the broker stands.
        next_request: The id for the next request.
        shades: By id, in the order of the settings.
        boards: By id.
        stood_down: Another bridge holds a higher term; nothing is ordered.
    """

    spec: HouseSpec
    now: Moment
    term: int
    broker_up: bool
    next_request: int
    shades: Mapping[ShadeId, Shade]
    boards: Mapping[BoardId, Board]
    stood_down: bool = False
