from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.settings.faults import RefusedValueError
from bridge.settings.gear import read_gear, simplest_fraction


@pytest.mark.parametrize(
    ("written", "ratio"),
    [("57/11", Fraction(57, 11)), ("5", Fraction(5)), (15, Fraction(15)), (1, Fraction(1))],
)
def test_fractions_and_whole_numbers_are_exact(written: object, ratio: Fraction) -> None:
    assert read_gear(written) == ratio


@pytest.mark.parametrize(
    ("decimal", "fraction"),
    [
        ("5.18", Fraction(57, 11)),  # 46 and 11 teeth: 1 + 46/11, a common planetary gear
        ("13.73", Fraction(151, 11)),
        ("3.71", Fraction(26, 7)),
        ("5.0", Fraction(5)),
        ("5.5", Fraction(11, 2)),
        ("3.141592653589", Fraction(355, 113)),  # none rounds to it; this is the closest
    ],
)
def test_a_decimal_is_met_by_the_simplest_fraction_that_rounds_to_it(
    decimal: str, fraction: Fraction
) -> None:
    assert simplest_fraction(Decimal(decimal)) == fraction


@given(st.integers(1, 200), st.integers(1, 60))
def test_the_fraction_offered_rounds_to_the_decimal_written(teeth: int, others: int) -> None:
    written = Decimal(teeth / others).quantize(Decimal("0.001"))
    offered = simplest_fraction(written)
    assert abs(offered - Fraction(written)) <= Fraction(1, 2000)
    assert offered.denominator <= others


@pytest.mark.parametrize("written", [5.18, "5.18"])
def test_a_decimal_is_refused_however_it_is_written(written: object) -> None:
    with pytest.raises(RefusedValueError) as caught:
        read_gear(written)
    assert 'gear = "57/11" (5.1818) is the nearest small one' in caught.value.remedy


@pytest.mark.parametrize(
    "written",
    [True, 0, -5, "0/3", "3/0", "", "a", "\u0665", "5/", "57/11/2", " 5", float("inf"), float("nan"), []],
)
def test_what_is_no_ratio_is_refused(written: object) -> None:
    with pytest.raises(RefusedValueError):
        read_gear(written)


@pytest.mark.parametrize(
    ("written", "accepted"), [("1", True), ("99/100", False), (5000, True), ("5001", False)]
)
def test_ratios_are_bounded_on_both_sides(written: object, accepted: bool) -> None:
    if accepted:
        assert read_gear(written) > 0
    else:
        with pytest.raises(RefusedValueError):
            read_gear(written)
