"""Everything that can happen to the house. Each event carries its own time; nothing else does.

The journal keeps these, and replaying them through `handle` gives the same house.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import Literal

from bridge.core.contract import Link, Report
from bridge.core.position.memory import Memory
from bridge.core.replacing import quick
from bridge.core.spec import HouseSpec
from bridge.core.surroundings import SensorId
from bridge.core.values import BoardId, GroupId, Moment, Rank, ShadeId


class Place(StrEnum):
    """Where a person confirms that the hem bar stands."""

    UPPER = "upper"
    LOWER = "lower"


class Button(StrEnum):
    """The three things that a wall switch can say."""

    UP = "up"
    STOP = "stop"
    DOWN = "down"


@dataclass(frozen=True, slots=True, kw_only=True)
class Percent:
    """Go to a percent open, 0 to 100."""

    open_pct: int
    kind: Literal["percent"] = "percent"


@dataclass(frozen=True, slots=True, kw_only=True)
class Nudge:
    """Go a little further: percent of the drop, positive raises, -100 to 100."""

    by_pct: int
    kind: Literal["nudge"] = "nudge"


@dataclass(frozen=True, slots=True, kw_only=True)
class Press:
    """Up, stop or down."""

    button: Button
    kind: Literal["press"] = "press"


@dataclass(frozen=True, slots=True, kw_only=True)
class Release:
    """End the hold: the rules may move the shade again."""

    kind: Literal["release"] = "release"


@dataclass(frozen=True, slots=True, kw_only=True)
class Approach:
    """Go near a limit, as near as is safe for what is known, and stay awake there for a hand reference."""

    place: Place
    kind: Literal["approach"] = "approach"


@dataclass(frozen=True, slots=True, kw_only=True)
class Refer:
    """Run to the upper end that the shade can feel, a reference, and back to where it was asked to be."""

    kind: Literal["refer"] = "refer"


Want = Percent | Nudge | Press | Release | Approach | Refer


@dataclass(frozen=True, slots=True, kw_only=True)
class Started:
    """A run of the bridge begins, with the settings it was given.

    `memory_lost`: the journal has lost rows that had been flushed, so what it says of
    positions is only the past.
    """

    at: Moment
    spec: HouseSpec
    memory_lost: bool = False
    kind: Literal["started"] = "started"


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokerReached:
    """The session with the broker stands, subscriptions included."""

    at: Moment
    kind: Literal["broker-reached"] = "broker-reached"


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokerLost:
    """The session with the broker is gone."""

    at: Moment
    kind: Literal["broker-lost"] = "broker-lost"


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class LinkHeard:
    """A board's link topic spoke; `retained` when the broker handed back an old message."""

    at: Moment
    board: BoardId
    link: Link
    boot: int | None
    retained: bool
    kind: Literal["link-heard"] = "link-heard"


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class ReportHeard:
    """A channel reported; `retained` when the broker handed back an old message."""

    at: Moment
    board: BoardId
    channel: int
    report: Report
    retained: bool
    kind: Literal["report-heard"] = "report-heard"


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class TargetHeard:
    """The broker passed on a message on a one-way board's topic: an echo of our own, or a stranger's.

    Attributes:
        shade: Whose board listens there.
        value: The number, in the link's unit; None when it can't be read as one.
        retained: The broker handed back an old message.
        halts: It is the board's word to halt, on its stop topic.
    """

    at: Moment
    shade: ShadeId
    value: Fraction | None
    retained: bool
    halts: bool = False
    kind: Literal["target-heard"] = "target-heard"


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class AliveHeard:
    """A one-way board's alive topic spoke; `said` is its first characters, as printable ASCII."""

    at: Moment
    topic: str
    said: str
    retained: bool
    kind: Literal["alive-heard"] = "alive-heard"


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingHeard:
    """A sensor spoke.

    Attributes:
        sensor: Its name in the settings.
        value: In its kind's unit; None when the message held no number.
        problem: Why there is none; "" when there is one.
    """

    at: Moment
    sensor: SensorId
    value: float | None
    problem: str = ""
    kind: Literal["reading-heard"] = "reading-heard"


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """Somebody asked for something; `source` is who, in words the owner reads."""

    at: Moment
    shade: ShadeId
    want: Want
    rank: Rank
    source: str
    kind: Literal["asked"] = "asked"


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupAsked:
    """Somebody asked for something of every shade of a group."""

    at: Moment
    group: GroupId
    want: Want
    rank: Rank
    source: str
    kind: Literal["group-asked"] = "group-asked"


@dataclass(frozen=True, slots=True, kw_only=True)
class TopicHeard:
    """A topic spoke whose retained messages count; `mark` stands for what it said.

    The broker hands the same message back at every connection; remembered, it asks for something only once.
    """

    at: Moment
    topic: str
    mark: str
    kind: Literal["topic-heard"] = "topic-heard"


class Switch(StrEnum):
    """What can be switched on and off for the whole house."""

    PAUSE = "pause"
    LOCK = "lock"


@dataclass(frozen=True, slots=True, kw_only=True)
class Switched:
    """Somebody switched the rules' pause or the service lock."""

    at: Moment
    switch: Switch
    on: bool
    source: str
    kind: Literal["switched"] = "switched"


@dataclass(frozen=True, slots=True, kw_only=True)
class Confirmed:
    """A person stands at the window and says that the hem bar is at this limit now."""

    at: Moment
    shade: ShadeId
    place: Place
    kind: Literal["confirmed"] = "confirmed"


@dataclass(frozen=True, slots=True, kw_only=True)
class ClaimHeard:
    """Another run of a bridge, or an older one of this, claims the house with `term`.

    A retained claim that a run finds at first was made before it and is outbid. A live one, or a higher one
    found later, is another bridge at work now.

    Attributes:
        term: What it claims.
        retained: The broker handed it back.
        ahead: In a tie of terms the other bridge goes first, by its name.
    """

    at: Moment
    term: int
    retained: bool
    ahead: bool = False
    kind: Literal["claim-heard"] = "claim-heard"


@dataclass(frozen=True, slots=True, kw_only=True)
class MemoryHeard:
    """The broker handed back what it remembers of a shade."""

    at: Moment
    shade: ShadeId
    memory: Memory
    kind: Literal["memory-heard"] = "memory-heard"


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingsChanged:
    """The owner has changed the settings while the bridge runs."""

    at: Moment
    spec: HouseSpec
    kind: Literal["settings-changed"] = "settings-changed"


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Ticked:
    """Time has passed and something was due."""

    at: Moment
    kind: Literal["ticked"] = "ticked"


Event = (
    Started
    | BrokerReached
    | BrokerLost
    | LinkHeard
    | ReportHeard
    | TargetHeard
    | AliveHeard
    | ReadingHeard
    | Asked
    | GroupAsked
    | TopicHeard
    | Switched
    | Confirmed
    | ClaimHeard
    | MemoryHeard
    | SettingsChanged
    | Ticked
)


def only_halts(event: Event) -> bool:
    """Say whether somebody asks for nothing but that motion ends: a stop, or the service lock."""
    if isinstance(event, Switched):
        return event.switch is Switch.LOCK and event.on
    if not isinstance(event, Asked | GroupAsked):
        return False
    return isinstance(event.want, Press) and event.want.button is Button.STOP
