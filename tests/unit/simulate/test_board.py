import json
from dataclasses import replace
from fractions import Fraction
from random import Random
from typing import Any

import pytest

from bridge.core.contract import Link
from bridge.simulate.board import Board, load_flash
from bridge.simulate.build import Build
from bridge.simulate.fitting import BoardPlan, Fitting
from bridge.simulate.wire import Publish

FIRM = Build(
    tube_mm=38.0,
    cloth_mm=0.5,
    drop_mm=1800.0,
    wraps_left=1.5,
    start_mm=600.0,
    detent_nm=1.0,
    holding_nm=5.0,
    upper_switch_mm=-4.0,
    stop_mm=-25.0,
)
PLAIN = Fitting(shade="den", build=FIRM, pulses_per_turn=Fraction(45600, 11), record=1600)
OTHER = replace(PLAIN, shade="nook", record=320)
BLANK = replace(PLAIN, record=None)


class Bench:
    """One powered and connected board with a clock, a sender of well-addressed orders, and all it said."""

    def __init__(self, *fittings: Fitting, flash: dict[str, Any] | None = None) -> None:
        self.board = Board(BoardPlan(id="bench", channels=fittings or (PLAIN,)), Random(5), flash=flash)
        self.now = 1000.0
        self.seq = 0
        self.said: list[dict[str, Any]] = []
        self.board.power_up(self.now)
        self.hello = self.board.connected(self.now)
        self.keep(self.hello)

    def keep(self, sent: list[Publish]) -> list[dict[str, Any]]:
        reports = [json.loads(each.payload) for each in sent if each.topic.endswith("/report")]
        self.said += reports
        return reports

    def send(
        self, do: str, /, *, channel: int = 0, retained: bool = False, **fields: Any
    ) -> list[dict[str, Any]]:
        self.seq += 1
        last = self.board.channels[channel]
        order = {"v": 1, "term": 1, "boot": self.board.boot, "seq": self.seq, "seen": last.n, "do": do}
        topic = f"shade-boards/bench/{channel}/order"
        payload = json.dumps({**order, **fields}).encode()
        return self.keep(self.board.on_message(topic, payload, retained, self.now))

    def go(self, to: int, /, **fields: Any) -> list[dict[str, Any]]:
        wanted: dict[str, Any] = {
            "to": to,
            "low": -40000,
            "high": 60000,
            "pps": 800,
            "ramp": 1600,
            "then": "stay",
        }
        return self.send("go", **{**wanted, **fields})

    def wait(self, seconds: float, tick: float = 0.02) -> list[dict[str, Any]]:
        said = []
        began = self.now
        for i in range(1, round(seconds / tick) + 1):
            self.now = began + i * tick
            said += self.keep(self.board.advance(self.now))
        return said

    def settle(self) -> list[dict[str, Any]]:
        said = []
        while (at_s := self.board.next_event_s) is not None:
            self.now = at_s
            said += self.keep(self.board.advance(self.now))
        return said

    @property
    def drop_mm(self) -> float:
        return self.board.channels[0].tube.drop_mm

    def reboot(self) -> list[dict[str, Any]]:
        self.board.power_cut(self.now)
        self.board.power_up(self.now)
        self.seq = 0
        return self.keep(self.board.connected(self.now))


def whys(reports: list[dict[str, Any]]) -> list[str]:
    return [report["why"] for report in reports if report["why"] != "progress"]


# Greeting.


def test_on_connecting_the_board_says_up_and_each_channel_reports_retained() -> None:
    bench = Bench(PLAIN, OTHER)
    link, *reports = bench.hello
    assert (link.topic, json.loads(link.payload), link.retain) == (
        "shade-boards/bench/link",
        {"link": "up", "boot": 1},
        True,
    )
    assert [report.topic for report in reports] == [f"shade-boards/bench/{n}/report" for n in (0, 1)]
    assert all(report.retain for report in reports)
    assert whys(bench.said) == ["boot", "boot"]
    assert [report["count"] for report in bench.said] == [1600, 320]


