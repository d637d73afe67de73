from dataclasses import replace
from datetime import timedelta

import pytest

from bridge.core.position import evidence
from bridge.core.position.allowance import physical_range, snap
from bridge.core.position.claims import claim_at
from bridge.core.position.estimate import Knowledge, Landmark
from bridge.core.spec import ShadeSpec
from bridge.core.values import Interval
from tests.unit.core.bench import BEGAN, SPEC, Bench

ENDS = physical_range(SPEC)
FALLS = replace(SPEC, unpowered_holds=())
PRESSED = replace(SPEC, local_button=True)


def met(spec: ShadeSpec, known: Knowledge, at: Interval, count: int, *, day: int = 0) -> Knowledge:
    return evidence.referenced(
        spec, known, at, count=count, boot=1, landmark=Landmark.UPPER_SWITCH, utc=BEGAN + timedelta(days=day)
    )


def known_at(position: int, *, half: int = 20, spec: ShadeSpec = SPEC) -> Knowledge:
    """A reference met at `position` while the board counted 0."""
    at = Interval(low=position - half, high=position + half)
    return met(spec, evidence.nothing_known(spec), at, 0)


def test_nothing_known_is_the_whole_mechanical_range() -> None:
    known = evidence.nothing_known(SPEC)
    assert (known.hull, known.base) == (ENDS, None)


def test_a_reference_links_the_count_and_is_the_claim() -> None:
    known = known_at(100)
    assert known.hull == Interval(low=80, high=120)
    assert known.base == known.hull


def test_slip_widens_the_offset_and_leaves_the_present_claim() -> None:
    known = evidence.slipped(SPEC, known_at(0), moves=3, distance=41_455)
    assert known.base is not None
    # 3 moves of 0.1 mm and 10 turns of 0.05 mm, at 124.1 mm a turn near the lower limit.
    assert known.base.high - 20 == pytest.approx(0.8 / 124.1 * 4145.5, abs=1)
    assert known.hull == Interval(low=-20, high=20)


def test_a_rebase_at_the_end_of_the_cloth_is_half_a_turn_wide_there() -> None:
    known = evidence.rebased(SPEC, known_at(0), Interval(low=50_000, high=ENDS.high), count=7, boot=2)
    assert known.base is not None
    assert known.base.high + 7 - ENDS.high == pytest.approx(4145.5 / 2, abs=1)
    assert known.mark is None


def test_a_seek_unlinks_the_count() -> None:
    known = evidence.departed_upward(SPEC, known_at(20_000))
    assert known.base is None
    assert known.hull == Interval(low=ENDS.low, high=20_020)


def test_a_kept_count_goes_on_where_the_motor_holds() -> None:
    known = evidence.settled(SPEC, known_at(0), count=10_000)
    report = Bench().said(boot=2, count=10_000)
    after = evidence.power_returned(SPEC, known, report, None)
    assert after.hull == claim_at(SPEC, known, 10_000).widened(snap(SPEC))


def test_each_power_cut_lets_the_rotor_snap_once_more() -> None:
    known = evidence.settled(SPEC, known_at(0), count=10_000)
    report = Bench().said(boot=4, count=10_000, kept_since=1)
    after = evidence.power_returned(SPEC, known, report, None)
    assert after.hull == claim_at(SPEC, known, 10_000).widened(3 * snap(SPEC))


def test_a_kept_count_where_nothing_holds_reaches_down_to_the_end_of_the_cloth() -> None:
    known = evidence.settled(FALLS, known_at(0, spec=FALLS), count=10_000)
    after = evidence.power_returned(FALLS, known, Bench().said(boot=2, count=10_000), None)
    assert after.hull.high == ENDS.high
    assert after.hull.low == pytest.approx(10_000, abs=80)


def test_a_count_moved_by_the_button_since_says_nothing_of_where_it_hung() -> None:
    """A fall, then a local motion: the kept count is of after it."""
    falls = replace(FALLS, local_button=True)
    known = evidence.settled(falls, known_at(0, spec=falls), count=10_000)
    moved = Bench().said(boot=2, count=4000, to=4000)
    assert evidence.power_returned(falls, known, moved, None).hull == ENDS


def test_a_lost_count_leaves_the_hull_that_was_written_down() -> None:
    known = evidence.departed(SPEC, known_at(0), to=30_000)
    report = Bench().said(boot=2, count=0, kept=False, kept_since=2)
    after = evidence.power_returned(SPEC, known, report, None)
    assert after.hull.contains(known.hull)
    assert after.hull.width - known.hull.width <= 4 * snap(SPEC)


@pytest.mark.parametrize(
    ("told", "holds"),
    [
        ({"boot": 1, "count": 5}, True),
        ({"boot": 2, "count": 5}, True),
        ({"boot": 2, "count": 5, "kept": False}, False),
        ({"boot": 2, "count": None}, False),
        ({"boot": 0, "count": 5}, False),
        ({"boot": 5, "count": 5, "kept_since": 1}, True),
        ({"boot": 5, "count": 5, "kept_since": 3}, False),
        ({"boot": 5, "count": 5}, False),
    ],
)
def test_whether_a_count_continues(told: dict[str, object], holds: bool) -> None:
    assert evidence.chain_holds(known_at(0), Bench().said(**told)) is holds


def test_out_of_hearing_without_a_button_only_power_matters() -> None:
    known = evidence.settled(SPEC, known_at(0), count=10_000)
    assert evidence.unheard(SPEC, known, None).hull == known.hull.widened(snap(SPEC))


