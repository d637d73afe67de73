"""Move profiles by hand: 3200 steps/s after 0.8 s and 1280 steps of ramp at 4000 steps/s^2."""

from dataclasses import replace

import pytest

from bridge.core.position import one_way
from bridge.core.position.allowance import physical_range
from bridge.core.position.estimate import Knowledge
from bridge.core.position.evidence import nothing_known, rebased
from bridge.core.reckoning import Reckoning, Run
from bridge.core.spec import ShadeSpec
from bridge.core.values import Interval
from tests.one_way_world import given_link, given_spec

SPEC = given_spec()
ASLEEP = given_spec(given_link(rest_current=False))
ZERO = given_spec(given_link(retained=False))


def known_at(spec: ShadeSpec = SPEC, *, hull: Interval | None = None, count: int = 0) -> Knowledge:
    at = hull or Interval(low=-20, high=20)
    return rebased(spec, nothing_known(spec), at, count=count, boot=one_way.NO_BOOT)


def resting(count: int) -> Reckoning:
    return Reckoning(counts=one_way.only(count), target=count)


def run_to(to: int, *, spec: ShadeSpec = SPEC, begun: int = 0, heard: bool = True) -> Run:
    run = one_way.set_off(spec, resting(begun), to=to, request=1, now_s=100.0)
    return replace(run, heard_s=100.2) if heard else run


def test_a_run_lasts_as_long_as_its_profile_and_a_slow_clock() -> None:
    # 10240 steps: two ramps of 0.8 s and 7680 steps at 3200 steps/s, 4.0 s in all.
    run = run_to(10_240)
    assert run.lasts_s == pytest.approx(4.0 * 1.05)
    assert one_way.ends_s(SPEC, run) == pytest.approx(100.2 + 0.5 + 4.2)
    assert one_way.ends_s(SPEC, run_to(10_240, heard=False)) is None


def test_the_window_runs_from_the_latest_to_the_earliest_that_it_may_be() -> None:
    run = run_to(10_240)
    assert one_way.window(SPEC, run, 100.0) == Interval(low=0, high=0)
    # At the earliest 2.0 s at 1.05 times the pace: 1280 + 1.3 s * 3200; at the latest (2.0 - 0.7) / 1.05 s.
    at = one_way.window(SPEC, run, 102.0)
    assert at.high == pytest.approx(1280 + 1.3 * 3200, abs=1)
    assert at.low == pytest.approx(1280 + ((2.0 - 0.7) / 1.05 - 0.8) * 3200, abs=1)
    assert one_way.window(SPEC, run, 110.0) == Interval(low=10_240, high=10_240)


def test_a_run_upward_has_its_window_the_other_way_round() -> None:
    at = one_way.window(SPEC, run_to(0, begun=10_240), 102.0)
    assert at.low == pytest.approx(10_240 - 1280 - 1.3 * 3200, abs=1)
    assert at.low < at.high < 10_240


def test_until_the_broker_has_passed_it_on_it_may_not_have_begun() -> None:
    assert one_way.window(SPEC, run_to(10_240, heard=False), 103.0).low == 0


def test_a_run_that_was_turned_on_the_way_may_be_anywhere_on_it() -> None:
    first = run_to(10_240)
    turned = one_way.set_off(SPEC, Reckoning(run=first), to=4_000, request=2, now_s=102.0)
    assert not turned.steady
    assert one_way.window(SPEC, turned, 103.0) == one_way.path(turned)
    assert one_way.path(turned).high == 10_240
    # The old run to its end, then the way back.
    assert turned.lasts_s == pytest.approx(100.2 + 0.5 + 4.2 - 102.0 + one_way.duration_s(SPEC, 6_240))


def test_from_an_unknown_count_a_run_is_given_the_whole_travel() -> None:
    run = one_way.set_off(SPEC, Reckoning(), to=500, request=None, now_s=0.0)
    assert run.lasts_s > one_way.duration_s(SPEC, SPEC.travel.end_steps)
    assert not run.steady


def test_the_guess_follows_the_profile_both_ways() -> None:
    assert one_way.aim(SPEC, run_to(10_240), 100.8) == 1280
    assert one_way.aim(SPEC, run_to(0, begun=10_240), 100.8) == 10_240 - 1280


def test_the_guess_keeps_the_pace_of_a_board_that_is_sent_on_elsewhere_on_its_way() -> None:
    for first, further, sign in ((run_to(10_240), 12_000, 1), (run_to(0, begun=10_240), -1_760, -1)):
        run = first
        for now_s in (100.25, 100.5, 100.75, 101.0):
            run = one_way.set_off(SPEC, Reckoning(run=run), to=further, request=2, now_s=now_s)
        assert one_way.aim(SPEC, run, 102.0) == pytest.approx(first.guess + sign * (1280 + 1.2 * 3200), abs=4)
        halted = one_way.halting(SPEC, run, request=3, now_s=102.0)
        assert halted.to == pytest.approx(first.guess + sign * (1280 + 1.2 * 3200 + 1280), abs=4)
        assert one_way.aim(SPEC, halted, 102.8) == halted.to


