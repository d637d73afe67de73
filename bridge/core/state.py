"""Everything that the bridge holds in mind, as frozen values; only `house.py` makes new ones.

Monotonic seconds in here belong to the present run: `Started` clears or converts each of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from bridge.core.agenda import Agenda
from bridge.core.contract import Link, Order, Report
from bridge.core.events import Want
from bridge.core.kept import Kept
from bridge.core.position.estimate import Knowledge
from bridge.core.position.memory import Memory
from bridge.core.readings import Reading
from bridge.core.reckoning import Reckoning
from bridge.core.replacing import quick, replace
from bridge.core.rules.demand import Ruling
from bridge.core.spec import HouseSpec, ShadeSpec
from bridge.core.surroundings import SensorId
from bridge.core.values import BoardId, GroupId, Interval, Moment, Rank, ShadeId, Steps


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """What a board's link topic says.

    Attributes:
        link: None before it was heard in this session.
        boot: The boot that the board last named.
    """

    link: Link | None = None
    boot: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """The conversation with one channel in this session.

    Attributes:
        boot: The boot that orders are addressed to; a hint until `answered`.
        n: The newest report heard of in that boot, hints included.
        read: The newest that was evidence.
        answered: A report answered this session's own `tell`, so later ones are evidence.
        asked_seq: The `tell` that waits for its answer; None when none does.
        asked_at_s: When it was sent.
        asks: How many were sent since the last answer, for the retry delay.
        heard_at_s: When the last evidence came.
        report: The newest evidence; None before any in this session.
        bounds: The counts that the local button is kept within: those of the last `go` that the board is
            known to have acted on, and of all that have left since; None when it may have no bounds.
        bounds_boot: The boot that those bounds were sent to.
        stalls: Stalls that the board has told of in `boot`.
        left_moving: When it was last heard it was moving.
    """

    boot: int | None = None
    n: int = 0
    read: int = 0
    answered: bool = False
    asked_seq: int | None = None
    asked_at_s: float = 0.0
    asks: int = 0
    heard_at_s: float = 0.0
    report: Report | None = None
    bounds: Interval | None = None
    bounds_boot: int | None = None
    stalls: int = 0
    left_moving: bool = False


def bounds_in_force(channel: Channel, boot: int | None) -> Interval | None:
    """Return the counts that the local button is kept within in that boot; None without such bounds."""
    return channel.bounds if channel.bounds_boot == boot and boot is not None else None


def perhaps_bounded(channel: Channel, order: Order) -> Channel:
    """Return the conversation once a `go` has left: until the board has it, the bounds before may hold."""
    assert order.low is not None
    assert order.high is not None
    before = bounds_in_force(channel, order.boot)
    now = Interval(low=order.low, high=order.high)
    return unbounded(channel) if before is None else replace(channel, bounds=before.joined(now))


def bounded(channel: Channel, order: Order, report: Report) -> Channel:
    """Return the conversation after a report which may show that the board has acted on a `go`."""
    if order.low is None or order.high is None or order.boot != report.boot:
        return channel
    free = bounds_in_force(channel, order.boot) is None
    # Without bounds before, nothing but this order can have sent it to that count.
    if report.seq == order.seq or (free and report.seq > order.seq and report.to == order.to):
        now = Interval(low=order.low, high=order.high)
        return replace(channel, bounds=now, bounds_boot=order.boot)
    return channel


def unbounded(channel: Channel) -> Channel:
    """Return the conversation without the bounds of an order that is not the board's last one."""
    return replace(channel, bounds=None, bounds_boot=None)


