"""For any shade and motor one could build: the peak is the peak, and what is said to hold does hold."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.core.shade.holding import holding_drops
from bridge.core.shade.lifting import Lifting
from bridge.core.shade.motor import Motor
from bridge.core.shade.roll import Roll

liftings = st.builds(
    Lifting,
    roll=st.builds(
        Roll,
        tube_mm=st.floats(15, 90),
        cloth_mm=st.one_of(st.just(0.0), st.floats(0.1, 2)),
        drop_mm=st.floats(300, 5000),
        wraps_left=st.floats(0, 3),
    ),
    width_mm=st.floats(300, 3000),
    cloth_kgpm2=st.one_of(st.just(0.0), st.floats(0.05, 1)),
    hem_bar_kg=st.floats(0.05, 4),
    gear=st.sampled_from([Fraction(1), Fraction(57, 11), Fraction(20)]),
)
motors = st.builds(
    Motor,
    holding_torque_nm=st.floats(0.05, 3),
    detent_torque_nm=st.floats(0, 0.2),
    phase_a=st.floats(0.2, 4),
    phase_ohm=st.floats(0.3, 30),
    phase_mh=st.floats(0.3, 40),
)
shares = st.floats(0, 1)


@given(liftings, shares)
def test_nowhere_is_the_torque_larger_than_its_peak(lifting: Lifting, share: float) -> None:
    somewhere = lifting.tube_torque_nm(share * lifting.roll.drop_mm)
    assert somewhere <= lifting.peak().tube_torque_nm * (1 + 1e-9)


@given(liftings, shares, shares)
def test_a_place_holds_exactly_where_the_map_says_so(lifting: Lifting, strength: float, share: float) -> None:
    detent_nm = 1.2 * strength * lifting.peak().tube_torque_nm / float(lifting.gear)
    stretches = holding_drops(lifting, detent_torque_nm=detent_nm, margin=1)
    lowered_mm = share * lifting.roll.drop_mm
    back_nm = lifting.back_driving_torque_nm(lowered_mm)
    if not math.isclose(back_nm, detent_nm, rel_tol=1e-6):
        assert any(low <= lowered_mm <= high for low, high in stretches) == (back_nm < detent_nm)


@given(motors, st.floats(5, 48), st.floats(0, 20_000))
def test_the_current_fits_the_supply_and_the_winding(motor: Motor, supply_v: float, full_pps: float) -> None:
    current_a = motor.current_at_speed_a(full_pps, supply_v=supply_v)
    w = full_pps * math.pi / 2
    if current_a > 0:
        across_v = math.hypot(
            motor.phase_ohm * current_a + w * motor.flux_linkage_wb, w * motor.phase_mh / 1000 * current_a
        )
        assert across_v <= supply_v * (1 + 1e-9)
    assert 0 <= current_a <= motor.phase_a
    limit = motor.top_speed_emf_full_pps(supply_v)
    assert motor.current_at_speed_a(limit * 0.999, supply_v=supply_v) == pytest.approx(
        motor.phase_a if limit else min(motor.phase_a, supply_v / motor.phase_ohm)
    )
