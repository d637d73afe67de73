from dataclasses import replace
from math import pi
from random import Random

import pytest

from bridge.simulate.build import Build
from bridge.simulate.truth import Tube

FIRM = Build(
    tube_mm=38.0, cloth_mm=0.5, drop_mm=1800.0, wraps_left=1.5, start_mm=600.0, detent_nm=1.0, holding_nm=5.0
)
WEAK = replace(FIRM, detent_nm=0.01)


def awake(build: Build) -> Tube:
    tube = Tube.new(build, Random(1))
    tube.power_up()
    tube.energise()
    return tube


def test_a_new_shade_hangs_where_it_was_put() -> None:
    assert Tube.new(FIRM, Random(1)).drop_mm == pytest.approx(600.0)


def test_the_limits_are_the_built_drop_apart() -> None:
    # Area balance, the handbook formula for wound web: turns n of total length pi n (D + n t).
    tube = awake(replace(FIRM, start_mm=0.0))
    wraps = 1.5
    length = 1800.0 + pi * wraps * (38.0 + wraps * 0.5)
    turns = (-38.0 + (38.0**2 + 4 * 0.5 * length / pi) ** 0.5) / (2 * 0.5) - wraps
    tube.drive(round(turns * 800 * 57 / 11), 1000)
    assert tube.drop_mm == pytest.approx(1800.0, abs=0.1)
    assert tube.turns == pytest.approx(turns, abs=0.001)


def test_going_down_and_back_up_ends_where_it_began_without_slip() -> None:
    tube = awake(FIRM)
    tube.begin_move()
    tube.drive(9000, 3000)
    tube.drive(-9000, 3000)
    assert tube.drop_mm == pytest.approx(600.0)


def test_cloth_past_its_end_winds_the_wrong_way_and_the_hem_bar_rises() -> None:
    tube = awake(replace(FIRM, start_mm=1900.0))
    drops = []
    for _ in range(200):
        tube.drive(100, 1000)
        drops.append(tube.drop_mm)
    lowest = drops.index(max(drops))
    assert 0 < lowest < 199
    assert drops[lowest] == pytest.approx(tube.build.wound(tube.build.all_turns), abs=2)
    assert drops[-1] < drops[lowest] - 100
    assert tube.wrong_way


def test_slip_stays_within_its_bounds_and_differs_from_move_to_move() -> None:
    tube = awake(replace(FIRM, slip_move_mm=0.5, slip_turn_mm=0.2))
    errors = []
    for _ in range(200):
        before = tube.drop_mm
        tube.begin_move()
        tube.drive(4145, 1000)
        turned = tube.drop_mm - before
        plain = awake(replace(FIRM, start_mm=before))
        plain.drive(4145, 1000)
        errors.append(turned - (plain.drop_mm - before))
        tube.drive(-4145, 1000)
    assert max(map(abs, errors)) <= 0.5 + 0.2 + 0.01
    assert max(errors) > 0.3
    assert min(errors) < -0.3


def test_the_same_seed_slips_alike() -> None:
    build = replace(FIRM, slip_move_mm=0.5, slip_turn_mm=0.2)
    drops = []
    for _ in range(2):
        tube = Tube.new(build, Random(7))
        tube.energise()
        tube.begin_move()
        tube.drive(5000, 1000)
        drops.append(tube.drop_mm)
    assert drops[0] == drops[1]


def test_steps_against_the_stop_are_lost_in_whole_cycles() -> None:
    tube = awake(replace(FIRM, start_mm=0.0, stop_mm=-10.0))
    tube.drive(-3000, 800)
    assert tube.drop_mm == pytest.approx(-10.0, abs=16 / 4145 * pi * 60)
    assert tube.state.lost > 0
    assert tube.state.lost % 16 == 0
    assert 3000 - tube.state.lost < 400