class Purpose(StrEnum):
    """What a sent order is for."""

    MOVE = "move"
    STOP = "stop"
    REFERENCE = "reference"
    SLEEP = "sleep"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """The front that a shade of a level group moves along with.

    Attributes:
        from_mm: The drop at which it began.
        to_mm: The drop at which it ends.
        began_s: When it began.
        mmps: Its even speed, > 0.
        mmps2: Its acceleration and braking, > 0.
        begins_s: When it takes this shade along.
        looks_at_s: When the shade's speed is set anew; None when it is not any more.
        least_ramp: Steps/s^2 that a motion from before must still be able to brake with.
    """

    from_mm: float
    to_mm: float
    began_s: float
    mmps: float
    mmps2: float
    begins_s: float
    looks_at_s: float | None
    least_ramp: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """What makes a request one of a level group.

    Attributes:
        group: The group.
        refers: A reference run is worth it once the shade is up.
        pace: None while the members wait for each other.
    """

    group: GroupId
    refers: bool = False
    pace: Pace | None = None


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Outstanding:
    """The order that the board is about to obey or obeying.

    Attributes:
        order: As it was sent.
        purpose: What it is for.
        request: The request that it serves; None for the bridge's own.
        goal: The position that it leads to; None when that is not known before.
        began_steps: The middle of the estimate when it left.
        began: The estimate then.
        began_count: The board's count as last reported then; None when none was linked to a position.
        sent_at_s: When it left.
        heard: A report has shown that the board acts on it.
        braking: It ends a motion that the board may have begun.
        unheard: The board has been out of hearing since it left.
        pace: The front of a level group that it keeps up with.
    """

    order: Order
    purpose: Purpose
    request: int | None
    goal: Steps | None
    began_steps: Steps
    sent_at_s: float
    heard: bool = False
    braking: bool = False
    unheard: bool = False
    began: Interval | None = None
    began_count: Steps | None = None
    pace: Pace | None = None


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What somebody asked for and has not got yet.

    Attributes:
        id: Rises over the life of the house.
        want: As it was asked.
        rank: Who wins.
        source: Who asked, in words.
        goal: The position asked for; None for a stop.
        reference: A reference run comes first.
        target_pct: Percent open, as published; None for a stop.
        asked_at: When.
        deadline_s: Monotonic; by then something must have been heard of it, or it ends.
        queued: It waits for its supply to have amps to spare, and does not expire meanwhile.
        back_off: Its upper switch is closed already: before the reference run it is lowered a little.
        backed_off: That has been done for it.
        level: The level group that it is one of; None when the shade moves by itself.
        untold: Orders of it that its board has acted on without telling how that ended.
    """

    id: int
    want: Want
    rank: Rank
    source: str
    goal: Steps | None
    reference: bool
    target_pct: int | None
    asked_at: Moment
    deadline_s: float
    queued: bool = False
    back_off: bool = False
    backed_off: bool = False
    level: Level | None = None
    untold: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Shade:
    """One shade as the bridge sees it now.

    Attributes:
        spec: As built.
        knowledge: Where the hem bar may be.
        channel: The conversation with its channel.
        seq: The last order number used, never used again.
        began_seq: The last one that the journal held when this run began; `seq` then skips some.
        outstanding: The order in force, None when the board has nothing to do.
        request: The one request being served; a newer one replaces it.
        ordered_at_s: When the last motion order left, for the limit of four a second.
        target_pct: The last accepted target, kept after it is reached.
        hold_until: Rules rest until then; None without a hold.
        reason: Why the shade is where it is, or does what it does: one sentence.
        trouble: What went wrong last and still stands; "" when nothing.
        referred_at: When it last set out for a reference by itself.
        attended_until_s: A person is at the window for a hand reference: the motor stays awake until then.
        reckoning: What takes the place of a conversation on a one-way link.
        memory: What is remembered of it and has yet to be held against its board; None when nothing is.
        ruling: What the rules ask of it.
    """

    spec: ShadeSpec
    knowledge: Knowledge
    channel: Channel = field(default_factory=Channel)
    seq: int = 0
    began_seq: int = 0
    outstanding: Outstanding | None = None
    request: Request | None = None
    ordered_at_s: float | None = None
    target_pct: int | None = None
    hold_until: datetime | None = None
    reason: str = "nothing has been asked yet"
    trouble: str = ""
    attended_until_s: float | None = None
    referred_at: datetime | None = None
    reckoning: Reckoning = field(default_factory=Reckoning)
    memory: Memory | None = None
    ruling: Ruling = field(default_factory=Ruling)

    @property
    def id(self) -> ShadeId:
        """The shade's id."""
        return self.spec.id


@dataclass(frozen=True, slots=True, kw_only=True)
class House:
    """Everything.

    Attributes:
        spec: As built.
        now: The time of the last event.
        term: This bridge's claim; every order carries it.
        broker_up: The session with the broker stands.
        next_request: The id for the next request.
        shades: By id, in the order of the settings.
        boards: By id.
        reached_before: A session of this run has ended, so a higher claim was made since it began.
        reached_at_s: When the session with the broker was made.
        stood_down: Another bridge holds a higher term; nothing is ordered.
        paused: The rules rest until somebody ends that.
        locked: Service lock: no order at all leaves.
        started_at_s: When the last motion order left, for staggered starts.
        returned_at_s: When power last returned to a board.
        group_targets: The last percent accepted for each group.
        topics_heard: The mark of the last message on each topic whose retained messages count.
        readings: What is held of each sensor.
        looked_at: When all rules last looked, aware UTC; None before the first time in this run.
        agenda: Which shades want a look, and when; follows from all else and what was looked at.
    """

    spec: HouseSpec
    now: Moment
    term: int
    broker_up: bool
    next_request: int
    shades: Mapping[ShadeId, Shade]
    boards: Mapping[BoardId, Board]
    stood_down: bool = False
    reached_before: bool = False
    reached_at_s: float = 0.0
    paused: bool = False
    locked: bool = False
    started_at_s: float | None = None
    returned_at_s: float | None = None
    group_targets: Mapping[GroupId, int] = field(default_factory=dict)
    topics_heard: Mapping[str, str] = field(default_factory=dict)
    readings: Mapping[SensorId, Reading] = field(default_factory=dict)
    looked_at: datetime | None = None
    agenda: Agenda | None = field(default=None, compare=False, repr=False)


def kept(house: House) -> Kept[ShadeId, Shade]:
    """Return the shades of a house in what makes it cheap to change one; so they are once it has begun."""
    return house.shades if isinstance(house.shades, Kept) else Kept(house.shades)


def with_shade(house: House, shade: Shade) -> House:
    """Return the house with a shade in place of what it was; the house itself when it is the very same."""
    shades = kept(house)
    return house if shades[shade.id] is shade else replace(house, shades=shades.put(shade.id, shade))


def with_shades(house: House, shades: Iterable[Shade]) -> House:
    """Return the house with some shades in place of what they were."""
    for shade in shades:
        house = with_shade(house, shade)
    return house


def with_each(house: House, act: Callable[[Shade], Shade]) -> House:
    """Return the house with what `act` makes of each shade, in the order of the settings."""
    return replace(house, shades=kept(house).each(act))


def touched(before: House, after: House) -> Iterable[Shade]:
    """Return the shades of `after` that are not the very same in `before`; a shade taken out is none."""
    now, then = kept(after), kept(before)
    if now is then:
        return ()
    if now.has_same_keys(then):
        return [now.at(place) for place in now.differing(then)]
    return [shade for name, shade in now.items() if then.get(name) is not shade]
