"""The sizing of a shade: each remedy is tried, and the places of the travel agree with energy and model."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from bridge.core.errors import RequestError
from bridge.core.shade.drive import Drive
from bridge.core.shade.lifting import Lifting
from bridge.core.shade.motor import USUAL_MARGIN, Motor
from bridge.core.shade.roll import Roll
from bridge.core.shade.sizing import (
    BLADE_FUSES_A,
    MINIATURE_FUSES_A,
    Feed,
    Setup,
    along_travel,
    gear_that_holds,
    has_margin,
    next_fuse_a,
    remedies,
    resting_drop_mm,
)
from bridge.core.shade.travel import Travel

GEAR = Fraction(57, 11)
ROLL = Roll(tube_mm=40, cloth_mm=0.5, drop_mm=2000, wraps_left=1.5)


def a_setup(*, holding_nm: float = 0.4, detent_nm: float = 0.02, pps: float = 3000, awg: int = 24) -> Setup:
    return Setup(
        travel=Travel(roll=ROLL, drive=Drive(pulses_per_rev=800, gear=GEAR)),
        lifting=Lifting(
            roll=ROLL, width_mm=1500, cloth_kgpm2=0.45, hem_bar_kg=0.75, gear=GEAR,
            gear_efficiency=0.9, friction_nm=0.05,
        ),
        motor=Motor(
            holding_torque_nm=holding_nm, detent_torque_nm=detent_nm, phase_a=1.7, phase_ohm=1.5, phase_mh=2.8
        ),
        feed=Feed(supply_v=12, standstill_a=0.85, cable_awg=awg, cable_m=20),
        top_pps=pps,
        ramp_pps2=3000,
    )  # fmt: skip


def test_each_remedy_by_itself_gives_the_margin_and_a_hundredth_less_of_it_does_not() -> None:
    setup = a_setup(pps=4000)
    assert not has_margin(setup)
    found = {each.what: each for each in remedies(setup)}
    assert set(found) == {"slower", "higher supply", "more gear", "lighter hem bar", "thicker cable"}
    for what in ("slower", "higher supply", "more gear"):
        each = found[what]
        assert each.setup is not None, what
        assert each.value is not None, what
        assert each.setup.result.margin == pytest.approx(USUAL_MARGIN, rel=1e-6)
    slower, gear, supply = found["slower"], found["more gear"], found["higher supply"]
    assert slower.value is not None
    assert gear.value is not None
    assert supply.value is not None
    assert not has_margin(replace(setup, top_pps=1.01 * slower.value))
    assert not has_margin(replace(setup, lifting=replace(setup.lifting, gear=Fraction(0.99 * gear.value))))
    assert not has_margin(replace(setup, feed=replace(setup.feed, supply_v=0.99 * supply.value)))


def test_the_slower_speed_is_the_fastest_with_margin_of_the_motor_itself() -> None:
    setup = a_setup(pps=8000)
    slower = next(each for each in remedies(setup) if each.what == "slower")
    assert slower.value == pytest.approx(setup.result.fastest_full_pps * 4, rel=1e-6)


def test_what_no_change_of_a_kind_can_mend_is_said() -> None:
    found = {each.what: each for each in remedies(a_setup(holding_nm=0.2))}
    assert found["slower"].value is None
    assert found["higher supply"].value is None
    assert found["more gear"].value is not None


def test_a_lighter_bar_helps_where_the_cloth_alone_is_light_enough() -> None:
    setup = a_setup(holding_nm=0.27, pps=800)
    lighter = next(each for each in remedies(setup) if each.what == "lighter hem bar")
    assert lighter.value is not None
    assert 0 < lighter.value < 0.75
    assert not has_margin(replace(setup, lifting=replace(setup.lifting, hem_bar_kg=1.01 * lighter.value)))


def test_a_thicker_cable_is_the_next_gauge_that_is_enough() -> None:
    fine = next(pps for pps in range(1000, 8000, 50) if not has_margin(a_setup(pps=pps)))
    thicker = remedies(a_setup(pps=fine))[-1]
    assert thicker.value is not None
    awg = int(thicker.value)
    assert awg < 24
    assert has_margin(a_setup(pps=fine, awg=awg))
    assert not has_margin(a_setup(pps=fine, awg=awg + 1))


def test_the_weight_along_the_travel_adds_up_to_the_energy_that_lowering_gives() -> None:
    # Independent of the formula: the centre of mass of the hanging cloth sinks by half of what was paid out.
    setup = a_setup()
    places = along_travel(setup, places=2001)
    turns = [float(setup.travel.steps_at_drop(each.drop_mm)) / 800 for each in places]
    joule = sum(
        (one.weight_nm + other.weight_nm) / 2 * (end - begin) * 2 * 3.141592653589793
        for one, other, begin, end in zip(places, places[1:], turns, turns[1:], strict=False)
    )
    assert joule == pytest.approx(9.80665 * (0.75 * 2 + 0.45 * 1.5 * 2 * 1), rel=1e-4)


def test_more_torque_is_left_where_the_travel_begins_and_ends_slowly() -> None:
    places = along_travel(a_setup(pps=8000), places=101)
    middle = places[50].available_nm
    assert places[0].available_nm > 1.5 * middle
    assert places[-1].available_nm > 1.5 * middle


def test_a_bar_that_is_not_held_comes_to_rest_at_the_end_of_the_cloth() -> None:
    setup = a_setup(detent_nm=0.05)
    assert resting_drop_mm(setup, 100) == 100
    assert resting_drop_mm(setup, 1900) == ROLL.end_drop_mm
    assert resting_drop_mm(a_setup(detent_nm=0.2), 1900) == 1900


def test_the_gear_that_holds_everywhere_holds_twice_the_worst_weight() -> None:
    setup = a_setup()
    gear = gear_that_holds(setup)
    assert gear is not None
    heavier = replace(setup.lifting, gear=Fraction(gear))
    worst = heavier.back_driving_torque_nm(setup.lifting.peak(deepest_mm=ROLL.end_drop_mm).at_lowered_mm)
    assert worst * USUAL_MARGIN == pytest.approx(0.02)
    assert gear_that_holds(a_setup(detent_nm=0)) is None


def test_a_fuse_is_the_next_rating_over_a_quarter_more_than_the_branch() -> None:
    # Ratings of IEC 60127-2 and ISO 8820-3, from memory; the quarter is common practice.
    assert next_fuse_a(1.2, MINIATURE_FUSES_A) == 1.6
    assert next_fuse_a(2.0, MINIATURE_FUSES_A) == 2.5
    assert next_fuse_a(2.0, BLADE_FUSES_A) == 3.0
    assert next_fuse_a(8.01, MINIATURE_FUSES_A) is None
    with pytest.raises(RequestError):
        next_fuse_a(0, BLADE_FUSES_A)


def test_a_cable_that_takes_all_volts_is_refused() -> None:
    with pytest.raises(RequestError, match="use a thicker or shorter cable"):
        Feed(supply_v=12, standstill_a=1, cable_awg=40, cable_m=20).driver_v(1.7)


def test_a_bar_on_a_cloth_without_mass_is_found_as_light_as_it_must_be() -> None:
    setup = a_setup(holding_nm=0.13, pps=800)
    bare = replace(setup, lifting=replace(setup.lifting, cloth_kgpm2=0.0))
    lighter = next(each for each in remedies(bare) if each.what == "lighter hem bar")
    assert lighter.setup is not None
    assert lighter.setup.result.margin == pytest.approx(USUAL_MARGIN)


def test_no_cable_takes_no_volts_and_cannot_be_thicker() -> None:
    setup = a_setup(pps=4000)
    bare = replace(setup, feed=Feed(supply_v=12, standstill_a=0.85))
    assert bare.driver_v == 12
    assert [each.what for each in remedies(bare)][-1] == "lighter hem bar"


def test_a_cable_as_thick_as_they_come_may_not_be_enough() -> None:
    assert remedies(a_setup(holding_nm=0.2))[-1].value is None


def test_travel_time_and_heat_at_rest_are_those_of_profile_and_winding() -> None:
    setup = a_setup()
    # 12.8 turns of 4145.45 steps at 3000 steps/s: the same sum as a trapezoid by hand.
    assert setup.move.duration_s == pytest.approx(setup.travel.lower_steps / 3000 + 3000 / 3000)
    assert setup.standstill_w == pytest.approx(0.85 * 0.85 * 1.5)
