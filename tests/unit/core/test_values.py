from datetime import datetime, timedelta, timezone

import pytest

from bridge.core.values import Interval, Moment


def test_a_moment_without_utc_is_refused() -> None:
    for naive in (datetime(2026, 3, 1), datetime(2026, 3, 1, tzinfo=timezone(timedelta(hours=1)))):  # noqa: DTZ001 - refused
        with pytest.raises(AssertionError, match="aware UTC"):
            Moment(utc=naive, mono_s=0.0)


def test_an_interval_keeps_its_ends_in_order_and_is_never_narrowed() -> None:
    with pytest.raises(AssertionError):
        Interval(low=2, high=1)
    with pytest.raises(AssertionError):
        Interval(low=1, high=2).widened(-1)


def test_intervals_are_shifted_widened_joined_and_clipped() -> None:
    each = Interval(low=-3, high=4)
    assert (each.width, each.middle) == (7, 0)
    assert each.shifted(5) == Interval(low=2, high=9)
    assert each.widened(2) == Interval(low=-5, high=6)
    assert each.joined(Interval(low=9, high=9)) == Interval(low=-3, high=9)
    assert each.clipped(Interval(low=0, high=2)) == Interval(low=0, high=2)
    assert each.clipped(Interval(low=9, high=12)) == Interval(low=9, high=9)
    assert each.contains(Interval(low=-3, high=4))
    assert not each.contains(Interval(low=-4, high=0))