def test_the_guess_of_a_board_that_is_turned_round_brakes_before_it_goes_back() -> None:
    for first, sign in ((run_to(10_240), 1), (run_to(0, begun=10_240), -1)):
        turned = one_way.set_off(SPEC, Reckoning(run=first), to=first.guess, request=2, now_s=101.0)
        began, top = one_way.aim(SPEC, first, 101.0), 1920 + 1280
        assert one_way.aim(SPEC, turned, 101.0) == began
        # 0.4 s at 3200 steps/s less 320 steps of a ramp of 4000 steps/s^2, and the rest of that ramp.
        assert one_way.aim(SPEC, turned, 101.4) == began + sign * (1280 - 320)
        assert one_way.aim(SPEC, turned, 101.8) == first.guess + sign * top
        assert one_way.aim(SPEC, turned, 102.2) == first.guess + sign * (top - 320)
        assert one_way.aim(SPEC, turned, 110.0) == first.guess


def test_a_halt_on_the_ramp_is_guessed_to_end_as_far_on_as_that_speed_takes_to_brake() -> None:
    # After 0.4 s: 320 steps, 1600 steps/s.
    assert one_way.halting(SPEC, run_to(10_240), request=3, now_s=100.4).to == 640
    assert one_way.halting(SPEC, run_to(0, begun=10_240), request=3, now_s=100.4).to == 10_240 - 640


def test_a_halt_ends_between_here_and_a_braking_distance_beyond_the_latency() -> None:
    run = run_to(10_240)
    halted = one_way.halting(SPEC, run, request=3, now_s=102.0)
    here, later = one_way.window(SPEC, run, 102.0), one_way.window(SPEC, run, 102.5)
    assert halted.rests == Interval(low=here.low, high=later.high + 1280)
    assert halted.lasts_s == pytest.approx(3200 / 4000 * 1.05)
    up = one_way.halting(SPEC, run_to(0, begun=10_240), request=3, now_s=101.0)
    assert up.rests.low < up.rests.high
    assert one_way.path(run).contains(halted.rests)


def test_a_halt_that_is_passed_on_late_has_let_the_board_go_on() -> None:
    for run in (run_to(10_240), run_to(0, begun=10_240)):
        halted = one_way.halting(SPEC, run, request=3, now_s=101.0)
        at_once = one_way.gone_on(SPEC, halted, 101.0)
        late = one_way.gone_on(SPEC, halted, 101.5)
        assert at_once.rests == halted.rests
        assert late.rests.contains(one_way.window(SPEC, run, 101.5))
        assert late.rests.width == halted.rests.width + 1680
        # However late, it stops at its target.
        assert one_way.gone_on(SPEC, halted, 160.0).rests.joined(one_way.only(run.to)) == (
            one_way.gone_on(SPEC, halted, 160.0).rests
        )
        assert one_way.path(run).contains(one_way.gone_on(SPEC, halted, 160.0).rests)


def test_a_halt_by_target_aims_a_braking_distance_on_but_never_past_the_target() -> None:
    assert one_way.stopping_count(SPEC, run_to(10_240), 101.0) == 1280 + 640 + 1280
    assert one_way.stopping_count(SPEC, run_to(10_240), 103.9) == 10_240
    assert one_way.stopping_count(SPEC, run_to(0, begun=10_240), 101.0) == 10_240 - 1280 - 640 - 1280


def test_the_way_of_a_board_that_is_turned_is_only_what_is_new_in_it() -> None:
    assert one_way.way_to(resting(100), 400) == 300
    assert one_way.way_to(Reckoning(run=run_to(10_240)), 10_000) == 240
    assert one_way.way_to(Reckoning(), 400) == 0


def test_a_target_on_its_way_widens_the_claim_to_all_of_the_way() -> None:
    after = one_way.departed(SPEC, known_at(), run_to(10_240), way=10_240)
    assert after.hull.low < -20
    assert after.hull.high > 10_260
    lost = one_way.departed(SPEC, nothing_known(SPEC), run_to(10_240), way=0)
    assert lost.hull == nothing_known(SPEC).hull


