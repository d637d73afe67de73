import itertools
from dataclasses import replace
from datetime import UTC, datetime, time

import pytest

from bridge.core.contract import Do, Link
from bridge.core.events import (
    BrokerLost,
    Button,
    Nudge,
    Percent,
    Press,
    Release,
    Started,
    Switch,
    Ticked,
    Want,
)
from bridge.core.intending import next_look, wish
from bridge.core.outcome import Level
from bridge.core.outlook import Alert
from bridge.core.overview import bridge_outlook
from bridge.core.rules.demand import Demand, Standing, decided
from bridge.core.surroundings import Quiet, Restraint, RuleChoice, Sensor
from bridge.core.values import Rank
from tests.scene import house_spec, shade_spec
from tests.weather import AZORES, WINDOW, Weather, choice, sensor

UP = Press(button=Button.UP)
STOP = Press(button=Button.STOP)
MIDDAY_S = 14.5 * 3600  # scenes begin at midnight UTC on 1 June


def given(
    *rules: RuleChoice,
    sensors: tuple[Sensor, ...] = (),
    restraint: Restraint | None = None,
    hold_s: float = 3600.0,
    now_s: float = 100.0,
    tolerance_mm: float = 5.0,
) -> Weather:
    shade = shade_spec("landing", rules=rules, window=WINDOW, hold_s=hold_s, tolerance_mm=tolerance_mm)
    spec = house_spec(shade, site=AZORES, sensors=sensors, restraint=restraint or Restraint(dwell_s=0.0))
    return Weather(spec, now_s=now_s).begin()  # type: ignore[return-value]


def windy(**more: object) -> Weather:
    scene = given(choice("wind", gust_limit_mps=10.0, calm_min=10.0, **more), sensors=(sensor("gust"),))
    scene.hold_at("gust", 3.0, 700)
    scene.ask("landing", 20)
    scene.hold_at("gust", 3.0, 60)
    assert scene.open_pct("landing") == 20
    scene.notes.clear()
    return scene


def test_a_gust_sends_the_first_order_in_the_same_event() -> None:
    scene = windy()
    decisions = scene.say("gust", 12.4)
    assert [sent.order.do for sent in decisions.orders][:1] in ([Do.GO], [Do.SEEK])
    assert scene.reason("landing") == "Raised to 100 %: gust 12.4 m/s (force 6); your limit is 10.0 m/s"
    scene.run(60)
    assert scene.open_pct("landing") == 100


def test_the_shade_stays_up_until_it_was_calm_for_the_set_time() -> None:
    scene = windy()
    scene.say("gust", 12.0)
    scene.hold_at("gust", 7.6, 900)  # below the limit, above three quarters of it
    scene.ask("landing", 20)
    assert scene.ends()[-1] == ("landing", "refused")
    scene.hold_at("gust", 3.0, 540)
    scene.ask("landing", 20)
    assert scene.ends()[-1] == ("landing", "refused")
    scene.hold_at("gust", 3.0, 120)
    scene.ask("landing", 20)
    scene.hold_at("gust", 3.0, 60)
    assert scene.open_pct("landing") == 20


@pytest.mark.parametrize("want", [Percent(open_pct=0), Press(button=Button.DOWN), Nudge(by_pct=-10)])
@pytest.mark.parametrize("rank", [Rank.HAND, Rank.RULE, Rank.BASE])
def test_nobody_lowers_in_the_wind(want: Want, rank: Rank) -> None:
    scene = windy()
    scene.say("gust", 12.0)
    scene.hold_at("gust", 12.0, 60)
    scene.ask("landing", Release())
    scene.notes.clear()
    decisions = scene.ask("landing", want, rank)
    assert decisions.orders == ()
    assert scene.ends() == [("landing", "refused")]
    assert "the wind rule forbids it" in scene.notes[-1].text


def test_a_lost_wind_sensor_counts_as_wind() -> None:
    scene = windy()
    scene.run(85)  # the last reading was half a minute ago
    assert scene.open_pct("landing") == 20
    scene.run(60)
    assert scene.open_pct("landing") == 100
    assert "lost, which counts as wind" in scene.reason("landing")
    (failed,) = scene.told("sensor.reading.failed")
    assert failed.level is Level.ERROR
    assert failed.text == "sensor gust: nothing came from it for 120 s"


def test_a_failing_sensor_is_an_alert_of_the_bridge_until_it_is_back() -> None:
    scene = windy()
    assert scene.house is not None
    assert bridge_outlook(scene.house).alerts == ()
    scene.say("gust", None, "'NaN' is not a number")
    (alert,) = bridge_outlook(scene.house).alerts
    assert alert == Alert(id="sensors", text="look after gust: 'NaN' is not a number")
    scene.say("gust", 2.0)
    assert bridge_outlook(scene.house).alerts == ()
    assert [note.text for note in scene.told("sensor.reading.restored")] == ["sensor gust is back"]


