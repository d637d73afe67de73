import math
from fractions import Fraction
from typing import Any

import pytest

from bridge.core.errors import RequestError
from bridge.core.shade.lifting import Lifting
from bridge.core.shade.roll import Roll

STUDY = Roll(tube_mm=40, cloth_mm=0.5, drop_mm=2000, wraps_left=1.5)


def lifting(**changes: Any) -> Lifting:
    values: dict[str, Any] = {
        "roll": STUDY,
        "width_mm": 1500,
        "cloth_kgpm2": 0.45,
        "hem_bar_kg": 0.75,
        "gear": Fraction(57, 11),
        "gear_efficiency": 0.9,
        "friction_nm": 0.05,
    }
    return Lifting(**values | changes)


def energy_j(load: Lifting, turns: float) -> float:
    """Potential energy of bar and hanging cloth, from the drop alone; the roll's own is left out."""
    drop_m = load.roll.drop_at_turns(turns) / 1000
    return -9.80665 * (load.hem_bar_kg * drop_m + load.cloth_kgpm * drop_m * drop_m / 2)


@pytest.mark.parametrize("lowered_mm", [1.0, 700.0, 1999.0, 2150.0])
def test_the_torque_is_the_slope_of_the_energy(lowered_mm: float) -> None:
    load, small = lifting(), 1e-5
    turns = STUDY.turns_at_drop(lowered_mm)
    slope = (energy_j(load, turns - small) - energy_j(load, turns + small)) / (2 * small * 2 * math.pi)
    assert load.tube_torque_nm(lowered_mm) == pytest.approx(slope, rel=1e-5)


def test_friction_and_gear_losses_burden_the_motor_and_never_help_it() -> None:
    load = lifting()
    static = load.tube_torque_nm(2000)
    assert load.tube_torque_lifting_nm(2000) == static + 0.05
    assert load.motor_torque_nm(2000) == pytest.approx((static + 0.05) / (57 / 11 * 0.9))
    assert load.back_driving_torque_nm(2000) == pytest.approx(static / (57 / 11))
    assert load.peak_motor_torque_nm() == pytest.approx(load.motor_torque_nm(2000))


def test_above_the_upper_limit_only_the_bar_hangs() -> None:
    assert lifting().hanging_kg(-10) == 0.75


@pytest.mark.parametrize(
    ("changes", "at_mm"),
    [
        ({"cloth_kgpm2": 0}, 0),  # the roll only gets thinner
        (
            {"roll": Roll(tube_mm=40, cloth_mm=0, drop_mm=2000, wraps_left=1)},
            2000,
        ),  # the cloth only gets heavier
        ({}, 2000),
        ({"hem_bar_kg": 20}, 0),
    ],
)
def test_the_worst_place_may_be_a_limit(changes: dict[str, Any], at_mm: float) -> None:
    peak = lifting(**changes).peak()
    assert peak.at_lowered_mm == at_mm
    assert peak.tube_torque_nm == lifting(**changes).tube_torque_nm(at_mm)


def test_the_worst_place_may_be_between_the_limits() -> None:
    load = lifting(roll=Roll(tube_mm=25, cloth_mm=0.9, drop_mm=3000, wraps_left=1.5))
    peak = load.peak()
    scanned = max(range(3001), key=load.tube_torque_nm)
    assert peak.at_lowered_mm == pytest.approx(scanned, abs=1)
    assert load.peak(deepest_mm=1000).at_lowered_mm == 1000


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"width_mm": 0}, "width_mm: 0 mm is not greater than 0"),
        ({"cloth_kgpm2": -1}, "cloth_kgpm2: -1 kg/m\\^2 is less than 0"),
        ({"hem_bar_kg": -1}, "hem_bar_kg: -1 kg is less than 0"),
        ({"hem_bar_kg": 0, "cloth_kgpm2": 0}, "hem_bar_kg \\+ cloth_kgpm2: 0 is not greater than 0"),
        ({"gear": Fraction(0)}, "gear: 0 is not greater than 0"),
        ({"gear_efficiency": 0}, "gear_efficiency: 0 is not greater than 0"),
        ({"gear_efficiency": 1.1}, "gear_efficiency: 1.1 is more than 1: a gear gives no energy"),
        ({"friction_nm": -0.1}, "friction_nm: -0.1 N m is less than 0"),
    ],
)
def test_impossible_weights_and_gears_are_refused(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(RequestError, match=message):
        lifting(**changes)