def test_steps_that_the_upper_stop_may_swallow_are_allowed_for() -> None:
    top = physical_range(SPEC).low
    short = one_way.departed(SPEC, known_at(), run_to(top // 2 + 200), way=0)
    assert short.base is not None
    assert short.base.width == pytest.approx(40, abs=10)  # and the slip of one start
    beyond = one_way.departed(SPEC, known_at(), run_to(top - 1_000), way=0)
    rested = one_way.at_rest(SPEC, beyond, one_way.only(top - 1_000))
    assert rested.hull.contains(Interval(low=top, high=top // 2))


def test_the_clock_leaves_out_what_is_behind_the_hem_bar() -> None:
    run = run_to(10_240)
    known = one_way.departed(SPEC, known_at(), run, way=10_240)
    later = one_way.on_the_way(SPEC, known, run, 103.0)
    assert later.hull.low > known.hull.low + 3000
    assert later.hull.high == known.hull.high
    assert one_way.on_the_way(SPEC, nothing_known(SPEC), run, 103.0) == nothing_known(SPEC)


def test_a_claim_that_the_clock_contradicts_gives_way_to_it() -> None:
    run, known = run_to(10_240), replace(known_at(), hull=Interval(low=-500, high=-400))
    assert one_way.on_the_way(SPEC, known, run, 110.0).hull.low > 9_000


def test_at_rest_the_claim_is_that_of_the_count() -> None:
    rested = one_way.at_rest(SPEC, known_at(), one_way.only(5_000))
    assert rested.settled_count == 5_000
    assert rested.hull.contains(Interval(low=4_980, high=5_020))
    assert one_way.at_rest(SPEC, known_at(), Interval(low=0, high=9)).settled_count is None
    assert one_way.at_rest(SPEC, nothing_known(SPEC), one_way.only(0)) == nothing_known(SPEC)


def test_a_motor_without_current_may_let_the_cloth_fall_after_every_move() -> None:
    bare = replace(ASLEEP, unpowered_holds=())
    fallen = one_way.at_rest(bare, known_at(bare), one_way.only(5_000))
    assert fallen.hull.high == bare.travel.end_steps
    held = one_way.at_rest(ASLEEP, known_at(ASLEEP), one_way.only(5_000))
    assert held.hull.width < 150


def test_a_sleeping_rotor_and_a_rounding_board_are_allowed_for() -> None:
    assert one_way.slack(SPEC) == 0
    assert one_way.slack(ASLEEP) == 8


def test_a_board_that_is_gone_has_stopped_in_the_claim_or_fallen() -> None:
    bare = replace(SPEC, unpowered_holds=())
    assert one_way.power_lost(bare, known_at(bare)).hull.high == bare.travel.end_steps
    assert one_way.power_lost(SPEC, known_at()).hull == Interval(low=-28, high=28)


def test_a_board_back_from_a_cut_on_its_way_takes_itself_to_be_at_its_target_and_is_not() -> None:
    run = run_to(10_240)
    known = one_way.departed(SPEC, known_at(), run, way=10_240)
    gone = one_way.power_lost(SPEC, known)
    after, reckoning = one_way.power_returned(SPEC, gone, Reckoning(run=run, target=10_240), 103.0)
    assert after.hull.contains(Interval(low=0, high=10_240))
    assert after.base is not None
    # Whatever it stands at counts as 10240 from now on.
    assert after.base.contains(Interval(low=-10_240, high=0))
    assert reckoning.counts == one_way.only(10_240)
    assert reckoning.run is not None
    assert reckoning.run.request is None


def test_a_board_that_rested_at_its_retained_target_is_where_it_was() -> None:
    known = one_way.at_rest(SPEC, known_at(), one_way.only(5_000))
    after, reckoning = one_way.power_returned(SPEC, known, resting(5_000), 0.0)
    assert after.hull == known.hull
    assert reckoning.run is None


def test_a_board_that_starts_from_zero_may_also_have_kept_its_count() -> None:
    known = one_way.at_rest(ZERO, known_at(ZERO), one_way.only(5_000))
    after, reckoning = one_way.power_returned(ZERO, known, resting(5_000), 0.0)
    assert reckoning.counts == Interval(low=0, high=5_000)
    assert after.base is not None
    assert after.base.contains(Interval(low=0, high=5_000))
    _, moving = one_way.power_returned(ZERO, known, Reckoning(run=run_to(9_000, begun=5_000)), 0.0)
    assert moving.counts == Interval(low=0, high=9_000)
    _, blank = one_way.power_returned(ZERO, nothing_known(ZERO), Reckoning(), 0.0)
    assert blank.counts == one_way.only(0)


def test_a_board_that_was_never_told_a_target_starts_where_it_was_confirmed() -> None:
    _, reckoning = one_way.power_returned(SPEC, known_at(), Reckoning(counts=one_way.only(0)), 0.0)
    assert reckoning.counts == one_way.only(0)


def test_a_board_whose_target_nobody_knows_means_nothing_by_its_count() -> None:
    after, reckoning = one_way.power_returned(SPEC, known_at(), Reckoning(), 0.0)
    assert after.base is None
    assert reckoning.counts is None


def test_a_board_told_on_its_way_may_have_slept_at_its_end_and_let_the_cloth_fall() -> None:
    loose, reckoning = replace(ASLEEP, unpowered_holds=()), Reckoning(run=run_to(10_240))
    known = known_at(loose)
    after = one_way.perhaps_fallen(loose, known, reckoning)
    assert known.base is not None
    assert after.base is not None
    assert after.base.contains(known.base)
    # What counts as 10240 may be the end of the cloth.
    assert after.base.high + 10_240 >= loose.travel.end_steps
    assert after.hull.high >= loose.travel.end_steps
    held = replace(ASLEEP, unpowered_holds=((0.0, 100.0),))
    for spec in (held, replace(SPEC, unpowered_holds=())):
        assert one_way.perhaps_fallen(spec, known_at(spec), reckoning) == known_at(spec)
    assert one_way.perhaps_fallen(loose, known, resting(10_240)) == known
