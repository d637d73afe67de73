"""What passes and what is counted."""

from bridge.shell.throttle import Throttle


def test_a_burst_passes_and_then_as_many_as_time_allows() -> None:
    throttle = Throttle(burst=3, per_s=2)
    assert [throttle.passes(10.0) for _ in range(5)] == [True, True, True, False, False]
    assert [throttle.passes(10.5), throttle.passes(10.5)] == [True, False]
    assert [throttle.passes(100.0) for _ in range(4)] == [True, True, True, False]


def test_what_was_held_back_is_told_once() -> None:
    throttle = Throttle(burst=1, per_s=1)
    assert [throttle.passes(0.0) for _ in range(4)] == [True, False, False, False]
    assert (throttle.told(), throttle.told()) == (3, 0)
