"""The words of the board contract, version 1: what a board reports and what it is ordered.

Plain values without a wire format; `adapters/links/contract.py` reads and writes the JSON.
Counts grow as cloth is lowered, like positions; what a count means is the bridge's business alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from bridge.core.replacing import quick
from bridge.core.values import Steps

VERSION = 1

# A board refuses an order whose `seen` lags its own `n` by more than this many reports: at two to four
# reports a second it is five to ten seconds old and belongs to another situation.
SEEN_LAG_MAX = 20

# What a board answers to an order that was addressed wrongly: addressed aright, the same order is obeyed.
ADDRESSING = ("boot", "seq", "stale", "term")


class Link(StrEnum):
    """What a board's own link topic says of it."""

    UP = "up"
    LOST = "lost"
    OFF = "off"


class Why(StrEnum):
    """Why a board sent a report."""

    BOOT = "boot"
    TOLD = "told"
    STARTED = "started"
    PROGRESS = "progress"
    ARRIVED = "arrived"
    STOPPED = "stopped"
    STALLED = "stalled"
    UPPER_SWITCH = "upper-switch"
    LOWER_SWITCH = "lower-switch"
    NOT_FOUND = "not-found"
    BUTTON = "button"
    WIND = "wind"
    REFUSED = "refused"


class Do(StrEnum):
    """What an order asks of a board."""

    TELL = "tell"
    GO = "go"
    STOP = "stop"
    SEEK = "seek"
    SLEEP = "sleep"
    WAKE = "wake"


class Then(StrEnum):
    """What the motor does once it has arrived."""

    SLEEP = "sleep"
    STAY = "stay"


class Toward(StrEnum):
    """Which limit a seek runs to."""

    UPPER = "upper"
    LOWER = "lower"


class Sense(StrEnum):
    """What a channel can feel by itself."""

    UPPER_SWITCH = "upper-switch"
    LOWER_SWITCH = "lower-switch"
    STALL = "stall"


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What one channel of a board said of itself.

    Attributes:
        boot: Power-ups counted in the board's flash.
        n: Rises by one per report within a boot and channel.
        count: The board's own step count; None when it has lost it.
        kept: Whether the count at power-up was a record written at rest after the last motion.
        moving: Steps are being sent to the motor.
        awake: The motor carries current.
        why: What made the board report.
        seq: The last order acted on; 0 before the first.
        to: Where the motor is going or has been sent, as a count; None when nowhere.
        answers: The seq of the `tell` that this report answers.
        senses: What the channel can feel.
        pulses_per_turn: Steps per tube turn as the board believes; None when it does not say.
        because: Why an order was refused.
        term: The highest term the board has seen; None from boards that do not say.
        kept_since: The count has been unbroken since this boot; None from boards that do not say.
        stalls: Stalls away from a reference in this boot, so that one unheard is not taken for a rest.
    """

    boot: int
    n: int
    count: Steps | None
    kept: bool
    moving: bool
    awake: bool
    why: Why
    seq: int
    to: Steps | None = None
    answers: int | None = None
    senses: tuple[Sense, ...] = ()
    pulses_per_turn: Fraction | None = None
    because: str | None = None
    term: int | None = None
    kept_since: int | None = None
    stalls: int = 0


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What the bridge tells one channel; fields that `do` has no use for are None.

    Attributes:
        term: The bridge's claim; boards refuse a lower one than they have seen.
        boot: The boot that the order is meant for.
        seq: Rises by one per order to a channel, across every restart of the bridge.
        seen: The newest report `n` that the bridge had read.
        do: What to do.
        to: `go`: the target, as a count.
        low: `go`: the least count that the channel may have, its local button included.
        high: `go`: the greatest.
        pps: `go`, `seek`: top speed in steps a second.
        ramp: `go`, `seek`, `stop`: acceleration in steps a second squared.
        then: `go`: what the motor does on arrival.
        toward: `seek`: the limit to run to.
        at_most: `seek`: the bound of the run in steps, > 0.
    """

    term: int
    boot: int
    seq: int
    seen: int
    do: Do
    to: Steps | None = None
    low: Steps | None = None
    high: Steps | None = None
    pps: int | None = None
    ramp: int | None = None
    then: Then | None = None
    toward: Toward | None = None
    at_most: Steps | None = None