def test_out_of_hearing_with_a_button_and_no_bounds_anything_may_be() -> None:
    known = evidence.settled(PRESSED, known_at(0, spec=PRESSED), count=10_000)
    assert evidence.unheard(PRESSED, known, None).hull == ENDS


def test_steps_that_the_stop_may_have_swallowed_are_added_below() -> None:
    wrong = replace(SPEC, drive_confirmed=False)
    known = known_at(50_000, spec=wrong)
    lost = evidence.swallowed_at(wrong, known, -50_000)
    assert lost > 1000
    after = evidence.swallowed(wrong, known, -50_000)
    assert after.base == Interval(low=49_980, high=50_020 + lost)


def test_the_stop_may_come_sooner_than_the_owner_says_and_leaves_half_the_room() -> None:
    # 20 either side of the middle, and one for the scale.
    known = known_at(ENDS.low // 2 + 21)
    assert evidence.swallowed_at(SPEC, known, 0) == 0
    assert evidence.swallowed_at(SPEC, known, -100) == 100


def test_at_the_stop_distances_count_from_there() -> None:
    wrong = replace(SPEC, drive_confirmed=False)
    known = evidence.settled(wrong, known_at(50_000, spec=wrong), count=-50_000)
    assert known.anchor == known.hull
    assert known.hull.low == ENDS.low


def test_one_way_between_two_references_does_not_show_the_scale_and_two_that_agree_do() -> None:
    open_drive = replace(SPEC, drive_confirmed=False)
    known = known_at(0, spec=open_drive)
    bounds = []
    for day, (at, count) in enumerate([(50_000, 49_000), (0, 0), (50_000, 49_000)]):
        there = Interval(low=at - 20, high=at + 20)
        known = met(open_drive, known, there, count, day=day)
        bounds.append(known.scale_bound)
    assert bounds[0] is None
    assert bounds[1] == pytest.approx(1000 / 49_000, abs=0.002)


def test_pulls_on_two_ways_down_do_not_hide_a_drive_that_falls_short() -> None:
    """Counted 102 for 100 on each way; a pull on the two ways down makes them look right."""
    open_drive = replace(SPEC, drive_confirmed=False)
    known, count = known_at(0, spec=open_drive), 0
    bounds = []
    for day in range(2):
        for at, counted in ((50_000, 50_000), (0, -51_020)):
            there = Interval(low=at - 20, high=at + 20)
            count += counted
            known = met(open_drive, known, there, count, day=day)
            bounds.append(known.scale_bound)
    assert bounds[0] is None
    assert all(bound is not None and bound >= 0.0199 for bound in bounds[1:])
    down = known_at(0, spec=open_drive)
    for count, at in ((50_000, 50_000), (51_020, 0), (101_020, 50_000)):
        chain = down.chain + (at == 0)
        there = Interval(low=at - 20, high=at + 20)
        down = met(open_drive, replace(down, chain=chain), there, count)
    assert down.scale_bound is None


def test_a_way_up_by_a_seek_that_met_its_switch_shows_the_drive_too() -> None:
    known = evidence.settled(
        SPEC, met(SPEC, known_at(0), Interval(low=49_980, high=50_020), 50_000), count=50_000
    )
    found = met(SPEC, evidence.departed_upward(SPEC, known), Interval(low=-20, high=20), -500)
    assert [each.chain for each in found.meetings] == [0, 0, 0]
    assert found.scale_bound == pytest.approx(500 / 50_500, abs=0.002)
    lost = evidence.stalled(SPEC, evidence.departed_upward(SPEC, known), count=-500, boot=1)
    assert lost.chain == known.chain + 1


def test_counts_are_not_compared_over_steps_that_the_stop_may_have_swallowed() -> None:
    known = known_at(0)
    assert evidence.swallowed(SPEC, known, 0) is known
    assert evidence.swallowed(SPEC, known, -50_000).chain == known.chain + 1
    assert evidence.uncounted(known).chain == known.chain + 1


def test_a_snap_at_a_power_cut_counts_as_slip_between_references() -> None:
    known = evidence.settled(SPEC, known_at(0), count=10_000)
    after = evidence.power_returned(SPEC, known, Bench().said(boot=2, count=10_000), None)
    assert after.slip == known.slip + snap(SPEC)


def test_other_measures_carry_the_claim_over_in_mm() -> None:
    thick = replace(SPEC, travel=replace(SPEC.travel, roll=replace(SPEC.travel.roll, cloth_mm=0.6)))
    after = evidence.redrawn(SPEC, thick, known_at(20_000))
    low, high = (SPEC.travel.drop_at_steps(end) for end in (19_980, 20_020))
    assert thick.travel.drop_at_steps(after.hull.low) <= low
    assert thick.travel.drop_at_steps(after.hull.high) >= high
    assert (after.base, after.drive) == (None, thick.travel.version)


def test_a_sleeping_motor_that_holds_changes_nothing_and_one_that_does_not_lets_go() -> None:
    known = evidence.settled(SPEC, known_at(0), count=10_000)
    assert evidence.let_go(SPEC, known) is known
    assert evidence.let_go(FALLS, known).hull.high == ENDS.high


@pytest.mark.parametrize("beyond", [-200_000, 300_000])
def test_a_count_that_means_a_place_out_of_reach_means_nothing_any_more(beyond: int) -> None:
    # A rival had driven a shade into its stop; cut to the range, the claim was a single wrong point.
    known = evidence.settled(SPEC, known_at(0), count=beyond)
    assert known.hull == physical_range(SPEC)
    assert known.mark is None
