from datetime import UTC, datetime, timedelta

import pytest

from bridge.core.readings import (
    PEAKS_MAX,
    Reading,
    aged,
    due_s,
    heard,
    serving,
    session_began,
    session_ended,
)
from bridge.core.surroundings import Sensor, SensorId
from bridge.core.values import Moment, ShadeId
from tests.weather import sensor

EPOCH = datetime(2026, 6, 1, tzinfo=UTC)
AIR = sensor("outdoor-temperature")
GUST = sensor("gust")
STUDY, LANDING = ShadeId("study"), ShadeId("landing")


def at(seconds: float) -> Moment:
    return Moment(utc=EPOCH + timedelta(seconds=seconds), mono_s=seconds)


def told(what: Sensor, *pairs: tuple[float, float], began_s: float = 0.0) -> Reading:
    reading = session_began(Reading(), began_s)
    for seconds, value in pairs:
        reading = heard(what, aged(what, reading, seconds), value, "", at(seconds))
    return reading


def test_a_good_reading_counts_until_it_is_stale() -> None:
    reading = told(GUST, (10, 4.0))
    assert reading.value == 4.0
    assert due_s(GUST, reading) == 130
    assert aged(GUST, reading, 129.9) is reading
    lost = aged(GUST, reading, 130)
    assert (lost.value, lost.lost) == (None, True)
    assert lost.fault == "nothing came from it for 120 s"
    assert due_s(GUST, lost) is None
    assert aged(GUST, lost, 1e6) is lost


def test_a_sensor_that_never_speaks_is_lost_after_the_same_time() -> None:
    reading = session_began(Reading(), 1000.0)
    assert aged(GUST, reading, 1119.0) is reading
    assert aged(GUST, reading, 1120.0).lost


def test_without_a_session_nothing_is_waited_for() -> None:
    reading = session_ended(told(GUST, (10, 4.0)))
    assert reading.value is None
    assert due_s(GUST, reading) is None
    assert aged(GUST, reading, 1e9) is reading
    assert reading.marks == told(GUST, (10, 4.0)).marks


@pytest.mark.parametrize("value", [-0.1, 114.1, float("nan"), float("inf"), float("-inf")])
def test_an_absurd_reading_is_none_and_does_not_keep_the_sensor_alive(value: float) -> None:
    reading = told(GUST, (10, 4.0))
    for seconds in range(20, 131, 10):
        reading = heard(GUST, aged(GUST, reading, seconds), value, "", at(seconds))
        assert reading.value is None
        assert reading.fault
    assert reading.lost


def test_the_same_fault_again_is_no_news() -> None:
    faulty = heard(GUST, told(GUST, (10, 4.0)), None, "'x' is not a number", at(20))
    assert faulty.fault == "'x' is not a number"
    assert heard(GUST, faulty, None, "'x' is not a number", at(21)) is faulty


def test_a_good_reading_mends_a_fault() -> None:
    faulty = heard(GUST, told(GUST, (10, 4.0)), 400.0, "", at(20))
    mended = heard(GUST, faulty, 5.0, "", at(30))
    assert (mended.value, mended.fault, mended.lost) == (5.0, "", False)


def test_a_jump_is_believed_when_a_second_message_says_the_same() -> None:
    first = told(AIR, (0, 20.0), (60, 45.0))
    assert first.value is None
    assert first.fault == "it jumped from 20 to 45; 5 a minute are plausible"
    assert heard(AIR, first, 45.2, "", at(120)).value == 45.2


def test_a_change_as_fast_as_is_plausible_is_taken() -> None:
    assert told(AIR, (0, 20.0), (120, 30.0)).value == 30.0
    assert told(AIR, (0, 20.0), (5, 25.0)).value == 25.0


def test_gusts_may_jump() -> None:
    assert told(GUST, (0, 0.5), (1, 30.0)).value == 30.0


def test_exactly_one_number_for_too_long_is_stuck() -> None:
    reading = told(GUST, *((float(seconds), 0.0) for seconds in range(0, 86400, 60)))
    assert reading.value == 0.0
    stuck = heard(GUST, aged(GUST, reading, 86400), 0.0, "", at(86400))
    assert (stuck.value, stuck.lost) == (None, True)
    assert stuck.fault == "it has said exactly 0 for 24 h, so it is stuck"
    assert heard(GUST, stuck, 0.0, "", at(86460)) is stuck
    assert heard(GUST, stuck, 0.7, "", at(86520)).value == 0.7