def test_a_wind_sensor_that_says_rubbish_is_as_good_as_silent() -> None:
    scene = windy()
    for _ in range(20):
        scene.say("gust", None, "'NaN' is not a number")
        scene.say("gust", 900.0)
        scene.run(10)
    assert scene.open_pct("landing") == 100


def test_after_a_lost_sensor_is_back_it_must_have_been_calm_for_the_set_time() -> None:
    scene = windy()
    scene.run(200)
    scene.hold_at("gust", 2.0, 300)
    scene.ask("landing", 20)
    assert scene.ends()[-1] == ("landing", "refused")
    scene.hold_at("gust", 2.0, 330)
    scene.ask("landing", 20)
    scene.hold_at("gust", 2.0, 60)
    assert scene.open_pct("landing") == 20


def test_a_start_is_no_wind_but_nothing_is_lowered_before_the_sensor_has_spoken() -> None:
    scene = windy()
    assert scene.house is not None
    scene.event(Started(at=scene.at, spec=scene.spec))
    scene.reconnect()
    scene.link("landing", Link.UP)
    scene.run(60)
    assert scene.open_pct("landing") == 20
    scene.ask("landing", 10)
    assert scene.ends()[-1] == ("landing", "refused")
    scene.say("gust", 3.0)
    scene.ask("landing", 10)
    scene.run(60)
    assert scene.open_pct("landing") == 10


def test_wind_goes_over_hold_pause_and_quiet_hours() -> None:
    scene = windy()
    scene.switch(Switch.PAUSE, on=True)
    assert scene.shade("landing").hold_until is not None
    scene.say("gust", 12.0)
    scene.run(60)
    assert scene.open_pct("landing") == 100


def test_the_service_lock_keeps_everything_in() -> None:
    scene = windy()
    scene.switch(Switch.LOCK, on=True)
    scene.say("gust", 12.0)
    scene.run(60)
    assert scene.open_pct("landing") == 20
    scene.switch(Switch.LOCK, on=False)
    scene.say("gust", 12.5)
    scene.run(60)
    assert scene.open_pct("landing") == 100


def test_a_stop_halts_a_wind_retract_which_goes_on_after_a_pause_with_an_alert() -> None:
    scene = windy()
    scene.say("gust", 12.0)
    scene.run(2)
    decisions = scene.ask("landing", STOP)
    assert [sent.order.do for sent in decisions.orders] == [Do.STOP]
    (alert,) = scene.told("shade.retract.interrupted")
    assert alert.level is Level.ERROR
    assert "it goes on in 60 s" in alert.text
    scene.hold_at("gust", 12.0, 50, every_s=10)
    assert not scene.boards["landing"].moving
    scene.hold_at("gust", 12.0, 60, every_s=10)
    assert scene.open_pct("landing") == 100


def test_a_board_that_is_out_of_hearing_is_tried_again_while_the_wind_lasts() -> None:
    scene = windy()
    scene.link("landing", Link.LOST)
    scene.say("gust", 12.0)
    scene.hold_at("gust", 12.0, 120, every_s=10)
    scene.link("landing", Link.UP)
    scene.hold_at("gust", 12.0, 90, every_s=10)
    assert scene.open_pct("landing") == 100


def test_wind_while_the_broker_is_away_is_answered_when_it_is_back() -> None:
    scene = windy()
    scene.event(BrokerLost(at=scene.at))
    scene.run(600)
    assert scene.open_pct("landing") == 20
    scene.reconnect()
    scene.say("gust", 14.0)
    scene.run(60)
    assert scene.open_pct("landing") == 100


def test_nothing_starts_when_it_is_near_freezing_and_wet() -> None:
    ice = choice("ice"), choice("wind", gust_limit_mps=10.0)
    scene = given(*ice, sensors=(sensor("outdoor-temperature"), sensor("rain"), sensor("gust", stale_s=1e6)))
    scene.say("gust", 2.0)
    scene.ask("landing", 50)
    scene.hold_at("gust", 2.0, 60)
    scene.say("outdoor-temperature", 1.0)
    scene.say("rain", 0.4)
    for want in (Percent(open_pct=0), UP, Nudge(by_pct=20)):
        assert scene.ask("landing", want).orders == ()
        assert scene.ends()[-1] == ("landing", "refused")
        assert "the ice rule forbids it: 1.0 °C outdoors" in scene.notes[-1].text
    scene.say("gust", 20.0)  # not even wind tears at a frozen cloth
    scene.run(30)
    assert scene.open_pct("landing") == 50
    assert [sent.order.do for sent in scene.ask("landing", STOP).orders] == [Do.STOP]


