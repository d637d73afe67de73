"""What the broker keeps for a board that never reports: no target given up, and not nothing in silence."""

from dataclasses import replace

import pytest

from bridge.core.events import Button, Nudge, Percent, Press
from bridge.core.outcome import Level
from bridge.core.position.estimate import Grade
from bridge.core.position.one_way import forgotten
from bridge.core.shade.units import count_of
from bridge.core.spec import OneWayLink, SupplySpec, Unit
from bridge.core.values import Interval, SupplyId
from tests.one_way_world import ALIVE, STOP, World, given_link, given_spec, settled_world

UP, STOP_NOW, DOWN = (Press(button=button) for button in (Button.UP, Button.STOP, Button.DOWN))


def halted(link: OneWayLink | None = None, *, after_s: float = 5.0, settles: bool = True) -> World:
    """A world whose shade was halted on its way down by its stop topic."""
    world = settled_world(link or given_link(stop=STOP, alive=ALIVE))
    world.ask(DOWN)
    world.run(after_s)
    world.ask(STOP_NOW)
    world.run(24.0 if settles else 0.2)
    return world


def kept(world: World) -> int:
    """Return the count that the broker keeps for the board."""
    found = world.board.count_of(world.retained["porch/target"])
    assert found is not None
    return found


def reconnected(world: World) -> World:
    """The board loses its network and comes back; what is retained comes first."""
    world.cut_off()
    world.run(20.0)
    world.connect()
    world.run(60.0)
    return world


class TestHalts:
    def test_a_halted_board_that_loses_its_network_does_not_go_on(self) -> None:
        world = halted()
        hung = world.true_mm
        reconnected(world)
        assert world.true_mm == pytest.approx(hung, abs=0.5)
        assert not world.board.moving

    def test_a_halted_board_that_loses_its_power_is_where_it_is_taken_to_be(self) -> None:
        world = halted()
        hung = world.true_mm
        world.power_cut()
        world.run(20.0)
        world.power_up()
        world.run(30.0)
        assert world.true_mm == pytest.approx(hung, abs=0.5)
        assert world.shade.reckoning.counts == Interval(low=kept(world), high=kept(world))

    def test_nothing_is_sent_behind_a_halt_before_the_board_is_vouched_for(self) -> None:
        """Cut on its way and back at once, it takes itself to be at the target that it was halted from."""
        world = settled_world(given_link(stop=STOP, alive=ALIVE))
        world.ask(DOWN)
        world.run(3.0)
        world.power_cut(told_after_s=9.0)
        world.power_up()
        hung = world.true_mm
        world.ask(STOP_NOW)
        world.run(8.0)
        assert world.true_mm == pytest.approx(hung, abs=0.5)

    @pytest.mark.parametrize("unit", list(Unit))
    def test_its_topic_holds_where_it_stands_in_every_unit(self, unit: Unit) -> None:
        world = halted(given_link(stop=STOP, alive=ALIVE, unit=unit, decimals=2))
        assert world.board.motor.count == pytest.approx(kept(world), abs=2)
        assert world.shade.reckoning.target == pytest.approx(kept(world), abs=1)

    def test_it_hardly_moves_for_that_and_is_known_the_better_for_it(self) -> None:
        world = halted(settles=False)
        world.run(0.95)  # it stands
        assert not world.board.motor.moving
        before = world.true_mm
        world.run(40.0)
        assert world.true_mm == pytest.approx(before, abs=world.spec.doubtful_mm)
        assert world.outlook.width_mm < 10
        assert world.fates()[-1] == "reached"

    def test_where_nothing_is_retained_nothing_is_sent(self) -> None:
        world = halted(given_link(stop=STOP, alive=ALIVE, retained=False))
        assert len([topic for topic, _ in world.published if topic == "porch/target"]) == 1

    def test_a_stranger_s_halt_leaves_no_target_behind_either(self) -> None:
        world = settled_world(given_link(stop=STOP, alive=ALIVE))
        world.ask(DOWN)
        world.run(5.0)
        world.publish("porch/halt", b"halt")
        world.run(24.0)
        hung = world.true_mm
        reconnected(world)
        assert world.true_mm == pytest.approx(hung, abs=0.5)

    def test_a_new_request_needs_no_such_target(self) -> None:
        world = halted(settles=False)
        world.run(0.5)
        world.ask(Percent(open_pct=60))
        world.run(40.0)
        assert world.true_pct == pytest.approx(60, abs=2)
        assert len([topic for topic, _ in world.published if topic == "porch/target"]) == 2

    def test_it_waits_for_its_supply(self) -> None:
        spec = replace(given_spec(given_link(stop=STOP, alive=ALIVE)), supply=SupplyId("attic"), moving_a=1.5)
        world = settled_world(spec=spec)
        assert world.house is not None
        world.ask(DOWN)
        world.run(5.0)
        world.ask(STOP_NOW)
        plain = world.house.spec
        weak = SupplySpec(id=SupplyId("attic"), amps=1.0)
        world.house = replace(world.house, spec=replace(plain, supplies=(weak,)))
        world.run(20.0)
        sent = [topic for topic, _ in world.published if topic == "porch/target"]
        assert len(sent) == 1
        world.house = replace(world.house, spec=plain)
        world.run(20.0)
        assert world.board.motor.count == kept(world)

    def test_where_the_clock_can_not_tell_its_place_it_is_left_and_people_are_told(self) -> None:
        world = settled_world(given_link(stop=STOP, alive=ALIVE))
        world.ask(DOWN)
        world.run(3.0)
        world.kill()
        world.run(1.0)
        world.start()
        world.run(2.0)
        world.ask(STOP_NOW)
        world.run(20.0)
        assert len([topic for topic, _ in world.published if topic == "porch/target"]) == 1
        assert world.texts("shade.halt.unsettled") == [world.shade.trouble]
        assert world.shade.trouble == (
            "it was halted, and porch/target still holds the target that it was halted from: it goes on "
            "there when its board has lost its network; ask it for a place to end that"
        )

    def test_a_halt_on_a_way_from_nobody_knows_where_sends_it_nowhere(self) -> None:
        world = settled_world(given_link(stop=STOP, alive=ALIVE))
        world.ask(DOWN)
        world.kill()
        world.run(1.0)
        world.forget_session()  # whether the board has been told to go down is not heard any more
        world.start()
        world.run(30.0)
        assert world.shade.reckoning.counts is not None
        assert world.shade.reckoning.counts.width > 10_000
        world.ask(Nudge(by_pct=5))
        world.run(3.0)
        world.ask(STOP_NOW)
        world.run(2.0)
        hung = world.true_mm
        assert hung > 500
        world.run(40.0)
        assert world.true_mm == pytest.approx(hung, abs=0.5)
        assert world.texts("shade.halt.unsettled") == [world.shade.trouble]

    def test_a_way_from_where_the_clock_has_a_halted_board_is_timed_from_there(self) -> None:
        world = halted(settles=False)
        world.run(2.0)
        world.ask(UP)
        world.run(2.0)
        world.ask(STOP_NOW)
        world.run(2.0)
        hung = world.true_mm
        world.run(40.0)
        assert world.true_mm == pytest.approx(hung, abs=world.spec.doubtful_mm)
        assert world.board.motor.count == kept(world)

    def test_a_broker_that_is_lost_before_that_may_send_it_on(self) -> None:
        world = halted(settles=False)
        world.run(0.3)
        world.lose()
        world.board_there = False
        world.run(4.0)
        world.connect()
        world.reach()
        world.run(40.0)
        low, high = world.claim_mm()
        assert low <= world.true_mm <= high
        assert high > 1700


