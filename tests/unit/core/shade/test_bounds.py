import math

import pytest

from bridge.core.errors import RequestError
from bridge.core.shade.bounds import checked


def test_a_number_within_its_range_comes_back_unchanged() -> None:
    assert checked("tube_mm", 40.0, above=0, unit="mm") == 40.0
    assert checked("cloth_mm", 0.0, least=0, unit="mm") == 0.0
    assert checked("offset", -3.0) == -3.0


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_number_that_is_not_finite_is_refused(value: float) -> None:
    with pytest.raises(RequestError, match=r"tube_mm: .* is not a finite number; give a plain number"):
        checked("tube_mm", value, above=0)


def test_the_refusal_shows_value_bound_and_remedy() -> None:
    with pytest.raises(RequestError) as refused:
        checked("tube_mm", 0, above=0, unit="mm")
    assert str(refused.value) == "tube_mm: 0 mm is not greater than 0; give more than 0 mm"
    with pytest.raises(RequestError) as refused:
        checked("wraps_left", -1, least=0)
    assert str(refused.value) == "wraps_left: -1 is less than 0; give 0 or more"


def test_a_size_that_nobody_can_build_is_refused() -> None:
    assert checked("drop_mm", -1e12) == -1e12
    with pytest.raises(
        RequestError, match=r"drop_mm: 2e\+12 mm is beyond anything that can be built; give at most"
    ):
        checked("drop_mm", 2e12, unit="mm")
