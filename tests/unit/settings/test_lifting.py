"""The lift and motor tables of a shade, and the holding map that is computed from them."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from bridge.core.errors import ConfigError
from bridge.core.position.fall import after_power_cut, holds
from bridge.core.spec import ShadeSpec
from bridge.core.values import Interval
from bridge.settings.load import load_text
from bridge.settings.plain import Settings
from bridge.simulate.build import Build
from bridge.simulate.truth import Tube

EXAMPLE = Path(__file__).parents[3] / "config" / "hembar.toml"
WEAK = ("detent_torque_nm = 0.068", "detent_torque_nm = 0.045")
COMPUTED = ('holds = "everywhere" ', 'holds = "computed" ')


def read(*changes: tuple[str, str]) -> Settings:
    text = EXAMPLE.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return load_text(text, origin="house.toml")


def study(*changes: tuple[str, str]) -> ShadeSpec:
    return read(*changes).house.shades[0]


def test_what_is_told_of_weight_and_motor_reaches_its_place() -> None:
    lift = read().lifts[study().id]
    assert lift.lifting is not None
    assert lift.motor is not None
    assert lift.feed is not None
    assert (lift.lifting.width_mm, lift.lifting.gear_efficiency, lift.lifting.friction_nm) == (
        1000,
        0.9,
        0.05,
    )
    assert lift.lifting.gear == study().travel.drive.gear
    assert (lift.motor.holding_torque_nm, lift.motor.full_steps_per_rev) == (1.2, 200)
    assert (lift.feed.supply_v, lift.feed.standstill_a, lift.feed.cable_awg) == (24, 1.4, 20)


def test_a_motor_that_holds_everywhere_may_sleep_everywhere() -> None:
    assert study(COMPUTED).unpowered_holds == ((0.0, 100.0),)


def test_a_weaker_motor_may_sleep_where_it_holds_with_twice_the_torque() -> None:
    ((low, high),) = study(COMPUTED, WEAK).unpowered_holds
    assert high == 100
    lift = read(COMPUTED, WEAK).lifts[study().id].lifting
    assert lift is not None
    at_edge = lift.back_driving_torque_nm(study().travel.roll.drop_at_percent(low))
    assert at_edge == pytest.approx(0.045 / 2, rel=1e-6)


def test_the_truth_holds_wherever_the_computed_map_says_so_and_falls_elsewhere() -> None:
    spec = study(COMPUTED, ("detent_torque_nm = 0.068", "detent_torque_nm = 0.0296"))
    ((low, _),) = spec.unpowered_holds
    rests = {}
    for open_pct in (low, 2.0):
        drop_mm = spec.travel.roll.drop_at_percent(open_pct)
        build = Build(
            tube_mm=38, cloth_mm=0.5, drop_mm=1800, wraps_left=1.5, width_mm=1000, cloth_kgpm2=0.3,
            hem_bar_kg=0.3, detent_nm=0.0296, start_mm=drop_mm,
        )  # fmt: skip
        rests[open_pct] = Tube.new(build, Random(1)).drop_mm - drop_mm
    assert abs(rests[low]) < 1
    assert rests[2.0] > 100


def test_a_motor_of_unknown_detent_is_taken_to_hold_nowhere() -> None:
    line = "detent_torque_nm = 0.068       # what it holds without current\n"
    assert study(COMPUTED, (line, "")).unpowered_holds == ()


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (("cable_m = 8\n", ""), "of cable_awg and cable_m only one is given; give both, or leave out both"),
        (("standstill_a = 1.4 ", "standstill_a = 3 "), "standstill_a = 3 is more than phase_a = 2.8; "),
        (
            ("detent_torque_nm = 0.068", "detent_torque_nm = 1.2"),
            "detent_torque_nm = 1.2 is not less than holding_torque_nm = 1.2; ",
        ),
        (
            ("cable_awg = 20 ", "cable_awg = 40 "),
            "at 2.8 A it takes 154.2 V of the 24 V supplied; use a thicker or shorter cable, ",
        ),
        (("cable_awg = 20 ", "cable_awg = 41 "), "cable_awg = 41: it must be a wire gauge from 0000 to 40; "),
        (("supply_v = 24", "supply_v = 230"), "supply_v = 230: it must be at most 60; "),
    ],
)
def test_what_cannot_be_is_told(change: tuple[str, str], told: str) -> None:
    with pytest.raises(ConfigError) as caught:
        read(change)
    assert str(caught.value).startswith(f"house.toml [shades.study.motor]: {told}")


def test_holding_cannot_be_computed_from_nothing() -> None:
    with pytest.raises(ConfigError) as caught:
        read(("holds = [[75, 100]]", 'holds = "computed"'))
    assert str(caught.value) == (
        'house.toml [shades.kitchen.unpowered]: holds = "computed", but the figures to compute it from are '
        "missing; add width_mm, cloth_kgpm2 and hem_bar_kg under lift, and the motor's data sheet under "
        "motor; or try it with the motor unplugged and the cloth supported"
    )


def test_the_computed_map_decides_where_the_motor_sleeps_and_where_the_cloth_falls() -> None:
    spec = study(COMPUTED, WEAK)
    ((low, _),) = spec.unpowered_holds
    held, falls = (round(spec.travel.steps_at_percent(low + off)) for off in (1, -1))
    here, there = Interval(low=held, high=held), Interval(low=falls, high=falls)
    assert holds(spec, here)
    assert not holds(spec, there)
    assert after_power_cut(spec, here).high < held + 50
    assert after_power_cut(spec, there).high == spec.travel.end_steps
