"""Demands taken in row by row come to what they come to one by one."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from bridge.core.plan.opinion import Opinion, unbounded
from bridge.core.rules.demand import Demand, Standing, decided
from bridge.core.values import Rank

PLACES = (0.0, 20.0, 50.0, 80.0, 100.0)
RANGE = st.tuples(st.sampled_from(PLACES), st.sampled_from(PLACES)).map(lambda pair: (min(pair), max(pair)))


@given(asked=st.lists(RANGE, max_size=6))
def test_demands_of_falling_rank_come_to_the_range_that_they_are_decided_to(
    asked: list[tuple[float, float]],
) -> None:
    bounds = unbounded(3)
    middle = np.array([1])
    for low, high in asked:
        bounds.narrow(Opinion(rows=middle, at_least_pct=low, at_most_pct=high))
    standing = [
        Standing(
            number=number,
            rule="night",
            rank=Rank.RULE,
            demand=Demand(at_least_pct=low, at_most_pct=high, why="it is asked"),
        )
        for number, (low, high) in enumerate(asked)
    ]
    verdict = decided(standing, now_pct=50.0)
    found = (bounds.low_pct[1], bounds.high_pct[1], bounds.firm_pct[1])
    assert found == (verdict.low_pct, verdict.high_pct, verdict.firm_low_pct)
    # The rows beside it are not touched.
    assert bounds.high_pct[[0, 2]].tolist() == [100.0, 100.0]
    assert bounds.low_pct[[0, 2]].tolist() == bounds.firm_pct[[0, 2]].tolist() == [0.0, 0.0]


def test_each_row_has_a_number_of_its_own() -> None:
    bounds = unbounded(4)
    bounds.narrow(Opinion(rows=np.array([1, 3]), at_most_pct=np.array([40.0, 60.0])))
    bounds.narrow(Opinion(rows=np.array([3]), at_least_pct=30.0))
    assert bounds.high_pct.tolist() == [100, 40, 100, 60]
    assert bounds.low_pct.tolist() == bounds.firm_pct.tolist() == [0, 0, 0, 30]