def test_a_report_has_the_keys_of_the_contract() -> None:
    report = Bench().said[0]
    assert report == {
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
    bench = Bench()
    again = bench.keep(bench.board.connected(bench.now))
    assert [(r["why"], r["answers"], r["n"], r["boot"]) for r in again] == [("told", None, 2, 1)]


@pytest.mark.parametrize("boot", [0, 1])
def test_a_stale_will_on_its_link_topic_is_answered_with_up(boot: int) -> None:
    bench = Bench()
    payload = json.dumps({"link": "lost", "boot": boot}).encode()
    (answer,) = bench.board.on_message("shade-boards/bench/link", payload, True, bench.now)
    assert json.loads(answer.payload) == {"link": "up", "boot": 1}
    assert bench.board.on_message("shade-boards/bench/link", answer.payload, False, bench.now) == []


def test_the_will_says_lost_with_its_boot() -> None:
    will = Bench().board.link(Link.LOST)
    assert json.loads(will.payload) == {"link": "lost", "boot": 1}


# Going.


@pytest.mark.parametrize("tick", [0.001, 0.02, 5.0])
@pytest.mark.parametrize("to", [1600 + 3000, 1600 - 3000, 1601])
def test_a_go_ends_on_its_exact_step_in_the_time_of_its_ramps(to: int, tick: float) -> None:
    bench = Bench()
    (started,) = bench.go(to)
    assert (started["why"], started["moving"], started["awake"], started["to"]) == ("started", True, True, to)
    steps = abs(to - 1600)
    # Constant acceleration: v/a + s/v with room for full speed, else 2 sqrt(s/a).
    seconds = steps / 800 + 800 / 1600 if steps >= 400 else 2 * (steps / 1600) ** 0.5
    bench.now += seconds - 0.002
    assert bench.keep(bench.board.advance(bench.now))[-1:] == [] or bench.said[-1]["moving"]
    bench.wait(max(tick, 0.004), tick=max(tick, 0.004))
    assert bench.said[-1]["why"] == "arrived"
    assert bench.said[-1]["count"] == to
    assert not bench.said[-1]["moving"]


def test_the_hem_bar_moves_as_far_as_the_steps_say() -> None:
    bench = Bench()
    tube = bench.board.channels[0].tube
    before = tube.turns
    bench.go(1600 + 8000)
    bench.settle()
    assert tube.turns - before == pytest.approx(8000 * 11 / 45600)


def test_progress_comes_at_least_twice_a_second() -> None:
    bench = Bench()
    bench.go(1600 + 8000)
    said = bench.settle()
    counts = [report["count"] for report in said if report["why"] == "progress"]
    assert counts == sorted(counts)
    assert 30 <= len(counts) <= 36


def test_then_sleep_takes_the_current_away_and_stay_keeps_it() -> None:
    bench = Bench()
    bench.go(1920, then="sleep")
    assert not bench.settle()[-1]["awake"]
    bench.go(2240, then="stay")
    assert bench.settle()[-1]["awake"]


def test_a_go_to_where_it_stands_arrives_at_once() -> None:
    bench = Bench()
    (report,) = bench.go(1600)
    assert (report["why"], report["moving"], report["seq"], report["awake"]) == ("arrived", False, 1, True)


def test_a_retarget_ahead_goes_on_without_stopping() -> None:
    bench = Bench()
    bench.go(6000)
    bench.wait(2)
    (started,) = bench.go(5000)
    assert (started["why"], started["to"], started["seq"]) == ("started", 5000, 2)
    counts = [report["count"] for report in bench.settle()]
    assert counts == sorted(counts)
    assert bench.said[-1]["count"] == 5000
    assert whys(bench.said) == ["boot", "started", "started", "arrived"]


def test_a_retarget_behind_brakes_at_the_ramp_and_turns_round() -> None:
    bench = Bench()
    bench.go(9000)
    bench.wait(2)
    here = bench.board.channels[0].count or 0
    bench.go(1700)
    counts = [
        report.count
        for _ in range(400)
        if bench.wait(0.01, 0.01) is not None
        for report in bench.board.channels
    ]
    assert here + 199 <= max(count or 0 for count in counts) <= here + 201
    bench.settle()
    assert (bench.said[-1]["why"], bench.said[-1]["count"]) == ("arrived", 1700)


def test_a_retarget_too_near_to_stop_for_overshoots_and_comes_back() -> None:
    bench = Bench()
    bench.go(9000)
    bench.wait(2)
    here = bench.board.channels[0].count or 0
    bench.go(here + 50)
    bench.settle()
    assert (bench.said[-1]["why"], bench.said[-1]["count"]) == ("arrived", here + 50)


def test_a_gentler_retarget_still_brakes_as_hard_as_before() -> None:
    bench = Bench()
    bench.go(9000)
    bench.wait(2)
    here = bench.board.channels[0].count or 0
    bench.go(1700, ramp=100)
    most = here
    for _ in range(100):
        bench.wait(0.01, 0.01)
        most = max(most, bench.board.channels[0].count or 0)
    assert most <= here + 201


@pytest.mark.parametrize("seed", range(30))
def test_any_string_of_retargets_keeps_count_and_truth_in_step(seed: int) -> None:
    rng, bench = Random(seed), Bench()
    tube = bench.board.channels[0].tube
    before = tube.turns
    for _ in range(12):
        bench.go(rng.randint(0, 9000), pps=rng.randint(50, 4000), ramp=rng.randint(200, 9000))
        bench.wait(rng.uniform(0, 3), tick=rng.choice([0.01, 0.3]))
        if rng.random() < 0.2:
            bench.send("stop")
    bench.settle()
    count = bench.board.channels[0].count
    assert count is not None
    assert tube.turns - before == pytest.approx((count - 1600) * 11 / 45600, abs=1e-9)
    assert not bench.said[-1]["moving"]


def test_the_same_orders_at_the_same_times_give_the_same_bytes_whatever_the_ticks() -> None:
    def play(tick: float) -> list[dict[str, Any]]:
        bench = Bench(replace(PLAIN, build=replace(FIRM, slip_move_mm=0.1)))
        bench.go(5000)
        bench.wait(1.5, tick)
        bench.go(2000)
        bench.wait(9, tick)
        return bench.said

    assert play(0.01) == play(0.01)
    assert play(0.01) == play(1.5)


# Stopping, sleeping, waking, telling.


def test_a_stop_brakes_at_the_ramp_and_reports_stopped() -> None:
    bench = Bench()
    bench.go(9000)
    bench.wait(2)
    here = bench.board.channels[0].count or 0
    bench.send("stop", ramp=1600)
    (stopped,) = [report for report in bench.settle() if report["why"] == "stopped"]
    assert here + 199 <= stopped["count"] <= here + 201
    assert (stopped["moving"], stopped["awake"], stopped["seq"]) == (False, True, 2)


def test_a_stop_is_obeyed_from_any_term_boot_or_seq() -> None:
    for wrong in ({"term": 0}, {"boot": 99}, {"seq": 0}, {"v": 7}, {"seen": "x"}):
        bench = Bench()
        bench.send("tell", term=5)
        bench.go(9000, term=5)
        bench.wait(2)
        fields: dict[str, Any] = {"term": 5, **wrong}
        bench.send("stop", **fields)
        bench.settle()
        assert bench.said[-1]["why"] == "stopped", wrong


def test_a_stop_at_rest_says_stopped_once_for_each_seq() -> None:
    bench = Bench()
    assert whys(bench.send("stop")) == ["stopped"]
    bench.seq -= 1
    assert bench.send("stop") == []


def test_a_tell_is_answered_with_its_seq() -> None:
    bench = Bench()
    (told,) = bench.send("tell", seq=7)
    assert (told["why"], told["answers"], told["seq"]) == ("told", 7, 7)


def test_wake_and_sleep_change_the_current_and_report() -> None:
    bench = Bench()
    assert [r["awake"] for r in bench.send("wake")] == [True]
    assert [r["awake"] for r in bench.send("sleep")] == [False]


def test_sleep_is_refused_while_moving_and_after_a_motion_that_the_bridge_has_not_seen() -> None:
    bench = Bench()
    bench.go(9000)
    bench.wait(2)
    (refused,) = bench.send("sleep")
    assert (refused["why"], refused["because"], refused["moving"]) == ("refused", "stale", True)
    bench.settle()
    assert bench.send("sleep", seen=0)[-1]["because"] == "stale"


# Refusals.


REFUSALS = [
    ({"term": 2}, "term"),
    ({"boot": 9}, "boot"),
    ({"seq": 4}, "seq"),
    ({"seen": 0}, "stale"),
    ({"to": 60001}, "bounds"),
    ({"low": 10, "high": 5}, "bounds"),
    ({"pps": 0}, "speed"),
    ({"pps": 8001}, "speed"),
    ({"ramp": 0}, "speed"),
    ({"ramp": 40001}, "speed"),
    ({"v": 2}, "unreadable"),
    ({"do": "dance"}, "unreadable"),
    ({"to": 1.5}, "unreadable"),
    ({"to": True}, "unreadable"),
    ({"then": "party"}, "unreadable"),
    ({"to": 2**60}, "unreadable"),
]


@pytest.mark.parametrize(("wrong", "because"), REFUSALS)
def test_an_order_that_does_not_fit_is_refused_and_moves_nothing(wrong: dict[str, Any], because: str) -> None:
    bench = Bench()
    bench.seq = 4
    bench.send("tell", term=3)
    for _ in range(25):
        bench.send("tell", term=3)
    seq, before = bench.seq, bench.drop_mm
    (refused,) = bench.go(3000, **{"term": 3, **wrong})
    assert (refused["why"], refused["because"], refused["seq"]) == ("refused", because, seq)
    bench.wait(3)
    assert bench.drop_mm == before


def test_because_stands_only_in_refusals() -> None:
    bench = Bench()
    bench.go(1700)
    bench.settle()
    assert all("because" not in report for report in bench.said)


def test_a_repeated_order_is_ignored_in_silence() -> None:
    bench = Bench()
    bench.go(1700)
    bench.settle()
    bench.seq -= 1
    assert bench.go(1700) == []
    assert bench.wait(2) == []


def test_a_retained_order_is_ignored_in_silence() -> None:
    bench = Bench()
    assert bench.send("go", retained=True, to=5000, low=0, high=6000, pps=800, ramp=1600, then="stay") == []
    assert bench.send("stop", retained=True) == []
    assert bench.wait(2) == []


def test_the_highest_term_is_kept_over_a_power_cut() -> None:
    bench = Bench()
    bench.send("tell", term=8)
    (boot,) = bench.reboot()
    assert boot["term"] == 8
    (refused,) = bench.send("tell", term=7)
    assert refused["because"] == "term"


def test_an_order_for_the_last_boot_is_refused_after_a_power_cut() -> None:
    bench = Bench()
    bench.reboot()
    (refused,) = bench.go(3000, boot=1)
    assert refused["because"] == "boot"


RUBBISH = [
    b"",
    b"NaN",
    b"{",
    b"[]",
    b"null",
    b"\xff\xfe",
    b"1e999",
    b"[" * 2000,
    b'{"a":' * 500,
    b"9" * 300_000,
    b'{"v":1,"seq":NaN}',
    b'{"v":1,"seq":Infinity,"do":"go"}',
    b'{"v":1,"do":["stop"]}',
    b'{"v":1,"do":{},"seq":{}}',
    '{"v":1,"do":"go","seq":"١٢"}'.encode(),
    b'{"v":true,"do":"tell","term":1,"boot":1,"seq":[],"seen":0}',
    b'{"v":1,"do":"tell","term":-1,"boot":1,"seq":null,"seen":0}',
    b'{"\\ud800":1}',
    b'{"v":1,"seq":' + b"1" * 1500 + b"}",
]


@pytest.mark.parametrize("payload", RUBBISH, ids=lambda payload: repr(payload[:24]))
@pytest.mark.parametrize("topic", ["0/order", "link", "7/order", "0/report", "x"])
def test_rubbish_is_ignored_and_moves_nothing(payload: bytes, topic: str) -> None:
    bench = Bench()
    assert bench.board.on_message(f"shade-boards/bench/{topic}", payload, False, bench.now) == []
    assert not bench.board.moving


def test_random_bytes_and_mangled_orders_never_stop_the_board() -> None:
    rng, bench = Random(11), Bench()
    order = b'{"v":1,"term":1,"boot":1,"seq":5,"seen":1,"do":"go","to":9,'
    order += b'"low":0,"high":99,"pps":9,"ramp":9,"then":"stay"}'
    for _ in range(3000):
        mangled = bytearray(order)
        for _ in range(rng.randint(1, 6)):
            mangled[rng.randrange(len(mangled))] = rng.randrange(256)
        bench.board.on_message("shade-boards/bench/0/order", bytes(mangled), False, bench.now)
        bench.wait(0.1, 0.1)
    assert whys(bench.send("tell", term=2**53, seq=2**53)) == ["told"]


# Seeking.


def seek(bench: Bench, **fields: Any) -> list[dict[str, Any]]:
    return bench.send("seek", **{"toward": "upper", "at_most": 60000, "pps": 800, "ramp": 1600, **fields})


@pytest.mark.parametrize("tick", [0.005, 0.3, 60.0])
def test_a_slow_seek_stops_at_once_on_the_step_that_closes_the_switch(tick: float) -> None:
    bench = Bench()
    seek(bench)
    bench.wait(60, tick)
    last = bench.said[-1]
    assert (last["why"], last["moving"], last["awake"]) == ("upper-switch", False, True)
    assert -4.05 <= bench.drop_mm <= -4.0
    assert whys(bench.said) == ["boot", "started", "upper-switch"]


def test_a_fast_seek_brakes_and_comes_back_to_where_the_switch_closed() -> None:
    bench = Bench()
    seek(bench, pps=1800, ramp=8000)
    bench.settle()
    at_once, at_rest = [report for report in bench.said if report["why"] == "upper-switch"]
    assert (at_once["moving"], at_rest["moving"]) == (True, False)
    assert at_once["count"] == at_rest["count"]
    assert -4.05 <= bench.drop_mm <= -4.0


def test_a_seek_ends_not_found_at_its_bound() -> None:
    bench = Bench()
    seek(bench, at_most=500)
    last = bench.settle()[-1]
    assert (last["why"], last["count"]) == ("not-found", 1100)


@pytest.mark.parametrize(("toward", "because"), [("lower", "no-sense"), ("upper", "switch-closed")])
def test_a_seek_without_its_sense_or_from_a_closed_switch_is_refused(toward: str, because: str) -> None:
    bench = Bench(replace(PLAIN, build=replace(FIRM, start_mm=-6.0)))
    (refused,) = seek(bench, toward=toward)
    assert refused["because"] == because


def test_a_switch_that_is_stuck_open_is_not_found() -> None:
    bench = Bench()
    bench.board.channels[0].tube.state.upper_stuck = False
    seek(bench, at_most=30000)
    assert bench.settle()[-1]["why"] == "not-found"


def test_a_switch_also_ends_a_go_that_meets_it() -> None:
    bench = Bench()
    bench.go(-30000)
    assert bench.settle()[-1]["why"] == "upper-switch"


def test_a_switch_that_a_pull_closes_on_the_way_back_from_it_is_not_met_on_turning_round() -> None:
    bench = Bench(replace(PLAIN, build=replace(FIRM, lower_switch_mm=1000.0)))
    bench.go(-20000)
    bench.wait(1.0)
    bench.board.channels[0].tube.pull(600.0)
    bench.wait(1.0)
    bench.go(1600)
    assert bench.settle()[-1]["why"] == "arrived"
    assert bench.drop_mm > 1100


def test_a_switch_that_opens_on_the_way_is_met_on_turning_round() -> None:
    bench = Bench(replace(PLAIN, build=replace(FIRM, lower_switch_mm=590.0)))
    bench.go(-2000)
    bench.wait(1.0)
    bench.go(8000)
    assert bench.settle()[-1]["why"] == "lower-switch"


def test_a_seek_feels_the_stop_where_the_board_has_stall_sensing() -> None:
    bench = Bench(replace(PLAIN, stall=True, build=replace(FIRM, upper_switch_mm=None)))
    seek(bench)
    last = bench.settle()[-1]
    assert (last["why"], last["stalls"]) == ("stalled", 0)
    assert bench.drop_mm == pytest.approx(-25.0, abs=0.5)


def test_a_stall_in_a_go_is_counted() -> None:
    bench = Bench(replace(PLAIN, stall=True, build=replace(FIRM, upper_switch_mm=None)))
    bench.go(-30000)
    last = bench.settle()[-1]
    assert (last["why"], last["stalls"]) == ("stalled", 1)


# Power.


def test_a_count_recorded_at_rest_is_kept_over_a_power_cut() -> None:
    bench = Bench()
    bench.go(3200)
    bench.settle()
    (boot,) = bench.reboot()
    assert (boot["why"], boot["boot"], boot["n"], boot["seq"]) == ("boot", 2, 1, 0)
    assert (boot["count"], boot["kept"], boot["kept_since"]) == (3200, True, 1)


def test_a_power_cut_in_motion_leaves_the_last_record_as_a_guess() -> None:
    bench = Bench()
    bench.go(9000)
    bench.wait(3)
    bench.board.power_cut(bench.now)
    moved = bench.drop_mm
    assert moved > 640
    bench.now += 60
    assert bench.board.advance(bench.now) == []
    bench.board.power_up(bench.now)
    (boot,) = bench.keep(bench.board.connected(bench.now))
    assert (boot["count"], boot["kept"], boot["kept_since"], boot["moving"]) == (1600, False, 2, False)
    assert bench.drop_mm == moved


def test_a_count_lost_once_is_kept_again_after_the_next_motion_but_only_since_then() -> None:
    bench = Bench()
    bench.go(9000)
    bench.wait(3)
    bench.reboot()
    bench.go(3000)
    assert bench.settle()[-1]["kept"] is False
    (boot,) = bench.reboot()
    assert (boot["count"], boot["kept"], boot["kept_since"], boot["boot"]) == (3000, True, 2, 3)


def test_the_mark_is_in_flash_before_the_first_step_and_the_record_after_the_last() -> None:
    bench = Bench()
    flash = bench.board.flash["channels"]["0"]
    before = bench.drop_mm
    bench.go(1700)
    assert (flash["clean"], flash["count"], bench.drop_mm) == (False, 1600, before)
    bench.settle()
    assert (flash["clean"], flash["count"]) == (True, 1700)


def test_a_blank_flash_has_no_count_until_the_motor_is_first_energised() -> None:
    bench = Bench(BLANK)
    assert (bench.said[0]["count"], bench.said[0]["kept"], bench.said[0]["kept_since"]) == (None, False, 1)
    (refused,) = bench.go(100)
    assert refused["because"] == "no-count"
    (woken,) = bench.send("wake")
    assert (woken["count"], woken["kept"]) == (0, False)
    bench.go(160)
    assert bench.settle()[-1]["count"] == 160


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"boot":"x","channels":{"0":{"count":"7","clean":1}}}', '{"channels":3}']
)
def test_a_damaged_flash_reads_as_blank(text: str) -> None:
    bench = Bench(flash=load_flash(text))
    assert (bench.said[0]["boot"], bench.said[0]["count"], bench.said[0]["kept"]) == (1, None, False)


