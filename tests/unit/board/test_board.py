import json
from dataclasses import replace
from random import Random
from typing import Any

import pytest

from tests.board_rig import FIRM, Rig, channel, settings, whys, wire
from tests.unit.simulate.test_board import REFUSALS, RUBBISH

BARE = {"upper_switch": None}


def ends(rig: Rig, keys: tuple[str, ...]) -> list[Any]:
    last = rig.settle()[-1]
    return [last[key] for key in keys]


# Greeting.


def test_on_connecting_the_board_says_up_and_each_channel_reports() -> None:
    rig = Rig(FIRM, FIRM)
    assert rig.topics[0] == ("shade-boards/bench/link", {"link": "up", "boot": 1})
    assert [topic for topic, _ in rig.topics[1:]] == [f"shade-boards/bench/{n}/report" for n in (0, 1)]
    assert rig.said[0] == {
        "v": 1,
        "boot": 1,
        "n": 1,
        "count": 1600,
        "kept": True,
        "moving": False,
        "awake": False,
        "why": "boot",
        "seq": 0,
        "to": None,
        "answers": None,
        "senses": ["upper-switch"],
        "pulses_per_turn": [45600, 11],
        "term": 0,
        "kept_since": 1,
        "stalls": 0,
    }


def test_a_reconnection_is_told_without_an_answer_and_n_goes_on() -> None:
    rig = Rig()
    rig.board.connected()
    assert [rig.said[-1][key] for key in ("why", "answers", "n")] == ["told", None, 2]


@pytest.mark.parametrize("boot", [0, 1])
def test_a_stale_will_is_answered_with_up(boot: int) -> None:
    rig = Rig()
    rig.board.message("shade-boards/bench/link", json.dumps({"link": "lost", "boot": boot}).encode(), True)
    assert rig.topics[-1] == ("shade-boards/bench/link", {"link": "up", "boot": 1})


# Going.


@pytest.mark.parametrize("to", [4600, -1400, 1601])
def test_a_go_ends_on_its_exact_step_and_the_hem_bar_has_moved_as_far(to: int) -> None:
    rig = Rig(**BARE)
    before = rig.hands.tube.turns
    (started,) = rig.go(to)
    assert (started["why"], started["moving"], started["to"]) == ("started", True, to)
    rig.settle()
    assert (rig.said[-1]["why"], rig.said[-1]["count"], rig.said[-1]["moving"]) == ("arrived", to, False)
    assert rig.hands.tube.turns - before == pytest.approx((to - 1600) * 11 / 45600)


def test_progress_comes_two_to_four_times_a_second() -> None:
    rig = Rig()
    rig.go(9600)
    counts = [report["count"] for report in rig.settle() if report["why"] == "progress"]
    assert counts == sorted(counts)
    assert 2 * 10.5 <= len(counts) <= 4 * 10.5


def test_then_sleep_takes_the_current_away_and_stay_keeps_it() -> None:
    rig = Rig()
    rig.go(1920, then="sleep")
    rig.settle()
    assert (rig.said[-1]["awake"], rig.hands.tube.state.energised) == (False, False)
    rig.go(2240)
    rig.settle()
    assert (rig.said[-1]["awake"], rig.hands.tube.state.energised) == (True, True)


def test_a_go_to_where_it_stands_arrives_at_once() -> None:
    rig = Rig()
    (report,) = rig.go(1600)
    assert (report["why"], report["moving"], report["awake"]) == ("arrived", False, True)


@pytest.mark.parametrize("seed", range(10))
def test_any_string_of_orders_keeps_count_and_truth_in_step(seed: int) -> None:
    rng, rig = Random(seed), Rig(**BARE)
    before = rig.hands.tube.turns
    for _ in range(12):
        rig.go(rng.randint(0, 9000), pps=rng.randint(50, 4000), ramp=rng.randint(200, 9000))
        rig.wait(rng.uniform(0, 3))
        if rng.random() < 0.2:
            rig.send("stop")
    rig.settle()
    assert rig.hands.tube.turns - before == pytest.approx((rig.count - 1600) * 11 / 45600, abs=1e-9)
    assert rig.hands.output.starved == 0


# Stop, tell, wake, sleep.


@pytest.mark.parametrize("wrong", [{}, {"term": 0}, {"boot": 99}, {"seq": 0}, {"v": 7}, {"seen": "x"}])
def test_a_stop_is_obeyed_whatever_is_wrong_with_it(wrong: dict[str, Any]) -> None:
    rig = Rig()
    rig.send("tell", term=5)
    rig.go(9000, term=5)
    rig.wait(2)
    rig.send("stop", **{"term": 5, **wrong})
    rig.wait(0.7)
    assert (rig.said[-1]["why"], rig.said[-1]["moving"]) == ("stopped", False)


