from fractions import Fraction

import pytest

from bridge.core.errors import RequestError
from bridge.core.shade.holding import held_percents, holding_drops, holding_percents
from bridge.core.shade.lifting import Lifting
from bridge.core.shade.roll import Roll


def lifting(tube_mm: float = 40, cloth_mm: float = 0.5, drop_mm: float = 2000) -> Lifting:
    roll = Roll(tube_mm=tube_mm, cloth_mm=cloth_mm, drop_mm=drop_mm, wraps_left=1.5)
    return Lifting(roll=roll, width_mm=1500, cloth_kgpm2=0.45, hem_bar_kg=0.75, gear=Fraction(57, 11))


HUMP = lifting(tube_mm=25, cloth_mm=0.9, drop_mm=3000)


def test_a_strong_detent_holds_everywhere_and_a_weak_one_nowhere() -> None:
    assert holding_drops(lifting(), detent_torque_nm=1) == [(0, 2000)]
    assert holding_percents(lifting(), detent_torque_nm=1) == [(0, 100)]
    assert holding_drops(lifting(), detent_torque_nm=0) == []
    assert holding_percents(lifting(), detent_torque_nm=0.02) == []


def test_a_light_bar_is_held_near_the_top_only() -> None:
    [(top_mm, edge_mm)] = holding_drops(lifting(), detent_torque_nm=0.06, margin=1)
    assert top_mm == 0
    assert lifting().back_driving_torque_nm(edge_mm) == pytest.approx(0.06)
    [(low_pct, high_pct)] = holding_percents(lifting(), detent_torque_nm=0.06, margin=1)
    assert low_pct == pytest.approx(100 - edge_mm / 20)
    assert high_pct == 100


def test_a_thick_roll_may_be_held_at_both_ends_and_fall_between() -> None:
    detent = 0.08
    (top, upper_edge), (lower_edge, bottom) = holding_drops(HUMP, detent_torque_nm=detent, margin=1)
    assert (top, bottom) == (0, 3000)
    assert upper_edge < HUMP.peak().at_lowered_mm < lower_edge
    for lowered_mm in range(0, 3001, 10):
        held = lowered_mm <= upper_edge or lowered_mm >= lower_edge
        assert held == (HUMP.back_driving_torque_nm(lowered_mm) <= detent), lowered_mm
    percents = holding_percents(HUMP, detent_torque_nm=detent, margin=1)
    assert [low < high for low, high in percents] == [True, True]
    assert percents[0][0] == 0
    assert percents[1][1] == 100
    assert percents[0][1] < percents[1][0]


def test_the_gap_is_found_though_the_middle_of_the_travel_is_held() -> None:
    roll = Roll(tube_mm=25, cloth_mm=0.9, drop_mm=3000, wraps_left=1.5)
    load = Lifting(roll=roll, width_mm=1500, cloth_kgpm2=0.45, hem_bar_kg=2.6)
    hump = load.peak()
    (_, upper_edge), (lower_edge, _) = holding_drops(
        load, detent_torque_nm=hump.tube_torque_nm * 0.999, margin=1
    )
    assert upper_edge < hump.at_lowered_mm < lower_edge < 1500


def test_a_roll_may_be_held_at_the_bottom_only() -> None:
    # Nearly all the weight is in the bar, so that only the thinner roll of the lower end holds.
    roll = Roll(tube_mm=25, cloth_mm=0.9, drop_mm=3000, wraps_left=1.5)
    load = Lifting(roll=roll, width_mm=1500, cloth_kgpm2=0.01, hem_bar_kg=2)
    [(edge_mm, end_mm)] = holding_drops(load, detent_torque_nm=0.4, margin=1)
    assert 0 < edge_mm < end_mm == 3000
    assert load.back_driving_torque_nm(edge_mm) == pytest.approx(0.4)


def test_the_usual_margin_is_two() -> None:
    with_margin = holding_drops(lifting(), detent_torque_nm=0.12)
    assert with_margin == holding_drops(lifting(), detent_torque_nm=0.06, margin=1)


def test_the_stretches_may_reach_to_the_end_of_the_cloth() -> None:
    end_mm = HUMP.roll.end_drop_mm
    assert holding_drops(HUMP, detent_torque_nm=0.08, margin=1, deepest_mm=end_mm)[-1][1] == end_mm


def test_impossible_arguments_are_refused() -> None:
    with pytest.raises(RequestError, match="detent_torque_nm: -1 N m is less than 0"):
        holding_drops(lifting(), detent_torque_nm=-1)
    with pytest.raises(RequestError, match=r"margin: 0.5 is less than 1"):
        holding_drops(lifting(), detent_torque_nm=1, margin=0.5)
    with pytest.raises(RequestError, match="deepest_mm: 0 mm is not greater than 0"):
        holding_drops(lifting(), detent_torque_nm=1, deepest_mm=0)
    with pytest.raises(RequestError, match="past the end of the cloth"):
        holding_drops(lifting(), detent_torque_nm=1, deepest_mm=9000)


def test_a_motor_may_sleep_at_the_lower_limit_only_if_the_cloth_below_it_is_held_too() -> None:
    # With twice the torque at the lower limit, it holds a little more cloth with nearly as much.
    at_limit = lifting().back_driving_torque_nm(2000)
    assert held_percents(lifting(), detent_torque_nm=2 * at_limit) == [(0, 100)]
    assert held_percents(lifting(), detent_torque_nm=0.02) == []
    [(low, high)] = held_percents(lifting(), detent_torque_nm=0.12)
    assert low == pytest.approx(100 - _edge(0.06) / 20)
    assert high == 100


def test_a_heavy_rest_of_cloth_keeps_the_motor_awake_at_the_lower_limit() -> None:
    roll = Roll(tube_mm=40, cloth_mm=0.5, drop_mm=300, wraps_left=20)
    heavy = Lifting(roll=roll, width_mm=3000, cloth_kgpm2=2, hem_bar_kg=0.05, gear=Fraction(57, 11))
    detent = 2 * heavy.back_driving_torque_nm(300)
    assert heavy.back_driving_torque_nm(roll.end_drop_mm) > detent
    assert holding_percents(heavy, detent_torque_nm=detent) == [(0, 100)]
    assert held_percents(heavy, detent_torque_nm=detent) == [(1, 100)]


def _edge(limit_nm: float) -> float:
    [(_, edge_mm)] = holding_drops(lifting(), detent_torque_nm=limit_nm, margin=1)
    return edge_mm