def test_flash_survives_as_text() -> None:
    bench = Bench()
    bench.go(1700)
    bench.settle()
    again = Bench(flash=load_flash(bench.board.dump()))
    assert (again.said[0]["boot"], again.said[0]["count"], again.said[0]["kept"]) == (2, 1700, True)


def test_boots_are_counted_one_by_one() -> None:
    bench = Bench()
    assert [bench.reboot()[0]["boot"] for _ in range(3)] == [2, 3, 4]


def test_cloth_that_the_detent_cannot_hold_falls_when_power_goes() -> None:
    weak = replace(FIRM, detent_nm=0.001)
    bench = Bench(replace(PLAIN, build=replace(FIRM, detent_nm=1.0)))
    bench.send("wake")
    bench.board.channels[0].tube.build = weak
    bench.board.power_cut(bench.now)
    assert bench.drop_mm > 1900


def test_an_unpowered_board_hears_nothing() -> None:
    bench = Bench()
    bench.board.power_cut(bench.now)
    assert bench.send("tell") == []
    assert bench.board.press(0, "up", bench.now) == []


# Two channels.


def test_two_channels_move_at_once_and_know_nothing_of_each_other() -> None:
    bench = Bench(PLAIN, OTHER)
    bench.go(3000)
    bench.send("go", channel=1, to=900, low=0, high=2000, pps=400, ramp=800, then="sleep")
    bench.settle()
    first, second = bench.board.channels
    assert (first.count, second.count) == (3000, 900)
    assert (first.seq, second.seq) == (1, 2)
    assert first.tube.drop_mm > second.tube.drop_mm


