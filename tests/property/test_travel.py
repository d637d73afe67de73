"""For any shade one could build: drop and steps are inverse, and more of one is more of the other."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.core.shade.drive import Drive
from bridge.core.shade.profile import move_profile
from bridge.core.shade.roll import Roll, solve_roll
from bridge.core.shade.travel import Travel

rolls = st.builds(
    Roll,
    tube_mm=st.floats(10, 120),
    cloth_mm=st.one_of(st.just(0.0), st.floats(0.01, 3)),
    drop_mm=st.floats(100, 6000),
    wraps_left=st.floats(0, 5),
)
drives = st.builds(
    Drive,
    pulses_per_rev=st.sampled_from([200, 400, 800, 1600, 3200, 6400]),
    gear=st.one_of(
        st.just(Fraction(57, 11)),
        st.builds(Fraction, st.integers(1, 60), st.integers(1, 12)).filter(
            lambda ratio: ratio >= Fraction(1, 4)
        ),
    ),
)
travels = st.builds(Travel, roll=rolls, drive=drives)
shares = st.floats(0, 1)


@given(travels, shares)
def test_a_step_goes_to_a_drop_and_back_to_the_same_step(travel: Travel, share: float) -> None:
    steps = round(
        -travel.drive.pulses_per_turn + Fraction(share) * (travel.end_steps + travel.drive.pulses_per_turn)
    )
    assert round(travel.steps_at_drop(travel.drop_at_steps(steps))) == steps


@given(travels, st.floats(-5, 105))
def test_a_percent_goes_to_steps_and_back(travel: Travel, open_pct: float) -> None:
    if travel.roll.drop_at_percent(open_pct) <= travel.roll.end_drop_mm:
        assert travel.percent_at_steps(travel.steps_at_percent(open_pct)) == pytest.approx(open_pct, abs=1e-6)


@given(travels, shares)
def test_one_step_further_down_is_lower_in_mm_and_in_percent(travel: Travel, share: float) -> None:
    steps = round(share * (travel.end_steps - 1))
    assert travel.drop_at_steps(steps) < travel.drop_at_steps(steps + 1)
    assert travel.percent_at_steps(steps) > travel.percent_at_steps(steps + 1)
    assert travel.mm_between(steps, steps + 1) > 0


@given(rolls, shares, st.floats(1e-6, 1))
def test_more_drop_takes_more_turns(roll: Roll, share: float, more_mm: float) -> None:
    drop_mm = share * (roll.end_drop_mm - more_mm)
    assert roll.turns_at_drop(drop_mm) < roll.turns_at_drop(drop_mm + more_mm)


@given(travels)
def test_the_bounds_are_whole_steps_around_the_real_ones(travel: Travel) -> None:
    end = Fraction(travel.roll.wound_turns) * travel.drive.pulses_per_turn
    assert 0 <= end - travel.end_steps < 1
    assert 0 <= end - travel.drive.pulses_per_turn / 2 - travel.deepest_steps < 1
    exact = Fraction(travel.roll.total_turns) * travel.drive.pulses_per_turn
    assert abs(exact - travel.lower_steps) <= Fraction(1, 2)


@given(rolls)
def test_the_turns_and_the_other_measures_give_the_missing_one(roll: Roll) -> None:
    known = {
        "tube_mm": roll.tube_mm,
        "cloth_mm": roll.cloth_mm,
        "drop_mm": roll.drop_mm,
        "turns": roll.total_turns,
        "wraps_left": roll.wraps_left,
    }
    for name in ("tube_mm", "cloth_mm", "drop_mm", "turns"):
        solved = solve_roll(**{key: value for key, value in known.items() if key != name})
        assert solved.tube_mm == pytest.approx(roll.tube_mm, abs=1e-6)
        assert solved.cloth_mm == pytest.approx(roll.cloth_mm, abs=1e-6)
        assert solved.drop_mm == pytest.approx(roll.drop_mm, abs=1e-6)
        assert solved.total_turns == pytest.approx(roll.total_turns, abs=1e-6)


@given(
    steps=st.integers(0, 200_000),
    top_pps=st.floats(10, 20_000),
    ramp_pps2=st.floats(10, 50_000),
    start_share=shares,
    first=shares,
    second=shares,
)
def test_a_move_never_runs_backwards_nor_faster_than_its_top(
    steps: int, top_pps: float, ramp_pps2: float, start_share: float, first: float, second: float
) -> None:
    profile = move_profile(steps=steps, top_pps=top_pps, ramp_pps2=ramp_pps2, start_pps=start_share * top_pps)
    early_s, late_s = sorted((first * profile.duration_s, second * profile.duration_s))
    way = profile.steps_after(late_s) - profile.steps_after(early_s)
    slack = 1e-6 * (1 + steps)
    assert -slack <= way <= (late_s - early_s) * top_pps + slack
    assert 0 <= profile.steps_after(early_s) <= steps + slack
