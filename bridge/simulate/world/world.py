"""One simulated house in virtual time: a heap of timed happenings, everything drawn from one seed."""

from __future__ import annotations

import hashlib
import heapq
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from itertools import count
from random import Random
from typing import Any

from bridge.core.events import Button, Percent, Press
from bridge.core.position.allowance import physical_range
from bridge.core.spec import ShadeSpec
from bridge.core.values import BoardId, ShadeId
from bridge.simulate.spiral import turns_for
from bridge.simulate.world.boards import SimBoard
from bridge.simulate.world.checks import Checks
from bridge.simulate.world.escape import Escape
from bridge.simulate.world.faults import KINDS, draw_menu
from bridge.simulate.world.figures import Figures
from bridge.simulate.world.network import LATENCY_S, SLOW_S, BoardSide, Broker, Line
from bridge.simulate.world.one_way_board import SimOneWayBoard
from bridge.simulate.world.one_way_side import OneWaySide
from bridge.simulate.world.people import People
from bridge.simulate.world.plan import Plan, draw_plan
from bridge.simulate.world.reckoned import serves
from bridge.simulate.world.recovery import in_conversation, in_time
from bridge.simulate.world.server import Server
from bridge.simulate.world.weather import Weather

DAY_S = 86400.0
# Once faults have ended: as long as the slowest recovery takes, then two requests that must end well.
CALM_S = 120.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """How a world is run.

    Attributes:
        seed: Decides everything.
        days: Simulated days.
        faults: Kinds to draw from; all by default.
        shades: How many; drawn when 0.
        one_way: How many more on boards that never report; drawn when None.
        wire: Every message goes through the bytes of the wire.
        progress_s: Seconds between progress reports that arrive.
        wishes: What people want of each shade a day.
        mishaps: Faults for each of these wishes, in a house of the common kind.
        trace: Keep the story.
        level: Some houses have a level group.
        careful: Every shade has a good upper switch and narrow allowances that hold.
    """

    seed: int
    days: float = 1.0
    faults: tuple[str, ...] = tuple(KINDS)
    shades: int = 0
    one_way: int | None = None
    wire: bool = False
    progress_s: float = 2.7
    wishes: float = 8.8
    mishaps: float = 0.16
    trace: bool = False
    level: bool = True
    careful: bool = False


