from dataclasses import replace
from typing import Any

import pytest

from bridge.core.command import one_way
from bridge.core.command.goals import Refusal
from bridge.core.command.targets import LOST_COUNT, UNKNOWN, draft
from bridge.core.events import Button, Nudge, Percent, Press, Release, Switch, Switched
from bridge.core.outlook import BoardState, Motion
from bridge.core.position.estimate import Grade
from bridge.core.spec import OneWayLink, SupplySpec, Unit
from bridge.core.values import Interval, Rank, SupplyId
from tests.one_way_world import ALIVE, BEATS, STOP, World, given_link, given_spec, settled_world

UP, STOP_NOW, DOWN = (Press(button=button) for button in (Button.UP, Button.STOP, Button.DOWN))


def targets(world: World) -> list[str]:
    return [payload.decode() for topic, payload in world.published if topic == "porch/target"]


def last_why(world: World) -> str:
    ends = [note for note in world.notes if note.name == "request.ended"]
    return str(dict(ends[-1].fields)["why"])


def unknown_world(link: OneWayLink | None = None) -> World:
    world = World(link)
    world.power_up()
    world.start()
    world.run(0.5)
    return world


class TestMoves:
    def test_a_request_is_reached_when_the_clock_has_run_out_and_says_reckoned(self) -> None:
        world = settled_world()
        world.ask(Percent(open_pct=40))
        world.run(30.0)
        assert world.fates() == ["reached"]
        assert last_why(world) == "at 40 % as reckoned: its board never reports"
        assert world.true_pct == pytest.approx(40, abs=0.5)
        assert (world.outlook.position_pct, world.outlook.target_pct) == (40, 40)
        assert len(targets(world)) == 1

    def test_while_it_moves_the_faces_follow_the_clock(self) -> None:
        world = settled_world()
        world.ask(DOWN)
        world.run(6.0)
        assert world.outlook.motion is Motion.LOWERING
        assert world.outlook.position_pct == pytest.approx(world.true_pct, abs=3)
        world.run(30.0)
        world.ask(UP)
        world.run(3.0)
        up: Motion = world.outlook.motion
        assert up == "raising"

    def test_the_same_place_again_is_reached_without_a_target(self) -> None:
        world = settled_world()
        for _ in range(2):
            world.ask(Percent(open_pct=40))
            world.run(30.0)
        assert len(targets(world)) == 1
        assert last_why(world) == "the hem bar was there already, as reckoned"

    def test_a_dragged_slider_reaches_the_board_four_times_a_second_and_the_last_value_always(self) -> None:
        world = settled_world()
        for pct in range(98, 58, -1):
            world.ask(Percent(open_pct=pct))
            world.run(0.05)
        assert len(targets(world)) <= 9
        world.run(60.0)
        assert world.true_pct == pytest.approx(59, abs=0.5)
        assert world.fates().count("reached") == 1

    def test_whole_steps_are_rounded_to_the_cycle_where_the_motor_sleeps(self) -> None:
        world = settled_world(given_link(rest_current=False))
        world.ask(Percent(open_pct=43))
        world.run(1.0)
        assert int(targets(world)[0]) % 16 == 0

    def test_a_supply_that_is_taken_makes_it_wait(self) -> None:
        spec = replace(given_spec(), supply=SupplyId("attic"), moving_a=1.5, standstill_a=0.1)
        world = settled_world(spec=spec)
        assert world.house is not None
        small = replace(world.house.spec, supplies=(SupplySpec(id=SupplyId("attic"), amps=1.0),))
        world.house = replace(world.house, spec=small)
        world.ask(Percent(open_pct=50))
        world.run(60.0)
        assert targets(world) == []
        assert "waits until its supply" in world.outlook.reason
        large = replace(small, supplies=(SupplySpec(id=SupplyId("attic"), amps=2.0),))
        world.house = replace(world.house, spec=large)
        world.ask(Nudge(by_pct=0), Rank.BASE)
        world.run(40.0)
        assert world.fates()[-1] == "reached"

    def test_nothing_leaves_while_the_broker_is_away_and_the_request_expires(self) -> None:
        world = settled_world()
        world.lose()
        world.ask(Percent(open_pct=50))
        world.run(31.0)
        assert world.fates() == ["expired"]
        assert last_why(world) == "no order could leave; it waited 30 s"

    def test_what_the_broker_never_passes_back_is_not_believed_to_be_done(self) -> None:
        world = settled_world()
        world.bridge_there = False  # it publishes into nothing, and is not told
        world.ask(Percent(open_pct=50))
        world.bridge_there = True
        world.run(11.0)
        assert world.fates() == ["failed"]
        assert last_why(world).startswith("the broker did not pass it on in 10 s")
        low, high = world.claim_mm()
        assert low < 0
        assert high > 900
        assert world.shade.reckoning.counts == Interval(low=0, high=world.shade.reckoning.target or 0)

    def test_a_halt_of_the_service_lock_that_is_lost_leaves_the_claim_wide(self) -> None:
        world = settled_world(given_link(stop=STOP))
        world.ask(DOWN)
        world.run(3.0)
        world.bridge_there = False
        world.take(Switched(at=world.moment, switch=Switch.LOCK, on=True, source="a person"))
        world.bridge_there = True
        world.run(30.0)
        assert world.texts("order.echo.missed") == [""]
        assert world.outlook.width_mm > 1000

    def test_the_service_lock_halts_a_stranger_s_move_too(self) -> None:
        world = settled_world(given_link(stop=STOP))
        world.publish("porch/target", b"40000", retain=True)
        world.run(3.0)
        world.take(Switched(at=world.moment, switch=Switch.LOCK, on=True, source="a person"))
        world.run(20.0)
        assert world.true_pct > 50
        assert world.shade.reckoning.run is None