def test_a_power_cut_stops_both_channels_but_only_the_moving_one_loses_its_count() -> None:
    bench = Bench(PLAIN, OTHER)
    bench.go(9000)
    bench.wait(1)
    boots = bench.reboot()
    assert [report["kept"] for report in boots] == [False, True]


# Buttons and wind.


def press(bench: Bench, button: str) -> list[dict[str, Any]]:
    return bench.keep(bench.board.press(0, button, bench.now))


def test_a_button_runs_to_the_bounds_of_the_last_order_while_the_count_is_kept() -> None:
    bench = Bench()
    bench.go(1700, low=1000, high=2500)
    bench.settle()
    (started,) = press(bench, "down")
    assert (started["why"], started["moving"], started["to"]) == ("button", True, 2500)
    bench.keep(bench.board.release(0, bench.now))
    last = bench.settle()[-1]
    assert (last["why"], last["moving"], last["count"]) == ("button", False, 2500)
    press(bench, "up")
    bench.wait(0.5)
    press(bench, "stop")
    last = bench.settle()[-1]
    assert last["why"] == "button"
    assert 1000 < last["count"] < 2500


def test_an_order_that_left_before_a_stop_at_the_board_was_heard_of_does_not_undo_it() -> None:
    bench = Bench()
    bench.go(5000)
    bench.wait(2)
    seen = bench.board.channels[0].n
    (said,) = press(bench, "stop")
    assert (said["why"], said["moving"]) == ("button", True)
    (refused,) = bench.go(5000, seen=seen, pps=900)
    assert (refused["why"], refused["because"]) == ("refused", "stale")
    rest = bench.settle()[-1]
    assert (rest["why"], rest["moving"]) == ("button", False)
    assert rest["count"] < 4000
    # One that knows of the hand is newer than it.
    bench.go(5000)
    assert bench.settle()[-1]["count"] == 5000


