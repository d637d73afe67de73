"""What passes, what is held back, and that it is told."""

from typing import Any

import pytest

from bridge.shell import sparing
from bridge.shell.sparing import Sparing, Throttle


def test_a_burst_passes_and_then_as_many_as_time_allows() -> None:
    throttle = Throttle(burst=3, per_s=2)
    assert [throttle.passes(10.0) for _ in range(5)] == [True, True, True, False, False]
    assert [throttle.passes(10.5), throttle.passes(10.5)] == [True, False]
    assert [throttle.passes(100.0) for _ in range(4)] == [True, True, True, False]
    assert throttle.held == 4


class Log:
    """Keeps the lines."""

    def __init__(self) -> None:
        self.lines: list[tuple[str, dict[str, Any]]] = []

    def warning(self, event: str, **fields: Any) -> None:
        self.lines.append((event, fields))


def test_a_storm_of_one_kind_leaves_few_lines_and_one_that_counts_the_rest(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sparing, "TELL_APART_S", 0.0)
    log = Log()
    warn = Sparing(log)  # type: ignore[arg-type]  # all that is asked of a logger here
    said = [warn.warning("request.refused", topic="t") for _ in range(1000)]
    warn.warning("board.message.refused", topic="u")
    warn.tell()
    warn.tell()
    kinds = [event for event, _ in log.lines]
    assert kinds.count("request.refused") == sum(said) == sparing.BURST
    assert kinds.count("board.message.refused") == 1, "another kind is not held back for it"
    held = [fields for event, fields in log.lines if event == "log.lines.held"]
    assert [(each["of"], each["count"]) for each in held] == [("request.refused", 1000 - sparing.BURST)]
