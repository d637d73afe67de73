"""The fewest moves, then the most open: against every course there is, on days of a few steps."""

from __future__ import annotations

from itertools import pairwise, product

from hypothesis import example, given
from hypothesis import strategies as st

from bridge.core.plan.course import Course, Range, Run, course, in_steps, runs_of, with_view

PLACES = (0.0, 25.0, 50.0, 75.0, 100.0)
RANGE = st.tuples(st.sampled_from(PLACES), st.sampled_from(PLACES)).map(lambda pair: (min(pair), max(pair)))
DAY = st.lists(RANGE, min_size=1, max_size=6)


def tried_out(ranges: list[Range], start_pct: float | None) -> tuple[int, float]:
    """Return moves and openness of the best course by trying every one; places on a grid are enough."""
    best: tuple[int, float] | None = None
    for places in product(*([p for p in PLACES if low <= p <= high] for low, high in ranges)):
        whole = places if start_pct is None else (start_pct, *places)
        cost = (sum(a != b for a, b in pairwise(whole)), -sum(places))
        best = cost if best is None else min(best, cost)
    assert best is not None
    return best[0], -best[1]


def keeps(found: Course, ranges: list[Range]) -> bool:
    places = found.places()
    return len(places) == len(ranges) and all(
        low <= place <= high for place, (low, high) in zip(places, ranges, strict=True)
    )


@given(ranges=DAY, start=st.sampled_from((None, *PLACES)))
@example(ranges=[(0, 100), (0, 50), (0, 75), (0, 100)], start=100.0)
def test_no_course_has_fewer_moves_and_none_of_as_few_is_more_open(
    ranges: list[Range], start: float | None
) -> None:
    found = course(runs_of(ranges), start_pct=start)
    assert keeps(found, ranges)
    assert (found.moves, found.openness) == tried_out(ranges, start)


@given(ranges=DAY, start=st.sampled_from(PLACES))
def test_a_plan_made_again_on_the_way_goes_on_as_it_had_begun(ranges: list[Range], start: float) -> None:
    places = course(runs_of(ranges), start_pct=start).places()
    for at in range(1, len(ranges)):
        assert course(runs_of(ranges[at:]), start_pct=places[at - 1]).places() == places[at:]


def test_a_course_says_its_pieces() -> None:
    runs = [(3, 0, 100), (1, 0, 40), (1, 0, 20), (1, 0, 60), (2, 100, 100)]
    found = course(runs, start_pct=100.0)
    assert [(p.begins, p.ends, p.open_pct) for p in found.pieces] == [(0, 3, 100), (3, 6, 20), (6, 8, 100)]
    assert found.moves == 2


def test_it_stays_where_it_hangs_when_that_breaks_nothing() -> None:
    assert course([(1, 0, 100), (1, 0, 60), (1, 20, 100)], start_pct=35.0).moves == 0


def test_an_empty_day_has_an_empty_course() -> None:
    assert course([]) == Course(pieces=(), moves=0)


def test_ranges_are_cut_to_whole_steps_inwards() -> None:
    assert in_steps((0.0, 43.0), 5) == (0.0, 40.0)
    assert in_steps((31.0, 100.0), 5) == (35.0, 100.0)
    assert in_steps((15.0, 35.0), 5) == (15.0, 35.0)


def test_a_range_between_two_steps_stays_as_it_is() -> None:
    assert in_steps((31.0, 33.0), 5) == (31.0, 33.0)


def test_a_long_free_time_gives_the_view_back_and_a_short_one_does_not() -> None:
    runs: list[Run] = [(1, 0, 0), (1, 0, 100), (1, 20, 100), (1, 0, 30), (1, 0, 100)]
    assert with_view(runs, free_steps=2) == [(1, 0, 0), (2, 100, 100), (1, 0, 30), (1, 0, 100)]


def test_runs_that_promise_the_same_are_one() -> None:
    assert course([(2, 0, 40), (0, 0, 10), (3, 0, 40)], start_pct=0.0) == course([(5, 0, 40)], start_pct=0.0)