def test_a_sensor_may_rest_at_its_number_for_ever() -> None:
    sun = sensor("irradiance")
    reading = told(sun, *((float(seconds), 0.0) for seconds in range(0, 200_000, 600)))
    assert reading.value == 0.0


def test_a_reading_without_news_changes_nothing_for_a_quarter_of_the_age_limit() -> None:
    reading = told(GUST, (10, 4.0))
    assert heard(GUST, reading, 4.05, "", at(39)) is reading
    assert heard(GUST, reading, 4.05, "", at(40)) is not reading
    assert heard(GUST, reading, 4.2, "", at(11)) is not reading


def test_the_highest_of_the_last_minutes_is_known_and_ages() -> None:
    reading = told(GUST, (0, 3.0), (10, 9.0), (20, 5.0), (30, 6.0), (40, 2.0))
    seen = serving([GUST], {GUST.id: reading}, STUDY, at(100))
    assert [(peak.age_s, peak.value) for peak in seen.peaks["gust"]] == [(90, 9.0), (70, 6.0), (60, 2.0)]
    assert seen.highest("gust", 90) == 9.0
    assert seen.highest("gust", 89) == 6.0
    assert seen.highest("gust", 1) == 2.0
    assert seen.highest("rain", 1e9) is None


def test_peaks_are_bounded_and_never_lower_or_shorter_than_what_was() -> None:
    pairs = [(float(10 * index), 100.0 - index) for index in range(90)]
    reading = told(GUST, *pairs)
    assert len(reading.marks) == PEAKS_MAX
    seen = serving([GUST], {GUST.id: reading}, STUDY, at(900))
    for seconds, value in pairs:
        highest = seen.highest("gust", 900 - seconds)
        assert highest is not None
        assert highest >= value


def test_a_clock_that_was_set_back_makes_no_reading_of_the_future() -> None:
    reading = told(GUST, (1000, 9.0))
    early = Moment(utc=EPOCH, mono_s=1010.0)
    assert serving([GUST], {GUST.id: reading}, STUDY, early).peaks["gust"][0].age_s == 0.0


def test_a_sensor_of_the_shade_s_own_goes_before_one_for_all() -> None:
    whole = sensor("indoor-temperature")
    own = sensor("indoor-temperature", id=SensorId("study-air"), shades=(STUDY,))
    held = {whole.id: told(whole, (0, 19.0)), own.id: told(own, (0, 24.0))}
    assert serving([whole, own], held, STUDY, at(1)).of("indoor-temperature") == 24.0
    assert serving([whole, own], held, LANDING, at(1)).of("indoor-temperature") == 19.0


def test_of_two_wind_sensors_the_higher_counts_and_each_may_be_missed() -> None:
    other = sensor("gust", id=SensorId("garden-gust"))
    held = {GUST.id: told(GUST, (0, 4.0)), other.id: told(other, (0, 7.0))}
    assert serving([GUST, other], held, STUDY, at(1)).of("gust") == 7.0
    held[other.id] = aged(other, held[other.id], 500)
    seen = serving([GUST, other], held, STUDY, at(1))
    assert seen.of("gust") is None
    assert seen.lost == {"gust"}
    assert seen.fitted == {"gust"}


def test_how_long_readings_have_been_good_without_a_break_is_known() -> None:
    reading = told(GUST, (10, 4.0), (60, 4.2), (110, 4.4))
    assert serving([GUST], {GUST.id: reading}, STUDY, at(110)).steady_s["gust"] == 100
    back = told(GUST, (10, 4.0), (400, 4.4))
    assert serving([GUST], {GUST.id: back}, STUDY, at(410)).steady_s["gust"] == 10


def test_light_stands_in_for_irradiance() -> None:
    lux = sensor("illuminance")
    seen = serving([lux], {lux.id: told(lux, (0, 55000.0))}, STUDY, at(1))
    assert seen.ghi_wpm2 == pytest.approx(500.0)
    sun = sensor("irradiance")
    night = serving([sun], {sun.id: told(sun, (0, -3.0))}, STUDY, at(1))
    assert night.ghi_wpm2 == 0.0
