"""Amps shared out by rank, starts spread after power has returned, the time to raise everything."""

from dataclasses import replace
from math import inf

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.core.command.supply import RESTLESS_S, draw_a, drawn_a, due_s, queue, raise_s, worst_raise_s
from bridge.core.contract import Link, Why
from bridge.core.dues import caught_up
from bridge.core.events import (
    BrokerLost,
    BrokerReached,
    Button,
    ClaimHeard,
    Press,
    ReportHeard,
    Started,
    Ticked,
)
from bridge.core.shade.profile import move_profile
from bridge.core.spec import HouseSpec, Mounting, Reference, ShadeSpec, SupplySpec
from bridge.core.values import Rank, ShadeId, SupplyId
from tests.scene import Scene, house_spec, on_supply, shade_spec

UP, STOP = Press(button=Button.UP), Press(button=Button.STOP)
ATTIC = SupplyId("attic")


def two_on_two_amps() -> Scene:
    return Scene(house_spec(on_supply("one"), on_supply("two"), amps=2.0)).begin()


def moving(scene: Scene) -> set[str]:
    return {name for name, board in scene.boards.items() if board.moving}


def queued(scene: Scene) -> list[str]:
    assert scene.house is not None
    return [shade.id for shade in queue(scene.house, range(len(scene.house.shades)))]


class TestAmps:
    def test_two_shades_that_exceed_their_supply_move_one_after_the_other(self) -> None:
        scene = two_on_two_amps()
        scene.ask_all(40)
        assert moving(scene) == {"one"}
        assert scene.shade("two").reason == (
            "40 % asked by a test; "
            "it waits until its supply has amps to spare, or for its turn after a power cut"
        )
        scene.run(60)
        assert [name for _, name in scene.starts] == ["one", "two"]
        assert scene.ends() == [("one", "reached"), ("two", "reached")]
        assert scene.worst_a == {"attic": 1.5}

    def test_two_shades_that_fit_start_together(self) -> None:
        scene = Scene(house_spec(on_supply("one"), on_supply("two"), amps=3.0)).begin()
        scene.ask_all(40)
        assert moving(scene) == {"one", "two"}

    def test_a_sum_that_is_exactly_the_supply_fits_though_its_digits_do_not_add_up(self) -> None:
        scene = Scene(house_spec(on_supply("one", 0.1), on_supply("two", 0.2), amps=0.3)).begin()
        scene.ask_all(40)
        assert moving(scene) == {"one", "two"}

    def test_shades_on_other_supplies_or_none_do_not_wait(self) -> None:
        spec = house_spec(on_supply("one"), on_supply("two", supply="cellar"), shade_spec("three"), amps=2.0)
        spec = replace(spec, supplies=(*spec.supplies, SupplySpec(id=SupplyId("cellar"), amps=2.0)))
        scene = Scene(spec).begin()
        scene.ask_all(40)
        assert moving(scene) == {"one", "two", "three"}

    def test_current_at_rest_counts_too(self) -> None:
        awake = replace(on_supply("one", standstill_a=0.6), unpowered_holds=())
        scene = Scene(house_spec(awake, on_supply("two", 1.5), amps=2.0)).begin()
        assert scene.boards["one"].awake
        scene.ask("two", 40)
        assert queued(scene) == ["two"]
        assert scene.house is not None
        assert drawn_a(scene.house.shades.values(), ATTIC, scene.now_s) == 0.6

    def test_a_retarget_of_a_moving_shade_never_waits(self) -> None:
        scene = two_on_two_amps()
        scene.ask_all(40)
        scene.run(1)
        scene.ask("one", 70)
        assert queued(scene) == ["two"]
        scene.run(60)
        assert scene.shade("one").spec.travel.percent_at_steps(scene.shade("one").knowledge.hull.middle) == (
            pytest.approx(70, abs=1)
        )

    def test_two_that_become_free_at_the_same_tick_do_not_both_start(self) -> None:
        scene = two_on_two_amps()
        for name in scene.boards:
            scene.ask(name, 40)
            scene.ask(name, STOP)
        scene.starts.clear()
        scene.ask_all(60)
        scene.run(0.3)
        assert moving(scene) == {"one"}
        assert scene.worst_a == {"attic": 1.5}

    def test_a_stop_right_behind_an_order_still_holds_the_amps(self) -> None:
        scene = two_on_two_amps()
        scene.boards["one"].heard = False  # what it does now is not told
        scene.ask("one", 40)
        scene.ask("one", STOP)
        scene.ask("two", 40)
        assert queued(scene) == ["two"]

    def test_a_stop_at_rest_takes_no_amps(self) -> None:
        scene = two_on_two_amps()
        scene.boards["one"].heard = False
        scene.ask("one", STOP)
        scene.ask("two", 40)
        assert moving(scene) == {"two"}

    def test_a_shade_never_heard_of_may_stand_awake(self) -> None:
        scene = Scene(house_spec(on_supply("one", standstill_a=0.5), amps=2.0))
        scene.event(Started(at=scene.at, spec=scene.spec))
        assert draw_a(scene.shade("one"), scene.now_s) == 0.5