def test_a_stop_at_rest_says_stopped_once_for_each_seq() -> None:
    rig = Rig()
    assert whys(rig.send("stop")) == ["stopped"]
    rig.seq -= 1
    assert rig.send("stop") == []


def test_a_tell_is_answered_with_its_seq() -> None:
    (told,) = Rig().send("tell", seq=7)
    assert (told["why"], told["answers"], told["seq"]) == ("told", 7, 7)


def test_sleep_while_moving_brakes_first() -> None:
    rig = Rig()
    assert [r["awake"] for r in rig.send("wake")] == [True]
    rig.go(9000)
    rig.wait(2)
    rig.send("sleep")
    last = rig.settle()[-1]
    assert (last["why"], last["awake"], last["moving"]) == ("stopped", False, False)


# Refusals.


@pytest.mark.parametrize(("wrong", "because"), REFUSALS)
def test_an_order_that_does_not_fit_is_refused_and_moves_nothing(wrong: dict[str, Any], because: str) -> None:
    rig = Rig()
    rig.seq = 4
    for _ in range(26):
        rig.send("tell", term=3)
    seq, before = rig.seq, rig.drop_mm
    (refused,) = rig.go(3000, **{"term": 3, **wrong})
    assert (refused["why"], refused["because"], refused["seq"]) == ("refused", because, seq)
    rig.wait(3)
    assert rig.drop_mm == before


def test_repeated_and_retained_orders_are_ignored_in_silence() -> None:
    rig = Rig()
    rig.go(1700)
    rig.settle()
    rig.seq -= 1
    assert rig.go(1700) == []
    order: dict[str, Any] = {"to": 5000, "low": 0, "high": 6000, "pps": 800, "ramp": 1600, "then": "stay"}
    assert rig.send("go", retained=True, **order) == []
    assert rig.send("stop", retained=True) == []
    assert rig.wait(2) == []


@pytest.mark.parametrize("payload", RUBBISH, ids=lambda payload: repr(payload[:24]))
@pytest.mark.parametrize("topic", ["0/order", "link", "7/order", "0/report", "x"])
def test_rubbish_is_ignored_and_moves_nothing(payload: bytes, topic: str) -> None:
    rig = Rig()
    before = len(rig.topics)
    rig.board.message(f"shade-boards/bench/{topic}", payload, False)
    assert len(rig.topics) == before
    assert not rig.board.moving


def test_mangled_orders_never_stop_the_board() -> None:
    rng, rig = Random(11), Rig()
    order = b'{"v":1,"term":1,"boot":1,"seq":5,"seen":1,"do":"go","to":9,'
    order += b'"low":0,"high":99,"pps":9,"ramp":9,"then":"stay"}'
    for _ in range(1000):
        mangled = bytearray(order)
        for _ in range(rng.randint(1, 6)):
            mangled[rng.randrange(len(mangled))] = rng.randrange(256)
        rig.board.message("shade-boards/bench/0/order", bytes(mangled), False)
        rig.wait(0.01)
    assert whys(rig.send("tell", term=2**53, seq=2**53)) == ["told"]


# Seeking.


def seek(rig: Rig, **fields: Any) -> list[dict[str, Any]]:
    return rig.send("seek", **{"toward": "upper", "at_most": 60000, "pps": 800, "ramp": 1600, **fields})


@pytest.mark.parametrize(("pps", "ramp"), [(300, 1600), (1800, 8000), (6000, 30000)])
def test_a_seek_rests_on_the_step_that_closes_the_switch(pps: int, ramp: int) -> None:
    rig = Rig(replace(FIRM, stop_mm=-60.0))
    seek(rig, pps=pps, ramp=ramp)
    rig.settle()
    last = rig.said[-1]
    assert (last["why"], last["moving"], last["awake"]) == ("upper-switch", False, True)
    assert -4.07 <= rig.drop_mm <= -4.0
    assert last["to"] == last["count"]


def test_a_seek_ends_not_found_at_its_bound() -> None:
    rig = Rig()
    seek(rig, at_most=500)
    last = rig.settle()[-1]
    assert (last["why"], last["count"]) == ("not-found", 1100)


@pytest.mark.parametrize(("toward", "because"), [("lower", "no-sense"), ("upper", "switch-closed")])
def test_a_seek_without_its_sense_or_from_a_closed_switch_is_refused(toward: str, because: str) -> None:
    (refused,) = seek(Rig(replace(FIRM, start_mm=-6.0)), toward=toward)
    assert refused["because"] == because