@pytest.mark.parametrize("lost", [True, False])
def test_a_button_lasts_only_while_it_is_held_when_bounds_or_count_are_unknown(lost: bool) -> None:
    bench = Bench()
    if lost:
        bench.go(9000)
        bench.wait(1)
        bench.reboot()
        bench.go(1616, high=2500)
        bench.settle()
    press(bench, "down")
    bench.wait(0.5)
    bench.keep(bench.board.release(0, bench.now))
    last = bench.settle()[-1]
    assert (last["why"], last["moving"]) == ("button", False)
    assert last["count"] < 2400


def test_a_held_button_never_leaves_bounds_that_are_known() -> None:
    bench = Bench()
    bench.go(9000)
    bench.wait(1)
    bench.reboot()
    bench.go(1616, high=2500)
    bench.settle()
    press(bench, "down")
    bench.wait(20)
    assert bench.board.channels[0].count == 2500


def test_a_button_on_a_blank_board_starts_the_count_at_0() -> None:
    bench = Bench(BLANK)
    press(bench, "up")
    bench.wait(1)
    bench.keep(bench.board.release(0, bench.now))
    assert bench.settle()[-1]["count"] < -100


def test_the_wind_contact_raises_to_the_low_bound() -> None:
    bench = Bench()
    bench.go(3000, low=200)
    bench.settle()
    (started,) = bench.keep(bench.board.wind(bench.now))
    assert (started["why"], started["moving"], started["to"]) == ("wind", True, 200)
    last = bench.settle()[-1]
    assert (last["why"], last["count"]) == ("wind", 200)


def test_the_wind_contact_without_bounds_raises_to_the_switch_where_there_is_one() -> None:
    bench = Bench()
    bench.keep(bench.board.wind(bench.now))
    bench.settle()
    assert bench.said[-1]["why"] == "upper-switch"
    bare = Bench(replace(PLAIN, build=replace(FIRM, upper_switch_mm=None)))
    (report,) = bare.keep(bare.board.wind(bare.now))
    assert (report["why"], report["moving"]) == ("wind", False)
