"""Whole commissionings against a true shade: what they find, what they refuse, and what a restart does."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from bridge.core.commissioning import courses
from bridge.core.commissioning.courses import COURSES, Purpose
from bridge.core.commissioning.result import edits
from bridge.core.contract import Do
from bridge.core.errors import RequestError
from bridge.core.shade.profile import move_profile
from tests.unit.core.commissioning.bench import BUILD, FACTS, Bench, with_facts

BENCH_TRAVEL = with_facts(
    tube_mm=BUILD.tube_mm, cloth_mm=BUILD.cloth_mm, drop_mm=BUILD.drop_mm, wraps_left=BUILD.wraps_left
).travel
HEIGHTS = (100, 90, 75, 60, 50, 40, 25, 10, 0)


def worst_mm(bench: Bench) -> float:
    return max(abs(bench.error_mm(height)) for height in HEIGHTS)


def test_a_whole_commissioning_puts_the_hem_bar_within_two_millimetres_everywhere() -> None:
    bench = Bench()
    bench.run()
    assert worst_mm(bench) < 2.0
    assert bench.state.facts.upper_switch_mm == pytest.approx(-5.3, abs=0.7)
    assert bench.state.confirmed
    assert [height for height, _ in bench.state.tried] == [90, 70, 50, 30, 10]


def test_a_gear_sold_as_five_is_found_to_be_57_11_and_the_board_is_told() -> None:
    bench = Bench(facts=with_facts(gear=Fraction(5)), board_ratio=Fraction(4000))
    bench.run()
    assert bench.state.facts.gear == Fraction(57, 11)
    assert bench.board_ratio == Fraction(45600, 11)
    assert "ratio" in bench.person.asked
    assert any("57/11" in each for each in bench.state.remarks)
    assert worst_mm(bench) < 2.0


def test_a_motor_wired_the_wrong_way_goes_back_and_waits_for_the_board_s_own_setting() -> None:
    bench = Bench(backwards=True)
    bench.run("rewired")
    assert bench.tube.drop_mm == pytest.approx(500.0, abs=1.0)
    assert "`active`" in " ".join(bench.question().text)
    bench.run()
    assert not bench.backwards
    assert worst_mm(bench) < 2.0


@pytest.mark.parametrize("gear", [Fraction(1), Fraction(63, 17), Fraction(3591, 187), Fraction(10)])
def test_a_ratio_far_from_the_settings_is_found_without_running_out_of_cloth(gear: Fraction) -> None:
    build = replace(BUILD, gear=gear, detent_nm=0.5, holding_nm=5.0)
    bench = Bench(build=build, facts=with_facts(gear=Fraction(57, 11)))
    bench.run()
    assert bench.state.facts.gear == gear
    assert worst_mm(bench) < 2.0


def test_a_one_way_board_asks_for_no_sense_sleep_or_speed() -> None:
    facts = with_facts(two_way=False, sleeps=False, upper_switch_mm=None)
    bench = Bench(facts=facts)
    bench.run()
    assert {each.do for each in bench.motions} == {Do.GO}
    assert not {"switch", "speed", "ratio", "hold-90"} & set(bench.person.asked)
    assert worst_mm(bench) < 2.0


def timed(pps: int) -> Bench:
    """A one-way board, led to where its own speed is asked for; by the settings it is `pps`."""
    bench = Bench(facts=with_facts(two_way=False, sleeps=False, upper_switch_mm=None, top_pps=pps))
    bench.run("timed")
    return bench


@pytest.mark.parametrize("true_pps", [1500, 2000, 2800])
def test_the_own_speed_of_a_one_way_board_is_found_by_a_watch(true_pps: int) -> None:
    bench = timed(3000)
    took_s = move_profile(steps=bench.state.way, top_pps=true_pps, ramp_pps2=3000).duration_s
    bench.answer(f"{took_s:.1f}")
    near = 3000 if true_pps == 2800 else true_pps  # within what a watch and a board's pace leave open
    assert bench.state.facts.top_pps == pytest.approx(near, rel=0.03)
    assert any("steps/s, not 3000" in each for each in bench.said) == (near != 3000)


def test_a_time_that_no_speed_explains_is_refused() -> None:
    with pytest.raises(RequestError, match="it can't be there in 3 s"):
        timed(3000).answer("3")


def test_a_board_that_only_knows_percent_is_never_sent_beyond_its_ends() -> None:
    build = replace(BUILD, start_mm=0.0, upper_switch_mm=None)
    ends = round(BENCH_TRAVEL.steps_at_drop(build.drop_mm))
    facts = with_facts(two_way=False, sleeps=False, upper_switch_mm=None, reach=(0, ends))
    bench = Bench(build=build, facts=facts, count=0)
    assert "its board stands at its upper end" in " ".join(_at(bench, "direction"))
    bench.run()
    assert all(0 <= each.to <= ends for each in bench.motions)
    assert worst_mm(bench) < 2.0


def _at(bench: Bench, step: str) -> tuple[str, ...]:
    bench.run(step)
    return bench.question().text


def test_before_the_upper_mark_is_known_nothing_goes_far_below_where_it_has_hung() -> None:
    bench = Bench()
    bench.run("upper")
    with pytest.raises(RequestError, match="nobody knows yet how much cloth is left"):
        bench.answer("down 60")
    bench.answer("down 10")
    assert bench.tube.drop_mm < 500.0
    bench.answer("down 18")
    assert 500.0 < bench.tube.drop_mm < 512.0


def test_no_answer_leads_beyond_half_a_turn_before_the_end_of_the_cloth() -> None:
    bench = Bench()
    bench.run("lower")
    with pytest.raises(RequestError, match="lower than is known to be safe"):
        _down_for_ever(bench)
    assert bench.tube.end_turns - bench.tube.turns > 0.3


def _down_for_ever(bench: Bench) -> None:
    for _ in range(20):
        bench.answer("down 100")


@pytest.mark.parametrize("text", ["down", "up 400", "down 101", "left 3", "here now", "up -3", "up nan"])
def test_a_jog_that_is_none_moves_nothing(text: str) -> None:
    bench = Bench()
    bench.run("lower")
    before = len(bench.motions)
    with pytest.raises(RequestError):
        bench.answer(text)
    assert len(bench.motions) == before


def test_no_motion_leaves_without_the_promise() -> None:
    bench = Bench()
    bench.answer("no")
    assert bench.stopped
    assert bench.motions == []


@pytest.mark.parametrize("step", ["made", "lower", "part", "met", "clean", "creep", "check"])
def test_after_a_restart_of_the_board_the_upper_mark_is_found_again_first(step: str) -> None:
    bench = Bench()
    bench.run(step)
    bench.restart()
    bench.count = 40_000  # another count altogether
    asked = len(bench.person.asked)
    bench.run()
    assert bench.person.asked[asked : asked + 2] == ["still-here", "upper"]
    assert worst_mm(bench) < 2.5


def test_a_shade_that_was_moved_while_a_question_stood_is_taken_back_first() -> None:
    bench = Bench()
    bench.run("part")
    bench.drive(-4000, 800)
    assert bench.question().key == "return"
    bench.run()
    assert worst_mm(bench) < 2.5


def test_an_unpowered_fall_is_named_against_the_map_and_cuts_the_ranges() -> None:
    build = replace(BUILD, detent_nm=0.024, hem_bar_kg=0.2, cloth_kgpm2=0.4)
    bench = Bench(build=build)
    real = bench.person.answer
    bench.run("hold")
    while bench.state.step != "home":
        hung = bench.tube.drop_mm
        key = bench.question().key
        text = real(key) or bench.question().default or ""
        if key.startswith("creep"):
            height = bench.state.height
            assert height is not None
            text = f"{max(0.0, hung - build.drop_mm * (1 - height / 100)):.0f}"
        bench.answer(text)
        bench.state = courses.settled(bench.state, bench.stand)
    sank = {height for height, mm in bench.state.tried if mm > 1}
    assert sank
    assert any("holding map says otherwise" in each for each in bench.said)
    bench.run()
    holds = next(each.value for each in edits(bench.state, FACTS) if each.path == ("unpowered", "holds"))
    assert isinstance(holds, list)
    assert not any(low <= height <= high for height in sank for low, high in holds)
    assert worst_mm(bench) < 3.0


@pytest.mark.parametrize("purpose", list(Purpose))
def test_every_course_ends_and_leaves_the_hem_bar_right(purpose: Purpose) -> None:
    found = Bench()
    found.run()
    again = Bench(facts=found.state.facts, purpose=purpose)
    again.run()
    assert worst_mm(again) < 2.5
    assert len(again.person.asked) <= len(found.person.asked) + 5
    assert set(COURSES[purpose]) <= set(courses.STEPS)


def test_another_window_finds_the_wraps_left_from_the_new_drop() -> None:
    found = Bench()
    found.run()
    build = replace(BUILD, drop_mm=1100.0, wraps_left=3.1)
    again = Bench(build=build, facts=found.state.facts, purpose=Purpose.NEW_WINDOW)
    again.run()
    assert again.state.facts.drop_mm == 1100
    assert again.state.facts.wraps_left == pytest.approx(3.1, abs=0.3)
    assert worst_mm(again) < 2.5


def test_a_new_board_on_a_drive_that_is_not_the_settings_one_is_refused_with_the_numbers() -> None:
    bench = Bench(facts=with_facts(drop_mm=1320.0, gear=Fraction(5)), purpose=Purpose.NEW_BOARD)
    with pytest.raises(RequestError, match="this is not the drive of the settings"):
        bench.run()


def test_wraps_that_contradict_the_drops_are_named_and_the_person_chooses() -> None:
    bench = Bench(facts=with_facts(wraps_left=3.0), fixed={"roll": "tube"})
    bench.run()
    assert any("wraps left, the settings say 3" in each for each in bench.said)
    assert bench.state.facts.wraps_left == pytest.approx(1.6, abs=0.5)
    assert worst_mm(bench) < 2.0