def test_what_waits_to_start_does_not_start_once_ice_is_to_be_feared() -> None:
    scene = given(choice("ice"), sensors=(sensor("outdoor-temperature"), sensor("rain")))
    scene.say("outdoor-temperature", 5.0)
    scene.link("landing", Link.LOST)
    scene.ask("landing", 30)
    scene.run(5)
    scene.say("outdoor-temperature", 1.0)
    assert scene.ends()[-1] == ("landing", "failed")
    scene.link("landing", Link.UP)
    scene.run(30)
    assert scene.open_pct("landing") == 100


def test_an_open_door_stops_a_lowering_and_refuses_the_next() -> None:
    scene = given(choice("doorway"), sensors=(sensor("contact", stale_s=1e6),))
    scene.say("contact", 0.0)
    scene.ask("landing", 0)
    scene.run(3)
    decisions = scene.say("contact", 1.0)
    assert [sent.order.do for sent in decisions.orders] == [Do.STOP]
    assert scene.reason("landing") == "Stopped: its door or window is open"
    scene.ask("landing", 0)
    assert scene.ends()[-1] == ("landing", "refused")
    scene.ask("landing", 100)
    scene.run(60)
    assert scene.open_pct("landing") == 100
    scene.say("contact", 0.0)
    scene.ask("landing", 50)
    scene.run(60)
    assert scene.open_pct("landing") == 50


def test_a_door_that_is_open_keeps_what_was_asked_during_a_reference_run_from_setting_off() -> None:
    scene = given(choice("doorway"), sensors=(sensor("contact", stale_s=1e6),), tolerance_mm=0.5)
    scene.say("contact", 0.0)
    scene.ask("landing", 20)
    scene.run(60)
    scene.say("contact", 1.0)
    (seek,) = scene.ask("landing", 100).orders
    assert seek.order.do is Do.SEEK
    scene.run(1)
    scene.ask("landing", 82)  # further open than it is, so it is taken; the run goes on to the top
    assert scene.boards["landing"].moving
    scene.starts.clear()
    scene.run(60)
    assert scene.starts == [], "an order left that was called back at once"
    assert scene.open_pct("landing") == 100
    assert scene.ends()[-1] == ("landing", "failed")
    assert "the doorway rule forbids it: its door or window is open" in scene.reason("landing")


def sunny(restraint: Restraint | None = None, **more: object) -> Weather:
    return given(choice("sun-depth"), restraint=restraint, now_s=MIDDAY_S, **more)  # type: ignore[arg-type]


def test_the_sun_lowers_a_shade_and_says_why_with_the_numbers() -> None:
    scene = sunny()
    scene.run(4 * 3600)
    assert scene.open_pct("landing") < 80
    reason = scene.reason("landing")
    assert reason.startswith("Lowered to ")
    assert "sun at 2" in reason
    assert "your limit is 1.0 m; a clear sky is taken, as no light is measured" in reason


def test_the_shade_goes_up_again_when_no_rule_wants_it_down() -> None:
    scene = sunny()
    scene.run(4 * 3600)
    scene.run(8 * 3600)
    assert scene.open_pct("landing") == 100
    assert scene.reason("landing") == "Raised to 100 %: no rule wants it lower any more"


def test_a_person_s_place_is_left_alone_during_the_hold_and_after_it_while_it_suits_the_rules() -> None:
    scene = sunny()
    scene.ask("landing", 15)
    scene.run(50 * 60)
    assert scene.open_pct("landing") == 15
    scene.run(30 * 60)
    assert scene.shade("landing").hold_until is None
    assert scene.open_pct("landing") == 15


def test_release_gives_the_shade_back_at_once() -> None:
    scene = sunny()
    scene.run(4 * 3600)
    lowered = scene.open_pct("landing")
    scene.ask("landing", 100)
    scene.run(60)
    assert scene.open_pct("landing") == 100
    scene.ask("landing", Release())
    scene.run(60)
    assert scene.open_pct("landing") <= lowered


def test_pause_and_quiet_hours_keep_the_rules_quiet() -> None:
    scene = sunny(Restraint(quiet=Quiet(begins=time(12), ends=time(20))))
    scene.run(5 * 3600)
    assert scene.open_pct("landing") == 100
    assert "these are quiet hours" in scene.told("rule.shade.decided")[-1].text


def test_moves_a_day_are_bounded() -> None:
    scene = sunny(Restraint(moves_a_day=2, dwell_s=0.0, smallest_move_pct=1, move_worth_s=1.0))
    scene.run(6 * 3600)
    assert len(scene.starts) == 2
    assert "2 moves a day are enough" in scene.told("rule.shade.decided")[-1].text