def test_a_switch_also_ends_a_go_that_meets_it() -> None:
    rig = Rig()
    rig.go(-30000)
    assert rig.settle()[-1]["why"] == "upper-switch"


def test_a_spark_on_the_wire_of_a_switch_is_no_switch() -> None:
    rig = Rig()
    seek(rig, at_most=1000)
    rig.wait(0.5)
    rig.hands.track.edge(0)
    assert rig.settle()[-1]["why"] == "not-found"


def test_a_switch_that_a_pull_closes_on_the_way_back_from_it_is_not_met_on_turning_round() -> None:
    rig = Rig(replace(FIRM, lower_switch_mm=1000.0), lower_switch=wire(9))
    rig.go(-20000)
    rig.wait(1.0)
    rig.hands.tube.pull(600.0)
    rig.wait(1.0)
    rig.go(1600)
    assert rig.settle()[-1]["why"] == "arrived"
    assert rig.drop_mm > 1100


def test_a_switch_that_opens_on_the_way_is_met_on_turning_round() -> None:
    rig = Rig(replace(FIRM, lower_switch_mm=590.0), lower_switch=wire(9))
    rig.go(-2000)
    rig.wait(1.0)
    rig.go(8000)
    assert rig.settle()[-1]["why"] == "lower-switch"


def test_a_stall_ends_a_seek_and_is_counted_in_a_go() -> None:
    rig = Rig(replace(FIRM, upper_switch_mm=None), upper_switch=None, stall=wire(9))
    rig.hands.stalls_felt = True
    seek(rig)
    assert ends(rig, ("why", "stalls", "moving")) == ["stalled", 0, False]
    again = Rig(replace(FIRM, upper_switch_mm=None), upper_switch=None, stall=wire(9))
    again.hands.stalls_felt = True
    again.go(-30000)
    assert ends(again, ("why", "stalls")) == ["stalled", 1]


# Power.


def test_a_count_recorded_at_rest_is_kept_over_a_power_cut() -> None:
    rig = Rig()
    rig.go(3200, term=8)
    rig.settle()
    (boot,) = rig.reboot()
    assert [boot[key] for key in ("why", "boot", "n", "seq", "term")] == ["boot", 2, 1, 0, 8]
    assert (boot["count"], boot["kept"], boot["kept_since"]) == (3200, True, 1)


def test_a_power_cut_in_motion_leaves_the_last_record_as_a_guess() -> None:
    rig = Rig()
    rig.go(9000)
    rig.wait(3)
    (boot,) = rig.reboot()
    assert (boot["count"], boot["kept"], boot["kept_since"], boot["moving"]) == (1600, False, 2, False)
    rig.go(3000)
    assert rig.settle()[-1]["kept"] is False
    (boot,) = rig.reboot()
    assert (boot["count"], boot["kept"], boot["kept_since"], boot["boot"]) == (3000, True, 2, 3)


def test_the_mark_is_in_flash_before_the_first_step_and_the_record_before_the_report() -> None:
    rig = Rig()
    line = rig.board.channels[0].line
    writes = len(rig.flash.writes)
    (_,) = rig.go(1700, term=0)
    assert (line.clean, len(rig.flash.writes), rig.hands.trace) == (False, writes + 1, [])
    rig.settle()
    assert (line.clean, line.count, len(rig.flash.writes)) == (True, 1700, writes + 2)


def test_nothing_moves_while_the_flash_cannot_be_written() -> None:
    rig = Rig()
    rig.flash.broken = True
    (refused,) = rig.go(3000, term=0)
    assert (refused["why"], refused["because"], refused["seq"]) == ("refused", "flash", 0)
    rig.hands.fingers.add("down")
    rig.wait(2)
    assert rig.hands.trace == []


def test_a_blank_flash_has_no_count_until_the_motor_is_first_energised() -> None:
    rig = Rig(record=None, **BARE)
    assert (rig.said[0]["count"], rig.said[0]["kept"], rig.said[0]["kept_since"]) == (None, False, 1)
    (refused,) = rig.go(100)
    assert refused["because"] == "no-count"
    (woken,) = rig.send("wake")
    assert (woken["count"], woken["kept"]) == (0, False)
    rig.go(160)
    assert rig.settle()[-1]["count"] == 160


def test_a_power_cut_stops_both_channels_but_only_the_moving_one_loses_its_count() -> None:
    rig = Rig(FIRM, FIRM)
    rig.go(9000)
    rig.send("go", channel=1, to=1800, low=0, high=2000, pps=400, ramp=800, then="sleep")
    rig.wait(2)
    assert [report["kept"] for report in rig.reboot()] == [False, True]


# Fingers and wind.