class TestQueue:
    def test_the_higher_rank_comes_first_and_then_the_older_request(self) -> None:
        scene = Scene(house_spec(*(on_supply(name) for name in ("one", "two", "three", "four")), amps=2.0))
        scene.begin()
        scene.ask("one", 40)
        scene.ask("two", 40)
        scene.ask("three", 40)
        scene.ask("four", 40, Rank.WIND)
        assert queued(scene) == ["four", "two", "three"]
        scene.run(120)
        assert [name for _, name in scene.starts] == ["one", "four", "two", "three"]
        assert scene.worst_a == {"attic": 1.5}

    def test_one_that_needs_little_does_not_pass_one_that_needs_much(self) -> None:
        small, other = on_supply("small", 0.5), on_supply("other", 0.5)
        scene = Scene(house_spec(on_supply("big", 2.0), small, other, amps=2.0)).begin()
        scene.ask("small", 40)
        scene.ask("big", 40)
        scene.ask("other", 40)
        assert queued(scene) == ["big", "other"]
        scene.run(120)
        assert [name for _, name in scene.starts] == ["small", "big", "other"]

    def test_a_higher_rank_may_pass_it(self) -> None:
        small, other = on_supply("small", 0.5), on_supply("other", 0.5)
        scene = Scene(house_spec(on_supply("big", 2.0), small, other, amps=2.0)).begin()
        scene.ask("small", 40)
        scene.ask("big", 40)
        scene.ask("other", 40, Rank.WIND)
        assert moving(scene) == {"small", "other"}

    def test_a_request_in_the_queue_does_not_expire(self) -> None:
        scene = two_on_two_amps()
        scene.boards["one"].pace = 20.0
        scene.ask_all(40)
        scene.run(100)
        assert queued(scene) == ["two"]
        assert scene.ends() == []
        scene.run(200)
        assert scene.ends() == [("one", "reached"), ("two", "reached")]

    def test_a_newer_request_takes_the_place_of_one_in_the_queue(self) -> None:
        scene = two_on_two_amps()
        scene.ask_all(40)
        scene.ask("two", 60)
        assert scene.ends() == [("two", "superseded")]
        assert queued(scene) == ["two"]
        scene.run(60)
        assert scene.ends()[1:] == [("one", "reached"), ("two", "reached")]

    def test_a_request_taken_up_within_the_quarter_second_is_not_forgotten(self) -> None:
        scene = two_on_two_amps()
        scene.ask("two", 40)
        scene.ask("two", STOP)
        scene.ask("one", 40)
        scene.ask("two", 60)
        scene.run(60)
        assert scene.ends()[-1] == ("two", "reached")

    def test_one_whose_board_is_lost_gets_the_usual_time_and_ends(self) -> None:
        scene = two_on_two_amps()
        scene.boards["one"].pace = 20.0
        scene.ask_all(40)
        scene.link("two", Link.LOST)
        scene.run(31)
        assert ("two", "expired") in scene.ends()

    def test_one_whose_board_falls_silent_ends_too(self) -> None:
        scene = two_on_two_amps()
        scene.boards["one"].pace = 20.0
        scene.ask_all(40)
        board = scene.boards["two"]
        board.heard = False
        report = replace(board.report(Why.BOOT), boot=board.boot + 1)
        name = board.spec.contract.board
        scene.event(ReportHeard(at=scene.at, board=name, channel=0, report=report, retained=False))
        assert queued(scene) == []
        scene.run(31)
        assert ("two", "expired") in scene.ends()

    def test_it_ends_when_another_bridge_is_in_charge(self) -> None:
        scene = two_on_two_amps()
        scene.ask_all(40)
        assert scene.house is not None
        scene.event(ClaimHeard(at=scene.at, term=scene.house.term + 1, retained=False))
        assert queued(scene) == []
        scene.run(40)
        assert "two" in dict(scene.ends())

    def test_it_waits_for_the_broker_like_any_other(self) -> None:
        scene = two_on_two_amps()
        scene.ask_all(40)
        scene.event(BrokerLost(at=scene.at))
        assert queued(scene) == []
        scene.run(10)
        scene.event(BrokerReached(at=scene.at))
        for name in scene.boards:
            scene.link(name, Link.UP)
        scene.run(60)
        assert scene.ends() == [("one", "reached"), ("two", "reached")]
        assert scene.worst_a == {"attic": 1.5}

    def test_amps_that_a_lost_board_may_be_drawing_come_free_once_its_move_must_be_over(self) -> None:
        scene = two_on_two_amps()
        scene.ask_all(40)
        scene.link("one", Link.LOST)
        scene.run(10)
        assert queued(scene) == ["two"]
        scene.run(50)
        assert ("two", "reached") in scene.ends()
        assert scene.worst_a == {"attic": 1.5}


