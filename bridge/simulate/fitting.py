"""How simulated boards and shades are built: plain values, from demo_house.py or a house file."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from bridge.core.contract import Sense
from bridge.core.spec import PowerUp, Unit
from bridge.simulate.build import Build


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitting:
    """One channel as built: a shade and what its board was told of it.

    Attributes:
        shade: What people call it.
        build: The shade as it really is.
        pulses_per_turn: What the board believes and reports; None when it does not say.
        record: Count in its flash when the board is new; None for a blank flash.
        stall: The motor board feels a stall.
        max_pps: Greatest speed that it accepts.
        max_ramp: Greatest acceleration that it accepts.
        dead_pps: Up to this speed a switch stops the motor at once; above it, it brakes and comes back.
        own_pps: Speed of its local button before any order.
        own_ramp: The same for its acceleration.
        progress_s: Seconds between two reports while moving.
        wired_backwards: Its motor raises the cloth where the board means to lower it.
    """

    shade: str
    build: Build
    pulses_per_turn: Fraction | None = None
    record: int | None = None
    stall: bool = False
    max_pps: int = 8000
    max_ramp: int = 40000
    dead_pps: int = 1000
    own_pps: int = 1000
    own_ramp: int = 2000
    progress_s: float = 0.3
    wired_backwards: bool = False

    def __post_init__(self) -> None:
        for name in ("max_pps", "max_ramp", "own_pps", "own_ramp", "progress_s"):
            if not getattr(self, name) > 0:
                raise ValueError(f"{name} is {getattr(self, name)}; it must be greater than 0")

    @property
    def senses(self) -> tuple[Sense, ...]:
        felt = {
            Sense.UPPER_SWITCH: self.build.upper_switch_mm is not None,
            Sense.LOWER_SWITCH: self.build.lower_switch_mm is not None,
            Sense.STALL: self.stall,
        }
        return tuple(sense for sense, there in felt.items() if there)


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardPlan:
    """One board as built; channels are numbered from 0 in their order."""

    id: str
    channels: tuple[Fitting, ...]

    def __post_init__(self) -> None:
        if not re.fullmatch(r"[a-z0-9](?:[a-z0-9-]{0,62}[a-z0-9])?", self.id):
            raise ValueError(f"id is {self.id!r}; it takes a-z, 0-9 and inner hyphens, 64 at most")
        if not self.channels:
            raise ValueError(f"board {self.id} has no channels; give it one at least")


@dataclass(frozen=True, slots=True, kw_only=True)
class OneWayPlan:
    """One board that obeys a topic and never reports.

    Attributes:
        id: Names its files and its client; nobody hears it otherwise.
        channels: Its one motor.
        topic: Where it takes targets.
        unit: What a target means.
        full_steps: Steps from 100 to 0 percent, for percent.
        power_up: What it believes once it has power.
        pps: Its speed.
        ramp: Its acceleration.
        delay_s: How late it begins to obey.
        rest_current: It leaves the motor's current on at rest.
        alive_topic: Where it says that it is there; None when it does not.
        alive_up: What it says there.
        alive_gone: Its will; None without one.
        beat_s: Seconds between two signs of life; None for one at each connection.
        stop_topic: Where it halts; None when it can't.
        stop_payload: At which words.
    """

    id: str
    channels: tuple[Fitting]
    topic: str
    unit: Unit
    full_steps: int
    power_up: PowerUp
    pps: int
    ramp: int
    delay_s: float = 0.0
    rest_current: bool = False
    alive_topic: str | None = None
    alive_up: str | None = None
    alive_gone: str | None = None
    beat_s: float | None = None
    stop_topic: str | None = None
    stop_payload: str | None = None

    def __post_init__(self) -> None:
        for name in ("full_steps", "pps", "ramp"):
            if not getattr(self, name) > 0:
                raise ValueError(f"{name} is {getattr(self, name)}; it must be greater than 0")
        if self.beat_s is not None and self.beat_s <= 0:
            raise ValueError(f"beat_s is {self.beat_s}; it must be greater than 0")


Plan = BoardPlan | OneWayPlan


@dataclass(frozen=True, slots=True, kw_only=True)
class HousePlan:
    """Every board of a house, and the seed of all that chance decides in it."""

    boards: tuple[BoardPlan, ...]
    seed: int = 1
    one_way: tuple[OneWayPlan, ...] = ()

    def __post_init__(self) -> None:
        ids = [board.id for board in self.boards] + [board.id for board in self.one_way]
        if len(set(ids)) < len(ids) or not ids:
            raise ValueError(f"board ids are {ids}; there must be one at least, and no two alike")