class TestForgotten:
    def empty(self, pct: int = 40) -> World:
        """A world whose broker restarts and has forgotten the target that it kept."""
        world = settled_world(given_link(alive=ALIVE))
        world.ask(Percent(open_pct=pct))
        world.run(40.0)
        world.lose()
        world.board_there = False
        world.retained.clear()
        return world

    def test_people_are_told_and_the_grade_says_so(self) -> None:
        world = self.empty()
        world.connect()
        world.reach()
        world.run(10.0)
        (note,) = [note for note in world.notes if note.name == "board.target.forgotten"]
        assert note.level is Level.ERROR
        assert note.text == world.shade.trouble
        assert note.text.startswith("the broker has lost the target that it kept on porch/target; let it")
        assert "confirm `upper`" in note.text
        assert world.outlook.grade is Grade.DOUBTFUL

    def test_a_board_that_was_without_power_is_claimed_wherever_it_then_goes(self) -> None:
        world = self.empty()
        world.power_cut()
        world.run(5.0)
        world.power_up()
        world.reach()
        world.run(10.0)
        world.ask(Percent(open_pct=90))
        world.run(40.0)  # the claim is checked at every step

    @pytest.mark.parametrize("powered", [True, False])
    def test_up_leads_nowhere_but_up_and_a_confirmation_ends_the_doubt(self, powered: bool) -> None:
        world = self.empty()
        if not powered:
            world.power_cut()
            world.run(5.0)
            world.power_up()
        else:
            world.connect()
        world.reach()
        world.run(10.0)
        world.ask(UP)
        world.run(40.0)
        assert world.shade.reckoning.counts == Interval(low=0, high=0)
        assert world.board.motor.count == 0
        assert -5 < world.true_mm < 1090, "it is not run against its stop, nor down"
        if powered:
            assert world.true_mm == pytest.approx(0, abs=5)
            world.confirm()
            assert world.outlook.grade is not Grade.DOUBTFUL

    def test_where_no_count_leads_up_safely_its_board_has_to_be_switched_off_and_on(self) -> None:
        world = settled_world(given_link(alive=ALIVE))
        world.ask(Percent(open_pct=20))
        world.run(40.0)
        base = world.shade.knowledge.base
        assert base is not None
        hull = Interval(low=0, high=10)  # a person has rolled it up, and confirmed it there
        far = replace(world.shade.knowledge, base=base.shifted(-40_000), hull=hull)
        known, reckoning = forgotten(world.spec, far, world.shade.reckoning)
        assert (known.base, reckoning.counts) == (None, None)
        assert known.hull.contains(hull)

    def test_nothing_is_ordered_before_the_broker_has_had_time_to_hand_it_back(self) -> None:
        world = self.empty()
        world.connect()
        world.reach()
        world.ask(Percent(open_pct=90))
        world.run(5.0)
        assert world.retained.get("porch/target") is None
        assert world.shade.request is not None

    def test_what_is_handed_back_is_not_missed(self) -> None:
        world = settled_world(given_link(alive=ALIVE))
        world.ask(Percent(open_pct=40))
        world.run(40.0)
        world.lose()
        world.run(5.0)
        world.reach()
        world.run(20.0)
        assert world.texts("board.target.forgotten") == []

    def test_it_is_kept_again_where_that_can_hardly_move_it(self) -> None:
        world = self.empty(pct=100)
        world.connect()
        world.reach()
        world.run(30.0)
        value = world.shade.reckoning.value
        assert value is not None
        assert count_of(world.spec, value) == kept(world)
        assert world.outlook.grade is not Grade.DOUBTFUL

    def test_a_board_that_was_never_told_anything_misses_nothing(self) -> None:
        world = settled_world(given_link(alive=ALIVE))
        world.lose()
        world.run(5.0)
        world.reach()
        world.run(20.0)
        assert world.texts("board.target.forgotten") == []
