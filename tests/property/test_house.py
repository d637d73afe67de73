"""Whatever happens to a house, in whatever order: the claim holds the truth and requests end once.

The machine drives `handle` against a simulated board; after every event the world checks its invariants.
"""

from __future__ import annotations

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule

from bridge.core.events import Button, Nudge, Percent, Press
from bridge.core.values import ShadeId
from bridge.simulate.world.world import Options, World


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


HouseMachine.TestCase.settings = settings(max_examples=60, stateful_step_count=40)
TestHouse = HouseMachine.TestCase
