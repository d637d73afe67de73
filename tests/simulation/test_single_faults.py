"""One fault in a house that else works: it serves again in time, or says what a person must do."""

from __future__ import annotations

import pytest

from bridge.core import concluding, settling
from bridge.core.command.requests import Fate, ended
from bridge.core.state import Shade
from bridge.core.turn import Turn
from bridge.simulate.world.faults import KINDS
from bridge.simulate.world.single import recovered


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_a_house_recovers_from_one_fault(kind: str) -> None:
    for seed in (1, 2):
        found = recovered(kind, seed)
        assert found.late == []
        assert found.heard_s
        assert len(found.served_s) + found.told > 0


def test_a_house_that_does_not_say_what_to_do_is_late(monkeypatch: pytest.MonkeyPatch) -> None:
    original = ended

    def failed(turn: Turn, shade: Shade, fate: Fate, _: str) -> Shade:
        return original(turn, shade, Fate.FAILED if fate is Fate.REACHED else fate, "it did not like it")

    monkeypatch.setattr(settling, "ended", failed)
    monkeypatch.setattr(concluding, "ended", failed)
    assert any("nobody is told" in line for line in recovered("button", 1).late)