class TestStagger:
    @staticmethod
    def after_a_power_cut(stagger_s: float = 2.0) -> Scene:
        scene = Scene(house_spec(*map(shade_spec, ("one", "two", "three")), stagger_s=stagger_s)).begin()
        for name, board in scene.boards.items():
            scene.tell(name, board.reboot())
        return scene

    def test_starts_are_apart_in_the_minute_after_power_has_returned(self) -> None:
        scene = self.after_a_power_cut()
        scene.ask_all(40)
        scene.run(60)
        times = [at_s - scene.starts[0][0] for at_s, _ in scene.starts]
        assert times == pytest.approx([0.0, 2.0, 4.0], abs=0.01)
        assert [fate for _, fate in scene.ends()] == ["reached"] * 3

    def test_a_minute_later_they_start_together(self) -> None:
        scene = self.after_a_power_cut()
        scene.run(RESTLESS_S)
        scene.ask_all(40)
        assert len(scene.starts) == 3

    def test_those_still_waiting_when_the_minute_is_over_start(self) -> None:
        scene = self.after_a_power_cut(stagger_s=50.0)
        scene.run(20)
        scene.ask_all(40)
        scene.run(45)
        assert len(scene.starts) == 3

    def test_a_moving_shade_is_retargeted_at_once(self) -> None:
        scene = self.after_a_power_cut()
        scene.ask("one", 40)
        scene.run(0.5)
        scene.ask("one", 60)
        assert queued(scene) == []

    def test_nothing_is_due_while_nobody_waits(self) -> None:
        scene = self.after_a_power_cut()
        assert scene.house is not None
        assert due_s(scene.house, caught_up(None, scene.house, scene.house.now)) is None

    def test_waiting_for_amps_alone_makes_no_ticks(self) -> None:
        scene = two_on_two_amps()
        scene.tell("two", scene.boards["two"].reboot())
        scene.ask_all(40)
        scene.run(3)
        assert queued(scene) == ["two"]
        assert scene.house is not None
        assert due_s(scene.house, caught_up(None, scene.house, scene.house.now)) is None
        assert scene.event(Ticked(at=scene.at)).orders == ()


def raising(*shades: ShadeSpec, amps: float, stagger_s: float = 0.0) -> HouseSpec:
    return house_spec(*shades, amps=amps, stagger_s=stagger_s)


