from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.core.shade.units import count_of, is_endless, reach, rounding, value_for
from bridge.core.spec import ShadeSpec, Unit
from bridge.core.values import Interval
from tests.one_way_world import given_link, given_spec

# 800 pulses by 57/11 turns of the motor: 45600/11 steps for a turn of the tube.
TURN = Fraction(45600, 11)


def spec_in(unit: Unit, *, decimals: int = 0, full_steps: int = 50_000) -> ShadeSpec:
    return given_spec(replace(given_link(unit=unit, decimals=decimals), full_steps=full_steps))


@pytest.mark.parametrize(
    ("unit", "value", "count"),
    [
        (Unit.STEPS, Fraction(-40), -40),
        (Unit.STEPS, Fraction("2.6"), 3),
        (Unit.TURNS, Fraction(11), 45600),
        (Unit.TURNS, Fraction("0.5"), 2073),
        (Unit.PERCENT_CLOSED, Fraction(0), 0),
        (Unit.PERCENT_CLOSED, Fraction(100), 50_000),
        (Unit.PERCENT_OPEN, Fraction(100), 0),
        (Unit.PERCENT_OPEN, Fraction("12.5"), 43_750),
    ],
)
def test_a_number_means_the_count_that_its_unit_says(unit: Unit, value: Fraction, count: int) -> None:
    assert count_of(spec_in(unit), value) == count


@pytest.mark.parametrize(
    ("unit", "decimals", "count", "value"),
    [
        (Unit.STEPS, 0, -40, Fraction(-40)),
        (Unit.TURNS, 3, 2073, Fraction("0.5")),
        (Unit.TURNS, 1, 1000, Fraction("0.2")),
        (Unit.PERCENT_CLOSED, 0, 24_800, Fraction(50)),
        (Unit.PERCENT_CLOSED, 1, 24_800, Fraction("49.6")),
        (Unit.PERCENT_OPEN, 0, 24_800, Fraction(50)),
        (Unit.PERCENT_CLOSED, 0, -300, Fraction(0)),
        (Unit.PERCENT_OPEN, 0, 60_000, Fraction(0)),
    ],
)
def test_a_count_is_spelt_as_near_as_the_decimals_allow(
    unit: Unit, decimals: int, count: int, value: Fraction
) -> None:
    assert value_for(spec_in(unit, decimals=decimals), count) == value


@given(
    unit=st.sampled_from(Unit),
    decimals=st.integers(min_value=0, max_value=4),
    count=st.integers(min_value=0, max_value=50_000),
)
def test_there_and_back_is_out_by_half_of_the_last_decimal_at_most(
    unit: Unit, decimals: int, count: int
) -> None:
    spec = spec_in(unit, decimals=decimals)
    a_unit = {Unit.STEPS: Fraction(1), Unit.TURNS: TURN}.get(unit, Fraction(500))
    off = abs(count_of(spec, value_for(spec, count)) - count)
    assert off <= a_unit / 10**decimals / 2 + Fraction(1, 2)


def test_percent_ends_where_the_board_s_scale_does() -> None:
    assert reach(spec_in(Unit.PERCENT_OPEN)) == Interval(low=0, high=50_000)
    assert reach(spec_in(Unit.TURNS)) is None


def test_only_whole_steps_are_never_rounded_by_the_board() -> None:
    assert [rounding(unit) for unit in Unit] == [0, 1, 1, 1]
    assert [is_endless(unit) for unit in Unit] == [True, True, False, False]
