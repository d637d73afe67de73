"""Whatever happens to a house, in whatever order: the claim holds the truth and requests end once.

The machines drive `handle` against simulated boards; after every event the world checks its invariants. One
has a single shade, one three of which some hang in a row that is asked together and keeps level.
"""

from __future__ import annotations

from random import Random

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule

from bridge.core.events import Button, Nudge, Percent, Press, Want
from bridge.core.values import ShadeId
from bridge.simulate.world.level_plan import SHARE
from bridge.simulate.world.world import Options, World

# Those whose houses of three shades have a level group.
WITH_A_ROW = [seed for seed in range(1, 400) if Random(f"level groups of seed {seed}").random() < SHARE]


class HouseMachine(RuleBasedStateMachine):
    world: World

    @initialize(seed=st.integers(min_value=1, max_value=5000))
    def begin(self, seed: int) -> None:
        self.world = World(Options(seed=seed, faults=(), shades=1, progress_s=0.6))
        self.world.switch_on()
        self.world.live_until(30.0)

    def _name(self) -> ShadeId:
        return next(iter(self.world.where))

    @rule(pct=st.integers(min_value=0, max_value=100))
    def ask_percent(self, pct: int) -> None:
        self.world.people.ask(self._name(), Percent(open_pct=pct))

    @rule(by=st.integers(min_value=-100, max_value=100))
    def nudge(self, by: int) -> None:
        self.world.people.ask(self._name(), Nudge(by_pct=by))

    @rule(button=st.sampled_from(Button))
    def press_on_the_page(self, button: Button) -> None:
        self.world.people.ask(self._name(), Press(button=button))

    @rule()
    def use_the_button_at_the_board(self) -> None:
        side, number = self.world.where[self._name()]
        self.world.people.use_button(side, number)

    @rule()
    def take_power_from_the_board(self) -> None:
        self.world.where[self._name()][0].power_cut()

    @rule()
    def give_power_to_the_board(self) -> None:
        self.world.where[self._name()][0].power_up()

    @rule()
    def lose_the_network(self) -> None:
        side = self.world.where[self._name()][0]
        if side.wifi:
            side.wifi_lost()

    @rule()
    def find_the_network(self) -> None:
        side = self.world.where[self._name()][0]
        if not side.wifi:
            side.wifi_back()

    @rule(power=st.booleans())
    def end_the_bridge(self, power: bool) -> None:
        self.world.server.die(power=power)

    @rule()
    def start_the_bridge(self) -> None:
        self.world.server.start()

    @rule(kind=st.sampled_from(["kept", "lost", "old"]))
    def restart_the_broker(self, kind: str) -> None:
        self.world.broker.stop(kind)
        self.world.at(self.world.now + 1.0, self.world.broker.start)

    @rule(seconds=st.sampled_from([0.05, 0.3, 1.0, 3.0, 10.0, 60.0]))
    def wait(self, seconds: float) -> None:
        self.world.live_until(self.world.now + seconds)
        self.world.checks.cloth()
        self.world.checks.patient()


class RowMachine(HouseMachine):
    """Three shades, asked one by one and together; what befalls a board befalls the one last turned to."""

    chosen: int = 0

    @initialize(seed=st.sampled_from(WITH_A_ROW))
    def begin(self, seed: int) -> None:
        self.world = World(Options(seed=seed, faults=(), shades=3, one_way=0, progress_s=0.6))
        assert any(group.level for group in self.world.plan.spec.groups)
        self.world.switch_on()
        self.world.live_until(30.0)

    def _name(self) -> ShadeId:
        return list(self.world.where)[self.chosen]

    @rule(number=st.integers(min_value=0, max_value=2))
    def turn_to_another_shade(self, number: int) -> None:
        self.chosen = number

    def _ask(self, number: int, want: Want) -> None:
        groups = self.world.plan.spec.groups
        self.world.people.ask_group(groups[number % len(groups)], want)

    @rule(number=st.integers(0, 1), pct=st.sampled_from([0, 30, 70, 100]))
    def ask_all_for_a_percent(self, number: int, pct: int) -> None:
        self._ask(number, Percent(open_pct=pct))

    @rule(number=st.integers(0, 1), by=st.sampled_from([-40, -5, 5, 40]))
    def nudge_all(self, number: int, by: int) -> None:
        self._ask(number, Nudge(by_pct=by))

    @rule(number=st.integers(0, 1), button=st.sampled_from(Button))
    def press_for_all(self, number: int, button: Button) -> None:
        self._ask(number, Press(button=button))

    @rule()
    def raise_all_to_their_switches_and_ask_together(self) -> None:
        for name in self.world.where:
            self.world.people.ask(name, Press(button=Button.UP))
        self.world.live_until(self.world.now + 120.0)
        self._ask(1, Percent(open_pct=40))


HouseMachine.TestCase.settings = settings(max_examples=60, stateful_step_count=40)
TestHouse = HouseMachine.TestCase
RowMachine.TestCase.settings = settings(max_examples=60, stateful_step_count=40)
TestRow = RowMachine.TestCase
