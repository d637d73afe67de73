from datetime import timedelta

import pytest

from bridge.core.events import Button, Percent, Place, Press, TargetHeard
from bridge.core.outlook import Motion
from bridge.core.position.estimate import Grade
from bridge.core.values import Interval
from tests.one_way_world import ALIVE, BEATS, STOP, World, given_link, settled_world

DOWN = Press(button=Button.DOWN)


def last_text(world: World) -> str:
    return world.notes[-1].text


class TestStrangers:
    def test_a_stranger_s_target_widens_the_claim_at_once_and_begins_a_hold(self) -> None:
        world = settled_world()
        world.publish("porch/target", b"20000", retain=True)
        world.run(0.2)
        low, high = world.claim_mm()
        assert low < 0
        assert high > 600
        assert world.outlook.motion is Motion.LOWERING
        assert world.outlook.reason == "moved by another sender on porch/target"
        assert world.outlook.until is not None
        assert world.outlook.until - world.moment.utc == pytest.approx(
            timedelta(hours=2), abs=timedelta(seconds=1)
        )
        world.run(30.0)
        assert world.outlook.position_pct == world.outlook.target_pct == round(world.true_pct)
        assert world.outlook.width_mm < 20

    def test_it_ends_the_request_under_way(self) -> None:
        world = settled_world()
        world.ask(DOWN)
        world.run(3.0)
        world.publish("porch/target", b"4000", retain=True)
        world.run(60.0)
        assert world.fates() == ["superseded"]
        assert world.outlook.position_pct == round(world.true_pct)

    def test_the_same_target_again_or_delivered_twice_changes_nothing(self) -> None:
        world = settled_world()
        world.ask(Percent(open_pct=60))
        world.run(30.0)
        before = world.shade
        payload = dict(world.published)["porch/target"]
        world.publish("porch/target", payload, retain=True)
        world.run(1.0)
        assert world.shade is before

    def test_our_own_words_said_by_another_after_they_came_back_are_a_stranger_s(self) -> None:
        world = settled_world()
        for pct in (60, 80):
            world.ask(Percent(open_pct=pct))
            world.run(30.0)
        first = next(payload for topic, payload in world.published if topic == "porch/target")
        world.publish("porch/target", first, retain=True)
        world.run(30.0)
        assert world.true_pct == pytest.approx(60, abs=0.5)
        assert world.outlook.position_pct == 60
        assert "another sender" in world.outlook.reason

    def test_an_echo_that_comes_a_minute_late_is_taken_for_a_stranger_s(self) -> None:
        world = settled_world()
        world.bridge_there = False
        world.ask(Percent(open_pct=60))
        world.bridge_there = True
        world.run(70.0)
        value = world.shade.reckoning.value
        assert value is not None
        world.ask(Press(button=Button.STOP))
        world.take(TargetHeard(at=world.moment, shade=world.shade.id, value=value + 16, retained=False))
        assert "another sender" in world.outlook.reason

    def test_with_more_of_our_own_still_to_come_the_last_one_is_waited_for(self) -> None:
        world = settled_world(lag_s=0.0)
        world.ask(Percent(open_pct=60))
        world.now += 0.3
        world.ask(Percent(open_pct=80))
        first = world.shade.reckoning.echoes[0].value
        world.take(TargetHeard(at=world.moment, shade=world.shade.id, value=first, retained=False))
        assert world.shade.reckoning.run is not None
        assert world.shade.reckoning.run.heard_s is None
        assert len(world.shade.reckoning.echoes) == 1

    def test_a_stranger_s_halt_is_heard(self) -> None:
        world = settled_world(given_link(stop=STOP))
        world.ask(DOWN)
        world.run(4.0)
        world.publish("porch/halt", b"halt")
        world.run(10.0)
        assert world.fates() == ["superseded"]
        assert not world.board.moving
        assert world.outlook.reason == "moved by another sender on porch/halt"
        assert world.outlook.width_mm < 300

    def test_a_stranger_s_halt_at_rest_halts_nothing(self) -> None:
        world = settled_world(given_link(stop=STOP))
        world.publish("porch/halt", b"halt")
        world.run(1.0)
        assert world.shade.reckoning.run is None
        assert world.outlook.width_mm < 10

    def test_a_halt_that_crossed_our_target_may_or_may_not_have_halted_it(self) -> None:
        world = settled_world(given_link(stop=STOP), lag_s=0.0)
        world.publish("porch/halt", b"halt")
        world.ask(DOWN)
        world.run(60.0)
        assert world.fates() == ["superseded"]
        assert world.true_pct == pytest.approx(0, abs=1)
        assert world.outlook.width_mm > 1500

    @pytest.mark.parametrize("payload", [b"", b"open", b"40 %", b"NaN"])
    def test_words_that_are_no_target_leave_nothing_known(self, payload: bytes) -> None:
        world = settled_world()
        world.publish("porch/target", payload)
        world.run(1.0)
        assert world.outlook.grade is Grade.UNKNOWN
        assert "what is no target; look where it is" in world.shade.trouble
        assert world.shade.reckoning.counts is None