class TestUnknown:
    @pytest.mark.parametrize("want", [Percent(open_pct=50), UP, DOWN, Nudge(by_pct=-5), Nudge(by_pct=0)])
    def test_only_a_nudge_up_is_taken(self, want: Any) -> None:
        world = unknown_world()
        world.ask(want)
        assert world.fates() == ["refused"]
        assert last_why(world) == UNKNOWN

    def test_without_a_count_not_even_that(self) -> None:
        world = unknown_world()
        world.ask(Nudge(by_pct=5))
        assert world.fates() == ["refused"]
        assert last_why(world) == LOST_COUNT

    def test_with_a_count_it_goes_so_much_further_up(self) -> None:
        world = World(given_link())
        world.retained["porch/target"] = b"9000"
        world.power_up()
        world.start()
        world.run(60.0)
        before = world.true_mm
        world.ask(Nudge(by_pct=1))
        world.run(10.0)
        assert world.fates() == ["reached"]
        assert last_why(world).startswith("at an unknown position")
        assert world.true_mm < before
        assert world.outlook.grade is Grade.UNKNOWN

    def test_a_percent_scale_goes_no_further_up_than_its_end(self) -> None:
        world = World(given_link(unit=Unit.PERCENT_CLOSED))
        world.retained["porch/target"] = b"0"
        world.power_up()
        world.start()
        world.run(60.0)
        world.ask(Nudge(by_pct=20))
        assert world.fates() == ["refused"]
        assert "percent scale of its board ends before that" in last_why(world)

    def test_a_target_down_from_nowhere_is_refused_even_when_a_goal_names_it(self) -> None:
        world = World(given_link())
        world.retained["porch/target"] = b"9000"
        world.power_up()
        world.start()
        world.run(60.0)
        assert draft(world.shade, 9_500, request=None, now_s=world.now) == Refusal(why=UNKNOWN)

    def test_a_count_that_got_lost_while_a_request_waited_ends_it(self) -> None:
        shade = unknown_world().shade
        assert draft(shade, 0, request=1, now_s=0.0) == Refusal(why=LOST_COUNT)

    def test_a_release_leads_nowhere(self) -> None:
        with pytest.raises(AssertionError):
            one_way.goal_of(settled_world().shade, Release())


class TestDownward:
    def test_a_wide_claim_is_not_lowered_past_what_is_safe(self) -> None:
        world = settled_world(given_link(alive=ALIVE))
        world.ask(DOWN)
        world.run(8.0)
        world.power_cut()
        world.run(5.0)
        world.power_up()
        world.run(30.0)
        world.ask(DOWN)
        assert world.fates()[-1] == "refused"
        world.ask(UP)
        world.run(40.0)
        world.ask(DOWN)
        assert "could unroll the cloth past its end" in last_why(world)

    def test_a_request_that_waited_for_a_board_is_not_obeyed_where_it_has_become_unsafe(self) -> None:
        world = settled_world(given_link(alive=ALIVE))
        world.ask(DOWN)
        world.run(8.0)
        world.power_cut()
        world.run(2.0)
        world.ask(Percent(open_pct=1))
        assert world.shade.request is not None
        world.power_up()
        world.run(30.0)
        assert world.fates()[-1] == "failed"
        assert "could unroll" in last_why(world)
        assert len(targets(world)) == 1


class TestNudges:
    def test_a_nudge_goes_on_from_where_the_shade_is_heading(self) -> None:
        world = settled_world()
        world.ask(Percent(open_pct=60))
        world.run(1.0)
        world.ask(Nudge(by_pct=-10))
        world.run(40.0)
        assert world.true_pct == pytest.approx(50, abs=0.5)

    def test_a_nudge_past_a_limit_goes_to_the_limit(self) -> None:
        world = settled_world()
        world.ask(Nudge(by_pct=-30))
        world.run(40.0)
        world.ask(Nudge(by_pct=90))
        world.run(40.0)
        assert world.true_pct == pytest.approx(100, abs=0.5)


