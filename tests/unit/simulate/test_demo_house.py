from dataclasses import replace
from random import Random

import pytest

from bridge.simulate.demo_house import DEMO_HOUSE, NOMINAL
from bridge.simulate.fitting import Fitting
from bridge.simulate.truth import Tube

BY_SHADE = {each.shade: each for board in DEMO_HOUSE.boards for each in board.channels}


@pytest.fixture(params=sorted(NOMINAL))
def shade(request: pytest.FixtureRequest) -> str:
    name: str = request.param
    return name


def awake(fitting: Fitting, drop_mm: float) -> Tube:
    still = replace(
        fitting.build, start_mm=drop_mm, slip_move_mm=0.0, slip_turn_mm=0.0, detent_nm=9.0, holding_nm=9.0
    )
    tube = Tube.new(still, Random(1))
    tube.energise()
    return tube


def test_every_shade_hangs_where_its_settings_say(shade: str) -> None:
    nominal = NOMINAL[shade]
    (board,) = (board for board in DEMO_HOUSE.boards if board.id == nominal.board)
    assert board.channels[nominal.channel].shade == shade


def test_the_settings_are_wrong_by_less_than_a_thousandth_of_the_drop_but_not_right(shade: str) -> None:
    nominal, truth = NOMINAL[shade], BY_SHADE[shade].build
    believed = replace(truth, cloth_mm=nominal.cloth_mm, wraps_left=nominal.wraps_left)
    counted, real = (
        Tube.new(replace(each, start_mm=0.0, detent_nm=9.0), Random(1)) for each in (believed, truth)
    )
    for tube in (counted, real):
        tube.energise()
    errors = []
    for _ in range(20):
        for tube in (counted, real):
            tube.drive(2000, 500)
        errors.append(abs(counted.drop_mm - real.drop_mm))
    assert 0.3 < max(errors) < nominal.drop_mm / 1000


def test_a_full_travel_takes_fifteen_to_twenty_five_seconds(shade: str) -> None:
    nominal = NOMINAL[shade]
    tube = awake(BY_SHADE[shade], 0.0)
    steps = 0
    while tube.drop_mm < nominal.drop_mm:
        tube.drive(100, 500)
        steps += 100
    assert 15 < steps / nominal.top_pps + nominal.top_pps / nominal.ramp_pps2 < 25


@pytest.mark.parametrize("percent", range(0, 101, 5))
def test_where_the_settings_say_it_holds_it_holds(shade: str, percent: int) -> None:
    nominal, truth = NOMINAL[shade], BY_SHADE[shade].build
    if not any(low <= percent <= high for low, high in nominal.holds):
        return
    drop = nominal.drop_mm * (1 - percent / 100)
    assert Tube.new(replace(truth, start_mm=drop), Random(1)).drop_mm == pytest.approx(drop, abs=0.2)


def test_the_motors_lift_their_shades_at_top_speed_over_the_whole_travel(shade: str) -> None:
    nominal, truth = NOMINAL[shade], BY_SHADE[shade].build
    tube = Tube.new(replace(truth, start_mm=0.0, detent_nm=9.0), Random(1))
    tube.energise()
    tube.drive(40000, nominal.top_pps)
    tube.drive(-40000, nominal.top_pps)
    assert tube.state.lost == 0


def test_the_landing_falls_from_the_top_and_comes_to_rest_above_its_lower_limit() -> None:
    fallen = Tube.new(replace(BY_SHADE["landing"].build, start_mm=0.0), Random(1)).drop_mm
    assert 1500 < fallen < 2300


def test_no_shade_of_the_demo_begins_anywhere_but_where_it_was_put() -> None:
    for fitting in BY_SHADE.values():
        assert Tube.new(fitting.build, Random(1)).drop_mm == pytest.approx(fitting.build.start_mm, abs=0.2)