class TestRetained:
    def test_what_was_retained_while_nobody_listened_is_followed(self) -> None:
        world = settled_world()
        world.ask(Percent(open_pct=80))
        world.run(20.0)
        world.kill()
        world.board_there = False
        world.retained["porch/target"] = b"20000"
        world.connect()
        world.start()
        assert world.texts("shade.moved.strangely")[-1].endswith("while the bridge was not listening")
        world.run(60.0)
        assert world.outlook.position_pct == round(world.true_pct)

    def test_the_first_retained_target_only_tells_the_count(self) -> None:
        world = World(given_link())
        world.retained["porch/target"] = b"9000"
        world.power_up()
        world.start()
        world.run(60.0)
        assert world.texts("shade.moved.strangely") == []
        assert world.shade.reckoning.counts == Interval(low=9000, high=9000)
        assert world.outlook.grade is Grade.UNKNOWN

    def test_our_own_retained_target_is_no_news(self) -> None:
        world = settled_world()
        world.ask(Percent(open_pct=80))
        world.run(20.0)
        world.lose()
        world.reach()
        world.run(1.0)
        assert world.shade.reckoning.run is None
        assert world.fates() == ["reached"]

    def test_a_retained_target_where_none_should_be_is_an_alert(self) -> None:
        world = settled_world(given_link(retained=False))
        for _ in range(2):
            world.take(TargetHeard(at=world.moment, shade=world.shade.id, value=None, retained=True))
        assert "clear it while the board is off" in world.shade.trouble
        assert len(world.texts("board.target.retained")) == 1

    def test_a_retained_message_that_is_no_number_tells_nothing(self) -> None:
        world = settled_world()
        before = world.shade
        world.take(TargetHeard(at=world.moment, shade=world.shade.id, value=None, retained=True))
        assert world.shade is before