@pytest.mark.parametrize("chunk", [1, 7, 250])
def test_losing_steps_does_not_depend_on_how_they_are_chunked(chunk: int) -> None:
    whole, parts = (awake(replace(FIRM, start_mm=0.0, stop_mm=-10.0)) for _ in range(2))
    whole.drive(-1750, 800)
    for _ in range(1750 // chunk):
        parts.drive(-chunk, 800)
    assert parts.state.lost == whole.state.lost
    assert parts.drop_mm == pytest.approx(whole.drop_mm)


def test_steps_too_fast_for_the_load_are_lost_going_up_only() -> None:
    tube = awake(replace(FIRM, holding_nm=0.05, corner_pps=1000))
    tube.drive(-800, 8000)
    assert tube.drop_mm == pytest.approx(600.0, abs=0.5)
    assert tube.state.lost >= 784
    tube.drive(-800, 500)
    assert tube.drop_mm < 580


def test_an_unpowered_hem_bar_falls_to_the_end_of_the_cloth_when_nothing_holds_it() -> None:
    tube = awake(replace(WEAK, detent_nm=0.001))
    tube.cut()
    assert tube.drop_mm == pytest.approx(tube.build.wound(tube.build.all_turns), abs=0.1)
    assert not tube.wrong_way or tube.turns - tube.build.all_turns < 0.001


def test_a_fall_ends_where_the_detent_holds() -> None:
    # Thick cloth, heavy bar: the radius shrinks faster than the hanging weight grows.
    build = replace(
        FIRM,
        cloth_mm=0.9,
        cloth_kgpm2=0.05,
        hem_bar_kg=1.0,
        friction_nm=0.2,
        detent_nm=0.012,
        start_mm=1700.0,
    )
    held = Tube.new(build, Random(1))
    assert held.drop_mm == pytest.approx(1700.0)
    held.energise()
    held.drive(-44000, 1000)
    high = held.drop_mm
    held.cut()
    assert high < 100
    assert 500 < held.drop_mm < 1700
    torque_nm = (
        (1.0 + 0.05 * held.drop_mm / 1000) * 9.80665 * (19 + 0.9 * (build.all_turns - held.turns)) / 1000
    )
    assert (torque_nm - 0.2) / (57 / 11) == pytest.approx(0.012, abs=0.0003)


def test_current_holds_what_the_detent_does_not() -> None:
    tube = Tube.new(replace(WEAK, detent_nm=1.0), Random(1))
    tube.energise()
    tube.build = WEAK
    tube.drive(-100, 100)
    assert tube.drop_mm < 600


def test_sleep_snaps_to_a_full_step_and_waking_returns_within_the_cycle() -> None:
    tube = awake(FIRM)
    tube.drive(7, 100)
    before = tube.state.rotor
    tube.cut()
    assert tube.state.rotor % 4 == 0
    tube.energise()
    assert tube.state.rotor == before


def test_after_a_power_cut_the_driver_begins_its_cycle_anew() -> None:
    tube = awake(FIRM)
    tube.drive(5, 100)
    tube.cut()
    tube.power_up()
    tube.energise()
    assert tube.state.rotor % 16 == 0
    assert abs(tube.state.rotor - 5) <= 8


def test_a_pull_against_current_slips_whole_cycles_and_stays() -> None:
    tube = awake(FIRM)
    tube.pull(80.0)
    assert tube.drop_mm == pytest.approx(680.0, abs=0.5)
    assert tube.state.rotor % 16 == 0


def test_a_pull_never_goes_past_the_end_of_the_cloth() -> None:
    tube = awake(FIRM)
    tube.pull(5000.0)
    assert not tube.wrong_way or tube.turns - tube.build.all_turns < 0.01


def test_a_held_hem_bar_does_not_rise_and_cloth_paid_out_is_slack_until_it_is_let_go() -> None:
    tube = awake(FIRM)
    tube.hold()
    tube.drive(-1600, 800)
    assert tube.drop_mm == pytest.approx(600.0, abs=0.5)
    tube.drive(1600, 800)
    assert tube.drop_mm == pytest.approx(600.0, abs=0.5)
    assert tube.cloth_drop_mm > 640
    tube.let_go()
    assert tube.drop_mm == tube.cloth_drop_mm


@pytest.mark.parametrize(
    ("drop", "upper", "lower"), [(-3.1, True, False), (-2.9, False, False), (1800, False, True)]
)
def test_switches_close_at_their_place(drop: float, upper: bool, lower: bool) -> None:
    tube = Tube.new(replace(FIRM, start_mm=drop, upper_switch_mm=-3.0, lower_switch_mm=1799.9), Random(1))
    assert (tube.upper_closed, tube.lower_closed) == (upper, lower)


def test_a_stuck_switch_says_what_it_is_stuck_at() -> None:
    tube = Tube.new(replace(FIRM, start_mm=-5.0, upper_switch_mm=-3.0, lower_switch_mm=1800.0), Random(1))
    tube.state.upper_stuck, tube.state.lower_stuck = False, True
    assert (tube.upper_closed, tube.lower_closed) == (False, True)


def test_asking_a_twin_changes_nothing() -> None:
    tube = awake(FIRM)
    twin = tube.twin()
    twin.drive(500, 100)
    assert tube.drop_mm == pytest.approx(600.0)
    assert twin.drop_mm > 610