def test_dwell_keeps_moves_apart() -> None:
    scene = sunny(Restraint(dwell_s=3600.0, smallest_move_pct=1, move_worth_s=1.0))
    scene.run(5 * 3600)
    times = [at for at, _ in scene.starts]
    assert len(times) >= 2
    assert min(b - a for a, b in itertools.pairwise(times)) > 3599.9


def test_a_rule_that_lost_is_told_with_the_one_that_won() -> None:
    rules = choice("sun-depth"), choice("warmth", open_pct=100.0, indoor_c=30.0)
    scene = given(*rules, sensors=(sensor("indoor-temperature", stale_s=1e9),), now_s=MIDDAY_S)
    scene.say("indoor-temperature", 18.0)
    scene.run(3 * 3600)
    fields = dict(scene.told("rule.shade.decided")[-1].fields)
    assert fields["rule"] == "sun-depth"
    assert str(fields["lost"]).startswith("warmth: 18.0 °C indoors")
    assert str(fields["next_look"]).endswith("+00:00")


def test_an_order_that_a_rule_makes_pointless_in_the_same_event_does_not_leave() -> None:
    scene = given(choice("schedule", times=((time(0, 10), 40.0),)), hold_s=0.0)
    scene.run(599.8 - scene.now_s)
    scene.ask("landing", 75, Rank.BASE)
    scene.now_s = 599.9
    scene.ask("landing", 70, Rank.BASE)  # waits, for no more than four orders a second leave
    scene.notes.clear()
    before = scene.shade("landing")
    scene.now_s = 600.1  # late, so that both its time and a look have come
    decisions = scene.event(Ticked(at=scene.at))
    shade = scene.shade("landing")
    assert shade.request is not None
    assert (scene.ends(), shade.request.want) == ([("landing", "superseded")], Percent(open_pct=40))
    (sent,) = decisions.orders
    assert shade.outstanding is not None
    assert (shade.outstanding.order, shade.outstanding.request) == (sent.order, shade.request.id)
    assert sent.order.seq == before.seq + 1
    assert len(scene.told("order.sent")) == 1
    scene.run(60)
    assert scene.open_pct("landing") == 40


def test_a_look_that_changes_nothing_is_only_a_look() -> None:
    scene = given(choice("wind"), sensors=(sensor("gust", stale_s=1e6),))
    scene.say("gust", 1.0)
    scene.notes.clear()
    scene.run(3600)
    assert scene.starts == []
    assert len(scene.told("rule.shade.decided")) <= 1


def test_looks_are_on_even_parts_of_the_hour() -> None:
    spec = house_spec(shade_spec("landing"))
    at = datetime(2026, 6, 1, 10, 3, 20, tzinfo=UTC)
    assert next_look(spec, at) == datetime(2026, 6, 1, 10, 10, tzinfo=UTC)
    assert next_look(spec, datetime(2026, 6, 1, 10, 10, tzinfo=UTC)) == datetime(
        2026, 6, 1, 10, 20, tzinfo=UTC
    )


def asks(low: float, high: float, rank: Rank = Rank.RULE) -> Standing:
    return Standing(
        number=0, rule="test", rank=rank, demand=Demand(at_least_pct=low, at_most_pct=high, why="a test")
    )


@pytest.mark.parametrize(
    ("low", "high", "now", "mine", "to"),
    [
        (0, 43, 100, False, 40),
        (0, 43, 43, False, None),
        (0, 43, 40, True, None),
        (0, 46, 40, True, 45),
        (33, 33, 100, False, 33),
        (0, 100, 40, True, 100),
        (0, 100, 97, True, 100),
        (0, 100, 40, False, None),
        (60, 100, 40, False, 60),
        (0, 3, 100, False, 0),
        (100, 100, 97, False, 100),
    ],
)
def test_where_the_rules_want_a_shade(
    low: float, high: float, now: float, mine: bool, to: int | None
) -> None:
    verdict = decided([asks(low, high)], now_pct=now)
    move = wish(verdict, now_pct=now, mine=mine, step_pct=5)
    assert (None if move is None else move.to_pct) == to


@pytest.mark.parametrize(("now", "to"), [(100, 65), (68, None), (64, None), (60, 65)])
def test_a_demand_that_lost_is_followed_in_whole_steps_only(now: float, to: int | None) -> None:
    sun, warmth = asks(0, 68), asks(100, 100)
    verdict = decided([sun, replace(warmth, number=1)], now_pct=now)
    assert (verdict.low_pct, verdict.high_pct, verdict.lost) == (68, 68, (replace(warmth, number=1),))
    move = wish(verdict, now_pct=now, mine=True, step_pct=5)
    assert (None if move is None else move.to_pct) == to