class TestPresence:
    def test_a_board_that_comes_back_is_not_believed_to_have_arrived(self) -> None:
        world = settled_world(given_link(alive=ALIVE))
        world.ask(DOWN)
        world.run(6.0)
        world.power_cut()
        world.run(2.0)
        stands = world.true_mm
        world.power_up()
        world.run(60.0)
        assert world.true_mm == pytest.approx(stands, abs=1)
        low, high = world.claim_mm()
        assert low < stands < high
        assert high - low > 1000
        assert world.board.motor.count == world.shade.reckoning.target
        assert world.outlook.grade is not Grade.REFERENCED

    def test_what_is_said_again_changes_nothing(self) -> None:
        world = settled_world(given_link(alive=ALIVE))
        world.publish("porch/alive", b"here", retain=True)
        world.run(0.5)
        before = world.shade
        world.publish("porch/alive", b"mumble")
        world.publish("porch/alive", b"here")
        world.run(0.5)
        assert world.shade is before
        world.power_cut()
        world.run(1.0)
        before = world.shade
        world.publish("porch/alive", b"gone")
        world.run(1.0)
        assert world.shade is before

    def test_an_old_sign_of_life_is_none(self) -> None:
        world = World(given_link(alive=BEATS))
        world.retained["porch/alive"] = b"alive"
        world.start()
        assert world.shade.reckoning.alive is None

    def test_another_restart_of_the_bridge_gives_what_moves_its_time_again(self) -> None:
        world = settled_world(given_link(alive=ALIVE))
        world.ask(DOWN)
        world.run(6.0)
        world.kill()
        world.start()
        assert world.outlook.grade is not Grade.REFERENCED
        world.run(60.0)
        assert world.fates() == ["reached"]
        assert world.true_pct == pytest.approx(0, abs=0.5)

    @pytest.mark.parametrize("alive", [ALIVE, None])
    def test_a_restart_before_the_echo_waits_for_it(self, alive: None) -> None:
        world = settled_world(given_link(alive=alive), lag_s=0.2)
        world.ask(Percent(open_pct=80))
        world.kill()
        world.run(0.5)
        world.start()
        world.run(40.0)
        assert world.fates() == ["reached"]

    def test_a_restart_while_its_presence_is_awaited_goes_on_waiting(self) -> None:
        world = settled_world(given_link(alive=ALIVE))
        world.ask(Percent(open_pct=80))
        world.run(9.0)
        assert world.shade.reckoning.vouched_s is not None
        world.kill()
        world.start()
        assert world.outlook.width_mm > 300
        world.run(11.0)
        assert world.outlook.width_mm < 10


class TestRequestsAndConfirmations:
    def test_a_request_that_is_unsafe_is_refused_with_its_reason(self) -> None:
        world = World(given_link())
        world.power_up()
        world.start()
        world.ask(DOWN)
        assert world.fates() == ["refused"]

    def test_a_request_down_from_a_wide_claim_is_refused_before_it_is_taken_up(self) -> None:
        world = settled_world(given_link(alive=ALIVE))
        world.ask(DOWN)
        world.run(8.0)
        world.power_cut()
        world.run(2.0)
        world.power_up()
        world.run(60.0)
        world.ask(Percent(open_pct=0))
        assert world.fates() == ["failed", "refused"]

    def test_a_person_s_confirmation_pins_it(self) -> None:
        world = settled_world()
        assert world.outlook.reason == "confirmed by hand at the upper limit"
        # Twice 2 mm by hand, and the last whole step at either end; shown rounded up.
        assert 4.0 <= world.outlook.width_mm <= 4.2
        world.ask(DOWN)
        world.run(60.0)
        world.confirm(Place.LOWER)
        assert world.outlook.reason == "confirmed by hand at the lower limit"
        # Twice 2 mm by hand, and the last whole step at either end; shown rounded up.
        assert 4.0 <= world.outlook.width_mm <= 4.2

    def test_not_while_it_moves(self) -> None:
        world = settled_world()
        world.ask(DOWN)
        world.run(1.0)
        world.confirm()
        assert world.texts("shade.confirmation.refused") == ["it is moving; confirm once it stands still"]

    def test_not_while_its_board_is_gone(self) -> None:
        world = settled_world(given_link(alive=ALIVE))
        world.power_cut()
        world.run(1.0)
        world.confirm()
        assert "its board is not there" in world.texts("shade.confirmation.refused")[0]

    def test_not_at_the_lower_limit_while_its_count_is_unknown(self) -> None:
        world = World(given_link())
        world.power_up()
        world.start()
        world.confirm(Place.LOWER)
        assert "confirm `upper`" in world.texts("shade.confirmation.refused")[0]

    def test_with_its_count_in_doubt_the_place_is_known_and_the_next_way_is_not(self) -> None:
        world = settled_world(given_link(alive=ALIVE, retained=False))
        world.ask(Percent(open_pct=98))
        world.run(20.0)
        world.power_cut()
        world.run(2.0)
        world.power_up()
        world.run(2.0)
        world.board.motor.tube.state.seat_turns -= world.board.motor.tube.turns  # wound up by hand
        world.confirm()
        # Twice 2 mm by hand, and the last whole step at either end; shown rounded up.
        assert 4.0 <= world.outlook.width_mm <= 4.2
        base = world.shade.knowledge.base
        assert base is not None
        assert base.width > 900