class World:
    """Everything there is."""

    def __init__(self, options: Options, plan: Plan | None = None) -> None:
        self.options = options
        self.rng = Random(options.seed)
        self.now = 0.0
        self.heap: list[tuple[float, int, Callable[..., None], tuple[Any, ...]]] = []
        self.counter = 0
        self.trace: list[str] | None = [] if options.trace else None
        self.figures = Figures()
        self.plan = plan or draw_plan(
            self.rng,
            shades=options.shades,
            one_way=options.one_way,
            progress_s=options.progress_s,
            careful=options.careful,
            aside=Random(f"shared by the house of seed {options.seed}"),
            simple=Random(f"one-way boards of seed {options.seed}"),
            weather=Random(f"sensors of seed {options.seed}") if "sensor" in options.faults else None,
            row=Random(f"level groups of seed {options.seed}") if options.level else None,
        )
        self.menu = {}
        if options.faults:
            aside = Random(f"later kinds of seed {options.seed}")
            self.menu = draw_menu(self.rng, options.faults, aside=aside)
        self.rate = options.mishaps * self.rng.choice((0.2, 1.0, 1.0, 2.0))
        self.slow_until = self.repeat_until = -1.0
        self.disturbances = 0
        self.asks: Counter[ShadeId] = Counter()
        self.numbers = count(1)
        self.sides: dict[str, Line] = {}
        self.where: dict[ShadeId, tuple[Line, int]] = {}
        self.shade_at: dict[tuple[BoardId, int], ShadeId] = {}
        self.specs: dict[ShadeId, ShadeSpec] = {shade.id: shade for shade in self.plan.spec.shades}
        self._build_boards()
        self.broker = Broker(self)
        self.server = Server(self)
        self.checks = Checks(self)
        self.people = People(self)
        self.weather = Weather(self)
        alone = {name: _patience_s(spec) for name, spec in self.specs.items()}
        # On a supply everybody may have to wait for everybody else.
        everybody = sum(alone[name] for name, spec in self.specs.items() if spec.supply is not None)
        self.patience_s = {
            name: alone[name] if spec.supply is None else everybody for name, spec in self.specs.items()
        }
        for group in self.plan.spec.groups:
            # A bar that hangs further on waits until the front of the others comes by.
            row_s = sum(alone[name] for name in group.members) if group.level else 0.0
            self.patience_s |= {name: max(row_s, self.patience_s[name]) for name in group.members}

    def _build_boards(self) -> None:
        for board in self.plan.boards:
            sim = SimBoard(board, self.rng)
            sim.wire = self.options.wire
            # What a board says every 0.3 s and never arrives: numbered, not sent.
            sim.skipped = max(0, round(self.options.progress_s / 0.3) - 1)
            side = self.sides[board.id] = BoardSide(self, sim)
            for number, fitting in enumerate(board.channels):
                name = ShadeId(fitting.shade)
                self.where[name] = (side, number)
                self.shade_at[BoardId(board.id), number] = name
        for plan in self.plan.one_way:
            name = ShadeId(plan.channels[0].shade)
            mute = OneWaySide(self, SimOneWayBoard(plan, self.rng), self.specs[name])
            self.sides[plan.id] = mute
            self.where[name] = (mute, 0)
            self.shade_at[BoardId(plan.id), 0] = name

    # For everybody in it.

    def at(self, when_s: float, act: Callable[..., None], *args: Any) -> None:
        self.counter += 1
        heapq.heappush(self.heap, (when_s, self.counter, act, args))

    def note(self, *words: object) -> None:
        if self.trace is not None:
            self.trace.append(f"{self.now:.6f} " + " ".join(str(word) for word in words))

    def latency(self) -> float:
        return self.rng.uniform(*(SLOW_S if self.now < self.slow_until else LATENCY_S))

    def chance(self, kind: str) -> bool:
        return kind == "repeat" and self.now < self.repeat_until and self.rng.random() < 0.3

    def numbered(self) -> int:
        """Return a number that no message has had before."""
        return next(self.numbers)

    def contract_side(self, board: str) -> BoardSide:
        """Return a board that speaks the contract."""
        side = self.sides[board]
        assert isinstance(side, BoardSide)
        return side

    def any_moving(self) -> bool:
        return any(side.board.moving for side in self.sides.values())

    def shade_at_side(self, side: Line, number: int) -> ShadeId:
        return self.shade_at[BoardId(side.board.plan.id), number]

    def spec_at(self, side: Line, number: int) -> ShadeSpec:
        return self.specs[self.shade_at_side(side, number)]

    def turns_at(self, side: Line, number: int, drop_mm: float) -> float:
        """Return the true tube turns at a drop."""
        tube = side.board.channels[number].tube
        build, end = tube.build, tube.end_turns
        length = max(0.0, build.wound(end) - drop_mm)
        return end - turns_for(length, tube_mm=build.tube_mm, cloth_mm=build.cloth_mm)

    def blank(self, side: BoardSide) -> None:
        """Put a board without memory in place of the one that is off."""
        old = side.board
        # A board without memory counts its boots from anywhere, so as not to be taken for an older self.
        boot = self.rng.randrange(2**30)
        flash = {"boot": boot, "channels": {str(n): {} for n in range(len(old.channels))}}
        fresh = SimBoard(old.plan, self.rng, tubes=[each.tube for each in old.channels], flash=flash)
        fresh.wire, fresh.skipped = old.wire, old.skipped
        side.board = fresh

    # Its course.

    def run(self) -> Figures:
        """Live through the days, then through a calm end.

        Raises:
            Escape: an invariant is broken.
        """
        self.switch_on()
        for name in self.where:
            self.at(30 + self.rng.uniform(0, 60), self._wish_again, name)
        for quarter in range(1, round(8 * self.options.days)):
            self.at(quarter * DAY_S / 8, self.checks.sample, 1 + int(quarter / 8))
        self.at(60.0, self._minute)
        self.weather.begin()
        end = self.options.days * DAY_S
        self.live_until(end)
        self._calm_end()
        self.figures.shade_days = self.options.days * len(self.where)
        self.figures.one_way_days = self.options.days * len(self.plan.one_way)
        return self.figures

    def switch_on(self) -> None:
        """Boards and bridge come up, in any order."""
        for side in self.sides.values():
            self.at(self.now + self.rng.uniform(0, 5), side.power_up)
        self.at(self.now + self.rng.uniform(0, 5), self.server.start)

    def live_until(self, end_s: float) -> None:
        """Let everything happen that is due up to then."""
        heap = self.heap
        while heap and heap[0][0] <= end_s:
            self.now, _, act, args = heapq.heappop(heap)
            act(*args)
        self.now = end_s

    def _wish_again(self, name: ShadeId) -> None:
        if self.calm_from_now_on:
            return
        self.at(self.now + self.rng.expovariate(self.options.wishes / DAY_S), self._wish_again, name)
        self.people.wish(name)
        for _ in range(self._faults_now()):
            wait = self.rng.uniform(0, 3000) if self.rng.random() < 0.15 else self.rng.uniform(0.1, 4)
            self.at(self.now + wait, self._fault)

    def _faults_now(self) -> int:
        number, left = 0, self.rate if self.menu else 0.0
        while self.rng.random() < left:
            number += 1
            left *= 0.7
        return number

    def _fault(self) -> None:
        if not self.calm_from_now_on:
            kinds = list(self.menu)
            self.inject(self.rng.choices(kinds, [self.menu[each] for each in kinds])[0])

    def inject(self, kind: str) -> None:
        """Let something go wrong now."""
        self.disturbances += 1
        self.figures.fault(kind, moving=self.any_moving())
        self.note("fault", kind)
        KINDS[kind](self)

    calm_from_now_on = False

    def _minute(self) -> None:
        self.checks.patient()
        self.checks.cloth()
        self.at(self.now + 600.0, self._minute)

    def _calm_end(self) -> None:
        """Faults end; after a while every shade serves, or says what a person must do (I3, I10)."""
        self.calm_from_now_on = True
        self.server.dies = self.server.dies_anywhere = None
        self.server.disk_ok = True
        self.live_until(self.now + CALM_S)
        for side in self.sides.values():
            if not side.board.powered:
                side.power_up()
            if not side.wifi:
                side.wifi_back()
            for motor in side.board.channels:
                motor.tube.state.upper_stuck = None
        if not self.broker.up:
            self.broker.start()
        self.server.resume()
        in_conversation(self)
        self.live_until(self.now + CALM_S + 700 + self.weather.calm_down())
        if not self.server.running:
            self.server.start()
            self.live_until(self.now + CALM_S)
        house = self.server.house
        if house is not None and house.stood_down:
            self.server.die(power=False)
            self.server.start()
            self.live_until(self.now + CALM_S)
        for want in (Press(button=Button.UP), Percent(open_pct=50)):
            self._all_served(want)
        self.checks.cloth()

    def _all_served(self, want: Press | Percent) -> None:
        for name in self.where:
            before, asked_s = dict(self.checks.asked), self.now
            self.people.ask(name, want)
            self.live_until(self.now + self.patience_s[name])
            new = [each for number, each in self.checks.asked.items() if number not in before]
            mine = [each for each in new if each.shade == name]
            # The first is the person's; what follows is asked by rules.
            if not mine or mine[0].fate is None:
                raise Escape("I3", f"{name}: {want} has no end in calm")
            house = self.server.house
            assert house is not None
            if mine[0].fate == "superseded" and len(mine) > 1:
                continue
            in_time(self, mine[0], asked_s)
            if mine[0].fate != "reached":
                self._excused(name, mine[0].fate, want)
            elif not serves(house.shades[name]):
                raise Escape("I10", f"{name} is reached and not in conversation")

    def _excused(self, name: ShadeId, fate: str, want: Press | Percent) -> None:
        """A request that is not reached in calm must be one that a person has to help."""
        house = self.server.house
        assert house is not None
        shade = house.shades[name]
        if not serves(shade):
            raise Escape(
                "I10", f"{name}: not in conversation {self.patience_s[name]:.0f} s after the last fault"
            )
        if fate in ("refused", "failed"):
            self.figures.whys[f"calm end {fate}"] += 1
            return
        raise Escape("I10", f"{name}: {want} ended {fate} in calm")

    def digest(self) -> str:
        """Return a fingerprint of the whole story."""
        assert self.trace is not None
        return hashlib.sha256("\n".join(self.trace).encode()).hexdigest()


def _patience_s(spec: ShadeSpec) -> float:
    """Return how long a request may stay open: waits, a reference run at half speed, a move, with graces."""
    span = physical_range(spec).width
    return 2 * 30 + 2 * 10 + 1.5 * span / spec.top_pps * 3.5 + 60