class TestHalts:
    def test_the_stop_topic_halts_it_within_the_claim(self) -> None:
        world = settled_world(given_link(stop=STOP))
        world.ask(DOWN)
        world.run(4.0)
        world.ask(STOP_NOW)
        world.run(10.0)
        assert world.fates() == ["superseded", "reached"]
        assert not world.board.moving
        assert world.true_pct > 60
        assert world.outlook.width_mm < 300

    def test_at_rest_the_halt_is_sent_all_the_same(self) -> None:
        world = settled_world(given_link(stop=STOP))
        world.ask(STOP_NOW)
        world.run(1.0)
        assert ("porch/halt", b"halt") in world.published
        assert last_why(world) == "it stands still as reckoned; the halt was sent all the same"
        assert world.shade.reckoning.echoes == ()

    def test_without_a_stop_topic_a_target_a_braking_way_on_halts_it(self) -> None:
        world = settled_world()
        world.ask(DOWN)
        world.run(4.0)
        world.ask(STOP_NOW)
        world.run(60.0)
        assert world.fates() == ["superseded", "reached"]
        assert world.true_pct == pytest.approx(74, abs=10)
        assert len(targets(world)) == 2

    def test_at_rest_no_target_is_sent(self) -> None:
        world = settled_world()
        world.ask(STOP_NOW)
        assert world.fates() == ["reached"]
        assert targets(world) == []

    def test_close_to_its_target_it_is_left_to_arrive(self) -> None:
        world = settled_world()
        world.ask(Percent(open_pct=99))
        world.run(0.5)
        world.ask(STOP_NOW)
        world.run(10.0)
        assert world.fates() == ["superseded", "reached"]
        assert len(targets(world)) == 1

    def test_where_no_target_is_safe_it_says_how_to_stop_it(self) -> None:
        world = settled_world(given_link(alive=ALIVE, retained=False))
        world.ask(DOWN)
        world.run(40.0)
        world.power_cut()
        world.run(5.0)
        world.power_up()
        world.run(5.0)
        world.ask(Nudge(by_pct=30))
        world.run(3.0)
        world.ask(STOP_NOW)
        world.run(1.0)
        assert world.fates()[-1] == "failed"
        assert "switch its power off" in last_why(world)

    def test_a_stop_waits_for_a_broker_that_is_away(self) -> None:
        world = settled_world(given_link(stop=STOP))
        world.ask(DOWN)
        world.run(3.0)
        world.lose()
        world.ask(STOP_NOW)
        assert world.fates() == ["superseded"]
        world.reach()
        world.run(1.0)
        assert ("porch/halt", b"halt") in world.published


class TestPresence:
    def test_a_will_ends_a_move_and_later_requests_wait_for_the_board(self) -> None:
        world = settled_world(given_link(alive=ALIVE))
        world.ask(DOWN)
        world.run(4.0)
        world.power_cut()
        world.run(0.5)
        assert world.fates() == ["failed"]
        assert world.outlook.board is BoardState.LOST
        assert world.outlook.motion is Motion.STILL
        world.ask(UP)
        world.run(31.0)
        assert world.fates()[-1] == "expired"
        assert "its board is not there" in last_why(world)
        assert world.shade.reckoning.run is None

    def test_a_board_gone_at_rest_leaves_the_request_waiting_for_its_return(self) -> None:
        world = settled_world(given_link(alive=ALIVE))
        world.power_cut()
        world.run(0.5)
        world.ask(Percent(open_pct=80))
        world.run(5.0)
        assert targets(world) == []
        world.power_up()
        world.run(40.0)
        assert world.fates() == ["reached"]

    def test_silence_is_a_loss_where_signs_of_life_are_expected(self) -> None:
        world = settled_world(given_link(alive=BEATS))
        world.run(6.0)
        assert world.shade.reckoning.alive is True
        world.power_cut()
        world.run(15.0)
        assert world.shade.reckoning.alive is False

    def test_a_move_is_vouched_for_once_the_alive_topic_has_had_its_time(self) -> None:
        world = settled_world(given_link(alive=ALIVE))
        assert world.outlook.grade is Grade.REFERENCED
        world.ask(Percent(open_pct=80))
        world.run(9.0)
        assert world.fates() == ["reached"]
        assert world.outlook.width_mm > 300
        world.run(12.0)
        assert world.outlook.width_mm < 10

    def test_without_a_topic_for_that_no_position_is_more_than_reckoned(self) -> None:
        assert settled_world().outlook.grade is Grade.RECKONED
        assert settled_world(given_link(alive=BEATS)).outlook.grade is Grade.RECKONED
