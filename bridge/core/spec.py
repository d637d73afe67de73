"""What is built in the house, as plain values; `settings/` makes them from config/*.toml.

Nothing here moves or is learnt: that lives in `house.py`. Lengths in mm, times in seconds.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from math import ceil, floor

from bridge.core.shade.travel import Travel
from bridge.core.surroundings import Restraint, RuleChoice, Sensor, Site, Window
from bridge.core.values import BoardId, GroupId, Interval, ShadeId, Steps, SupplyId


class Mounting(StrEnum):
    """On which side of the glass the cloth hangs."""

    INTERIOR = "interior"
    EXTERIOR = "exterior"


@dataclass(frozen=True, slots=True, kw_only=True)
class ContractLink:
    """A two-way channel that speaks the board contract."""

    board: BoardId
    channel: int


class Unit(StrEnum):
    """In what a one-way board is told where to go."""

    STEPS = "steps"
    TURNS = "turns"
    PERCENT_OPEN = "percent open"
    PERCENT_CLOSED = "percent closed"


class PowerUp(StrEnum):
    """Where a one-way board takes its motor to be when it has got its power."""

    RETAINED_TARGET = "retained-target"
    ZERO = "zero"


@dataclass(frozen=True, slots=True, kw_only=True)
class AliveTopic:
    """Where a one-way board, or its will, says whether it is there.

    Attributes:
        topic: The topic.
        up: What it says while the board is there; None when any message but `gone` means that.
        gone: What it says once the board is not; None when only silence does.
        within_s: By so long after the board has lost its power or its network, the topic tells.
    """

    topic: str
    up: str | None
    gone: str | None
    within_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StopTopic:
    """Where a one-way board halts, and at what message."""

    topic: str
    payload: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OneWayLink:
    """A channel that obeys and never reports.

    Attributes:
        topic: Where it takes targets.
        unit: What the numbers there mean; 0 steps and 0 turns are at the upper limit, growing downward.
        decimals: How many of them a target is given.
        full_steps: Steps from 100 to 0 percent, as the board reckons; of no use to steps and turns.
        retained: Targets are published retained.
        power_up: What the board believes once it has got its power.
        latency_s: By so long the board may begin later than the broker passes a target on.
        rest_current: The motor keeps its current at rest.
        alive: Where it says whether it is there; None when nobody does.
        stop: Where it halts; None when it only knows targets.
    """

    topic: str
    unit: Unit
    decimals: int
    full_steps: Steps
    retained: bool
    power_up: PowerUp
    latency_s: float
    rest_current: bool
    alive: AliveTopic | None
    stop: StopTopic | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """An event that pins a position.

    Attributes:
        at_mm: The drop at which it happens; 0 at the upper limit, may be slightly negative above it.
        repeatability_mm: Half-width of where it really happens, > 0.
    """

    at_mm: float
    repeatability_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ShadeSpec:
    """One shade as built and as its owner trusts it.

    Attributes:
        id: Lower-case letters, digits and inner hyphens.
        name: What people call it.
        travel: Roll and drive: percent, mm and steps.
        mounting: Interior or exterior.
        link: How the bridge talks to its channel.
        top_pps: Top speed in steps a second.
        ramp_pps2: Acceleration in steps a second squared.
        tolerance_mm: Up to this width an estimate is `referenced`.
        doubtful_mm: Beyond this width it is `doubtful`.
        slip_per_move_mm: Half-width added by each move.
        slip_per_turn_mm: Half-width added by each tube turn travelled.
        scale_allowance: Relative error of the travelled distance once the drive is confirmed.
        unconfirmed_scale_allowance: The same before two references at different places have agreed.
        drive_confirmed: The owner has measured the drive, so the small allowance holds at once.
        overrun_mm: How far the hem bar can physically rise above the upper limit.
        unpowered_holds: Ranges of percent open in which the unpowered motor holds the cloth.
        local_button: A hand at its board, or a wind contact there, can move the shade without the bridge.
        upper_switch: Limit switch near the top, if there is one.
        lower_switch: Limit switch near the bottom, if there is one.
        upper_stall: The upper stop, where the owner says that stalling against it is safe.
        hand_repeatability_mm: Half-width of a person's confirmation at a mark.
        hold_s: How long the rules leave the shade alone after a person's request.
        refers_by_itself: In doubt, it may take a reference without being asked, outside quiet hours.
        supply: What feeds its motor; None when that is not told, so not reckoned with.
        moving_a: Amps drawn from the supply while it moves.
        standstill_a: Amps drawn while it stands still awake.
        window: The window that it hangs at; None when that is not told, so no rule knows sun on it.
        rules: The rules at work on it; of one rank the first comes first.
        in_service: The bridge may order it; False while somebody commissions or repairs it.
        ends: Every position that the hem bar can have: upper stop to the end of the cloth.
        held: The positions in which the unpowered motor holds, from the top down.
    """

    id: ShadeId
    name: str
    travel: Travel
    mounting: Mounting
    link: ContractLink | OneWayLink
    top_pps: int
    ramp_pps2: int
    tolerance_mm: float
    doubtful_mm: float
    slip_per_move_mm: float
    slip_per_turn_mm: float
    scale_allowance: float
    unconfirmed_scale_allowance: float
    drive_confirmed: bool
    overrun_mm: float
    unpowered_holds: tuple[tuple[float, float], ...]
    local_button: bool
    upper_switch: Reference | None
    lower_switch: Reference | None
    upper_stall: Reference | None
    hand_repeatability_mm: float
    hold_s: float
    refers_by_itself: bool = False
    supply: SupplyId | None = None
    moving_a: float = 0.0
    standstill_a: float = 0.0
    window: Window | None = None
    rules: tuple[RuleChoice, ...] = ()
    in_service: bool = True
    ends: Interval = field(init=False, repr=False, compare=False)
    held: tuple[Interval, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Derive once what is asked for many times in every event."""
        top = floor(self.travel.steps_at_drop(-self.overrun_mm))
        object.__setattr__(self, "ends", Interval(low=top, high=self.travel.end_steps))
        object.__setattr__(self, "held", tuple(sorted(self._held(), key=lambda each: each.low)))

    def _held(self) -> Iterator[Interval]:
        """Yield where the unpowered motor holds; what touches a limit reaches on to the end beyond it."""
        for from_pct, to_pct in self.unpowered_holds:
            below, above = sorted((from_pct, to_pct))
            low = self.ends.low if above >= 100 else ceil(self.travel.steps_at_percent(above))
            high = self.ends.high if below <= 0 else floor(self.travel.steps_at_percent(below))
            if low <= high:
                yield Interval(low=low, high=high)

    @property
    def contract(self) -> ContractLink:
        """The link of a shade whose board speaks the contract."""
        assert isinstance(self.link, ContractLink), f"{self.id} has a one-way link"
        return self.link

    @property
    def one_way(self) -> OneWayLink:
        """The link of a shade whose board only obeys."""
        assert isinstance(self.link, OneWayLink), f"{self.id} has a two-way link"
        return self.link


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplySpec:
    """One power supply.

    Attributes:
        id: Its name in the settings.
        amps: What its shades may draw from it together.
    """

    id: SupplyId
    amps: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupSpec:
    """Shades that people ask for together.

    Attributes:
        id: Its name in the settings.
        name: What people call it.
        members: At least one shade.
        level: Their upper limits have one height, and their hem bars keep level when all are asked.
    """

    id: GroupId
    name: str
    members: tuple[ShadeId, ...]
    level: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class HouseSpec:
    """The whole house as built.

    Attributes:
        name: What people call the house.
        shades: Every shade, in the order of the settings.
        board_wait_s: How long a request waits for a lost board before it expires.
        groups: Every group, in the order of the settings.
        supplies: Every supply, in the order of the settings.
        stagger_s: Least time between two starts in the first minute after power has returned to a board.
        site: Where it stands; None when that is not told, so no rule knows the sun.
        sensors: Every sensor, in the order of the settings.
        restraint: How sparingly the rules move shades.
        with_rules: Those that have rules, in that order; follows from `shades`, as the next two do.
        by_itself: Those that refer by themselves, in that order.
        on_channel: The shades on each channel of each board that reports.
        on_alive: The shades for whose boards each alive topic speaks.
        on_supply: The shades of each supply, in that order.
        amps: What each supply can give.
        in_groups: The groups of each shade that is in one.
    """

    name: str
    shades: tuple[ShadeSpec, ...]
    board_wait_s: float = 30.0
    groups: tuple[GroupSpec, ...] = ()
    supplies: tuple[SupplySpec, ...] = ()
    stagger_s: float = 1.0
    site: Site | None = None
    sensors: tuple[Sensor, ...] = ()
    restraint: Restraint = field(default_factory=Restraint)
    with_rules: tuple[ShadeId, ...] = field(init=False, compare=False, repr=False)
    by_itself: tuple[ShadeId, ...] = field(init=False, compare=False, repr=False)
    on_channel: Mapping[BoardId, Mapping[int, ShadeId]] = field(init=False, compare=False, repr=False)
    on_alive: Mapping[str, Sequence[ShadeId]] = field(init=False, compare=False, repr=False)
    on_supply: Mapping[SupplyId, Sequence[ShadeId]] = field(init=False, compare=False, repr=False)
    amps: Mapping[SupplyId, float] = field(init=False, compare=False, repr=False)
    in_groups: Mapping[ShadeId, Sequence[GroupId]] = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        """Find once what would else be looked for among all shades at every event."""
        channels: dict[BoardId, dict[int, ShadeId]] = {}
        alive: dict[str, list[ShadeId]] = {}
        supplied: dict[SupplyId, list[ShadeId]] = {}
        grouped: dict[ShadeId, list[GroupId]] = {}
        for group in self.groups:
            for member in group.members:
                grouped.setdefault(member, []).append(group.id)
        for shade in self.shades:
            if isinstance(shade.link, ContractLink):
                channels.setdefault(shade.link.board, {}).setdefault(shade.link.channel, shade.id)
            elif shade.link.alive is not None:
                alive.setdefault(shade.link.alive.topic, []).append(shade.id)
            if shade.supply is not None:
                supplied.setdefault(shade.supply, []).append(shade.id)
        object.__setattr__(self, "with_rules", tuple(each.id for each in self.shades if each.rules))
        object.__setattr__(self, "by_itself", tuple(each.id for each in self.shades if each.refers_by_itself))
        object.__setattr__(self, "on_channel", channels)
        object.__setattr__(self, "on_alive", alive)
        object.__setattr__(self, "on_supply", supplied)
        object.__setattr__(self, "in_groups", grouped)
        # The first of a name, as it always was; the settings refuse a second.
        object.__setattr__(self, "amps", {each.id: each.amps for each in reversed(self.supplies)})