def press(rig: Rig, name: str, seconds: float = 0.1) -> list[dict[str, Any]]:
    rig.hands.fingers.add(name)
    said = rig.wait(seconds)
    rig.hands.fingers.discard(name)
    return said + rig.wait(0.05)


def test_a_button_runs_to_the_bounds_of_the_last_order_while_the_count_is_kept() -> None:
    rig = Rig()
    rig.go(1700, low=1000, high=2500)
    rig.settle()
    started = press(rig, "down")[0]
    assert (started["why"], started["moving"], started["to"]) == ("button", True, 2500)
    assert ends(rig, ("why", "moving", "count")) == ["button", False, 2500]
    press(rig, "up", 0.5)
    press(rig, "stop")
    rig.settle()
    assert rig.said[-1]["why"] == "button"
    assert 1000 < rig.count < 2500


def test_an_order_that_left_before_a_stop_at_the_board_was_heard_of_does_not_undo_it() -> None:
    rig = Rig()
    rig.go(5000)
    rig.wait(2)
    seen = rig.board.channels[0].n
    said = press(rig, "stop")[0]
    assert (said["why"], said["moving"]) == ("button", True)
    (refused,) = rig.go(5000, seen=seen, pps=900)
    assert (refused["why"], refused["because"]) == ("refused", "stale")
    rig.settle()
    assert rig.count < 4000
    # One that knows of the hand is newer than it.
    rig.go(5000)
    rig.settle()
    assert rig.count == 5000


@pytest.mark.parametrize("lost", [True, False])
def test_a_button_lasts_only_while_it_is_held_when_bounds_or_count_are_unknown(lost: bool) -> None:
    rig = Rig()
    if lost:
        rig.go(9000)
        rig.wait(1)
        rig.reboot()
        rig.go(1616, high=2500)
        rig.settle()
    press(rig, "down", 0.5)
    rig.settle()
    assert (rig.said[-1]["why"], rig.said[-1]["moving"]) == ("button", False)
    assert 1616 < rig.count < 2400


def test_a_held_button_never_leaves_bounds_that_are_known() -> None:
    rig = Rig()
    rig.go(9000)
    rig.wait(1)
    rig.reboot()
    rig.go(1616, high=2500)
    rig.settle()
    press(rig, "down", 20)
    assert rig.count == 2500


def test_a_button_works_without_a_network_and_with_a_blank_flash() -> None:
    rig = Rig(record=None, **BARE)
    rig.board.publish = None
    press(rig, "up", 1.0)
    rig.settle()
    assert rig.count < -100


def test_contacts_that_bounce_are_one_press() -> None:
    rig = Rig()
    for _ in range(5):
        rig.hands.fingers.add("down")
        rig.wait(0.01)
        rig.hands.fingers.discard("down")
        rig.wait(0.01)
    assert rig.hands.trace == []


def windy(*builds: Any, **more: Any) -> Rig:
    said = settings(channel(**more), channel(10), wind_contact=wire(30))
    rig = Rig(FIRM, FIRM, said=said)
    rig.go(3000, low=200)
    rig.settle()
    return rig


def test_the_wind_contact_raises_exterior_shades_only() -> None:
    rig = windy(exterior=True)
    rig.windy = True
    started = rig.wait(0.1)[0]
    assert (started["why"], started["moving"], started["to"]) == ("wind", True, 200)
    assert not rig.board.channels[1].moving
    assert ends(rig, ("why", "count")) == ["wind", 200]


def test_while_the_contact_warns_nothing_lowers_the_shade() -> None:
    rig = windy(exterior=True)
    rig.windy = True
    rig.wait(0.1)
    rig.settle()
    (refused,) = rig.go(3000, low=200)
    assert refused["because"] == "wind"
    press(rig, "down")
    assert rig.count == 200
    rig.windy = False
    rig.wait(0.1)
    assert whys(rig.go(3000, low=200)) == ["started"]


def test_a_stop_ends_a_retraction_which_is_taken_up_again_after_a_pause() -> None:
    rig = windy(exterior=True)
    rig.windy = True
    rig.wait(0.5)
    rig.send("stop")
    rig.settle()
    assert rig.count > 1000
    rig.wait(31)
    rig.settle()
    assert rig.count == 200


def test_the_wind_contact_without_bounds_raises_to_the_switch_where_there_is_one() -> None:
    def blown(**more: Any) -> Rig:
        rig = Rig(said=settings(channel(exterior=True, **more), wind_contact=wire(30)))
        rig.windy = True
        rig.wait(0.1)
        return rig

    rig = blown()
    assert rig.settle()[-1]["why"] == "upper-switch"
    bare = blown(**BARE)
    assert (bare.said[-1]["why"], bare.said[-1]["moving"]) == ("wind", False)
