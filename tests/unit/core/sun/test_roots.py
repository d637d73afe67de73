import math
from collections.abc import Callable

import pytest

from bridge.core.sun.roots import Crossing, crossings

HOUR = 3600.0
DAY = 24 * HOUR


def wave(*, level: float, phase_s: float = 0.0) -> Callable[[float], float]:
    return lambda t: math.sin(2 * math.pi * (t - phase_s) / DAY) - level


def found(
    f: Callable[[float], float], start_s: float = 0.0, end_s: float = DAY, step_s: float = 600.0
) -> list[Crossing]:
    return crossings(f, start_s=start_s, end_s=end_s, step_s=step_s)


def test_a_wave_rises_and_falls_where_its_arcsine_says() -> None:
    rise, fall = found(wave(level=0.5))
    assert (rise.rising, fall.rising) == (True, False)
    assert rise.at_s == pytest.approx(DAY / 12, abs=0.05)
    assert fall.at_s == pytest.approx(DAY * 5 / 12, abs=0.05)


@pytest.mark.parametrize("level", [1.1, -1.1])
def test_what_never_changes_sign_has_no_crossing(level: float) -> None:
    assert found(wave(level=level)) == []


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("at_s", [1000.0, 50_000.0, 50_299.0])
def test_a_top_between_two_samples_is_not_missed(sign: float, at_s: float) -> None:
    # Above zero for two minutes only, between samples ten minutes apart.
    pair = found(lambda t: sign * (3600.0 - (t - at_s) ** 2))
    assert [event.rising for event in pair] == [sign > 0, sign < 0]
    assert [event.at_s for event in pair] == pytest.approx([at_s - 60, at_s + 60], abs=0.05)


def test_a_top_that_stays_below_is_none() -> None:
    assert found(lambda t: -1.0 - (t - 50_000.0) ** 2) == []


def test_a_top_just_outside_the_span_is_none() -> None:
    assert found(lambda t: 900.0 - (t + 100.0) ** 2) == []


@pytest.mark.parametrize("border_s", [0.0, 7200.0, 7201.5, DAY / 2])
def test_neighbouring_spans_report_each_crossing_once(border_s: float) -> None:
    f = wave(level=0.0, phase_s=7200.0)
    both = found(f, -DAY, border_s) + found(f, border_s, DAY)
    assert len(both) == len(found(f, -DAY, DAY)) == 4


def test_a_span_shorter_than_a_step_is_searched_too() -> None:
    (rise,) = found(lambda t: t - 10.0, 0.0, 20.0)
    assert rise.at_s == pytest.approx(10.0, abs=0.05)