class TestWorstRaise:
    # 800 * 57/11 pulses a turn; the travel takes steps / 3000 pps + 1 s of ramps (area of a trapezoid).
    FULL_S = shade_spec("one").travel.lower_steps / 3000 + 1.0
    PLAIN = staticmethod(
        lambda name, amps=1.5, stand=0.0: replace(on_supply(name, amps, stand), upper_switch=None)
    )

    def test_one_travel_is_steps_over_speed_and_the_ramps(self) -> None:
        assert raise_s(self.PLAIN("one")) == pytest.approx(self.FULL_S)

    def test_one_that_can_feel_its_top_is_reckoned_at_the_speed_of_its_search(self) -> None:
        switch = Reference(at_mm=-4.0, repeatability_mm=1.0)
        slow = replace(self.PLAIN("one"), upper_switch=switch)
        stall = replace(self.PLAIN("one"), upper_stall=switch)
        assert raise_s(slow) > raise_s(self.PLAIN("one"))
        steps = stall.travel.lower_steps
        half = move_profile(steps=steps, top_pps=1500, ramp_pps2=3000).duration_s
        # And 4 mm back from it.
        assert half < raise_s(stall) < half + 0.5

    def test_those_that_do_not_fit_together_take_one_time_after_the_other(self) -> None:
        shades = [self.PLAIN(name) for name in ("one", "two", "three")]
        assert worst_raise_s(raising(*shades, amps=1.5)) == pytest.approx(3 * self.FULL_S)
        assert worst_raise_s(raising(*shades, amps=3.0)) == pytest.approx(2 * self.FULL_S)
        assert worst_raise_s(raising(*shades, amps=4.5)) == pytest.approx(self.FULL_S)

    def test_staggered_starts_are_in_it(self) -> None:
        shades = [self.PLAIN(name) for name in ("one", "two", "three")]
        assert worst_raise_s(raising(*shades, amps=4.5, stagger_s=2.0)) == pytest.approx(self.FULL_S + 4.0)
        slow = raising(*shades, amps=4.5, stagger_s=40.0)
        assert worst_raise_s(slow) == pytest.approx(self.FULL_S + 80.0)

    def test_interior_shades_are_not_waited_for_but_their_standing_current_is(self) -> None:
        inside = replace(self.PLAIN("inside", 1.5, 0.6), mounting=Mounting.INTERIOR)
        assert worst_raise_s(raising(self.PLAIN("one"), inside, amps=2.1)) == pytest.approx(self.FULL_S)
        assert worst_raise_s(raising(self.PLAIN("one"), inside, amps=2.0)) == inf
        assert worst_raise_s(raising(inside, amps=2.0)) == 0.0

    def test_a_shade_without_a_supply_waits_for_nobody(self) -> None:
        free = replace(shade_spec("free"), upper_switch=None)
        assert worst_raise_s(raising(self.PLAIN("one"), free, amps=1.5)) == pytest.approx(self.FULL_S)

    def test_a_blocked_supply_holds_no_other(self) -> None:
        spec = raising(
            self.PLAIN("one"),
            self.PLAIN("two"),
            self.PLAIN("three"),
            on_supply("four", supply="cellar"),
            amps=1.5,
        )
        four = replace(spec.shades[3], upper_switch=None)
        spec = replace(
            spec,
            shades=(*spec.shades[:3], four),
            supplies=(*spec.supplies, SupplySpec(id=SupplyId("cellar"), amps=1.5)),
        )
        assert worst_raise_s(spec) == pytest.approx(3 * self.FULL_S)

    @settings(max_examples=12)
    @given(
        st.lists(st.tuples(st.floats(0.5, 2.0), st.floats(0.0, 0.4)), min_size=1, max_size=4),
        st.floats(0.0, 3.0),
        st.integers(0, 5),
    )
    def test_the_house_at_work_needs_no_longer(
        self, draws: list[tuple[float, float]], spare_a: float, stagger_s: int
    ) -> None:
        shades = [
            replace(on_supply(f"s{n}", amps, stand), unpowered_holds=((0.0, 100.0),) if n % 2 else ())
            for n, (amps, stand) in enumerate(draws)
        ]
        amps = sum(stand for _, stand in draws) + max(amps for amps, _ in draws) + spare_a
        scene = Scene(raising(*shades, amps=amps, stagger_s=stagger_s)).begin(referenced=False)
        for name, board in scene.boards.items():
            board.at = board.spec.travel.lower_steps
            scene.tell(name, board.reboot())
        began = scene.now_s
        scene.ask_all(UP)
        while any(scene.shade(name).request for name in scene.boards):
            scene.run(1.0)
            assert scene.now_s - began < 600
        assert [fate for _, fate in scene.ends()] == ["reached"] * len(shades)
        # The seconds that this test sleeps at a time, and a quarter of one between two orders to a board.
        assert scene.now_s - began <= worst_raise_s(scene.spec) + 1.0 + 0.25 * len(shades)
        assert scene.worst_a["attic"] <= amps + 1e-6


def test_shade_ids_are_what_the_queue_is_made_of() -> None:
    scene = two_on_two_amps()
    scene.ask_all(40)
    assert scene.house is not None
    assert queue(scene.house, range(len(scene.house.shades)))[0] is scene.house.shades[ShadeId("two")]


def test_a_board_lost_while_it_moved_for_nobody_s_order_is_still_reckoned_with() -> None:
    shades = [on_supply(name, 1.5) for name in ("one", "two")]
    scene = Scene(house_spec(*shades, amps=2.0)).begin()
    board = scene.boards["two"]
    scene.ask("two", 0)
    scene.event(ClaimHeard(at=scene.at, term=99, retained=False))  # another bridge: its request ends
    scene.event(Started(at=scene.at, spec=scene.spec))
    scene.reconnect()
    scene.run(1)
    assert board.moving
    scene.link("two", Link.LOST)
    scene.ask("one", 50)
    assert not scene.boards["one"].moving
    scene.run(90)
    assert scene.worst_a["attic"] <= 2.0
    assert scene.shade("one").request is None, "it had its turn once the other was over for certain"
