from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.mosquitto import brokers, mosquitto, topic_prefix
from tests.secured import Secured, secured_broker

__all__ = ["brokers", "mosquitto", "secured_by", "topic_prefix"]


@pytest.fixture
def secured_by(tmp_path: Path) -> Iterator[Callable[[str], Secured]]:
    started: list[Secured] = []

    def start(acl: str) -> Secured:
        folder = tmp_path / f"broker-{len(started)}"
        folder.mkdir()
        started.append(secured_broker(folder, boards=("attic-board",), acl=acl))
        return started[-1]

    yield start
    for each in started:
        each.stop()
