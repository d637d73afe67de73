from itertools import islice
from random import Random

import pytest

from bridge.core.backoff import backoff


@pytest.mark.parametrize(("draw", "delays"), [(0.0, [0.5, 1, 2, 4, 4]), (1.0, [1, 2, 4, 8, 8])])
def test_the_span_doubles_up_to_the_cap(draw: float, delays: list[float]) -> None:
    assert list(islice(backoff(lambda: draw, first_s=1, cap_s=8), 5)) == delays


def test_two_who_start_together_do_not_stay_together() -> None:
    one, other = (list(islice(backoff(Random(seed).random), 20)) for seed in (1, 2))
    assert all(a != b for a, b in zip(one, other, strict=True))
    assert all(0 < delay_s <= 30 for delay_s in one + other)


def test_the_first_delay_is_short_and_the_last_ones_are_long() -> None:
    delays = list(islice(backoff(Random(3).random), 20))
    assert delays[0] <= 0.25
    assert min(delays[10:]) >= 15
