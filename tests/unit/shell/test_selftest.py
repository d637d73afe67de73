"""What a look from within leads to: lines in the log, and an alert that comes and goes."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, cast

from structlog.typing import FilteringBoundLogger

from bridge.core.checkup import Finding, Grade
from bridge.shell.selftest import SelfTest

TOPIC = "retained order on a/0/order"
ORDER = Finding(subject=TOPIC, grade=Grade.FAULT, text="it is there", remedy="delete it")
CLOCK = Finding(subject="clock", grade=Grade.ADVICE, text="nobody keeps it", remedy="keep it")


@dataclass
class Log:
    """Keeps what is logged."""

    lines: list[tuple[str, str, str]] = field(default_factory=list)

    def __getattr__(self, level: str) -> Any:
        return lambda event, **fields: self.lines.append((level, event, fields.get("subject", "")))


def self_test() -> tuple[SelfTest, Log, list[str]]:
    log, told = Log(), list[str]()
    return SelfTest(cast("FilteringBoundLogger", log), told.append), log, told


def test_a_fault_is_an_error_and_an_alert_with_its_remedy_and_advice_a_warning() -> None:
    test, log, told = self_test()
    test.found([ORDER, CLOCK])
    assert told == ["retained order on a/0/order: it is there (delete it); `hembar doctor` looks again"]
    assert log.lines == [
        ("error", "house.selftest.found", TOPIC),
        ("warning", "house.selftest.found", "clock"),
    ]


def test_the_same_again_is_alerted_of_and_not_logged_again() -> None:
    test, log, told = self_test()
    test.found([ORDER])
    test.found([ORDER])
    assert len(told) == 2
    assert len(log.lines) == 1


def test_what_was_put_right_clears_the_alert() -> None:
    test, log, told = self_test()
    test.found([ORDER])
    test.found([])
    assert told[1] == ""
    assert log.lines[1] == ("info", "house.selftest.passed", "")


def test_of_many_faults_an_alert_names_three() -> None:
    test, log, told = self_test()
    test.found([ORDER] * 5)
    assert told[0].count("delete it") == 3
    assert "; 2 more; " in told[0]
    assert len(log.lines) == 5
