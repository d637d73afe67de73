from dataclasses import replace

import pytest

from bridge.core.position import evidence
from bridge.core.position.allowance import physical_range
from bridge.core.position.claims import claim_at, grade_of, reckoned_at, width_mm
from bridge.core.position.estimate import Grade
from bridge.core.values import Interval
from tests.unit.core.bench import SPEC

ENDS = physical_range(SPEC)
LINKED = replace(
    evidence.nothing_known(SPEC), base=Interval(low=-10, high=10), anchor=Interval(low=-10, high=10), boot=1
)


def test_a_claim_grows_with_the_distance_from_the_reference() -> None:
    assert claim_at(SPEC, LINKED, 0).width == 20 + 2 * 1
    assert claim_at(SPEC, LINKED, 20_000).width == pytest.approx(20 + 2 * 40, abs=2)


def test_a_claim_ends_where_the_hem_bar_cannot_be_and_a_reckoning_does_not() -> None:
    ends = physical_range(SPEC)
    assert claim_at(SPEC, LINKED, ends.high).high == ends.high
    assert reckoned_at(SPEC, LINKED, ends.high).high > ends.high


@pytest.mark.parametrize(
    ("low", "high", "grade"),
    [
        (0, 100, Grade.REFERENCED),
        (0, 1000, Grade.RECKONED),
        (0, 10_000, Grade.DOUBTFUL),
        (ENDS.low, ENDS.high, Grade.UNKNOWN),
    ],
)
def test_grades_follow_the_width_at_the_hem_bar(low: int, high: int, grade: Grade) -> None:
    assert grade_of(SPEC, Interval(low=low, high=high)) is grade


def test_the_width_is_in_mm() -> None:
    hull = Interval(low=0, high=4145)
    assert width_mm(SPEC, hull) == pytest.approx(SPEC.travel.drop_at_steps(4145))
