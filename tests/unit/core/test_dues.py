"""What is kept of dues gives the same answer as a look at every shade, whatever happens in the house."""

from __future__ import annotations

import pytest

from bridge.core.dues import Dues
from bridge.core.events import Percent
from bridge.core.house import due_s
from bridge.core.state import House
from bridge.simulate.world import server
from bridge.simulate.world.world import Options, World
from tests import level_house


class Compared:
    """Both ways after each event of a simulated house."""

    def __init__(self) -> None:
        self.dues = Dues()
        self.looks = self.waits = self.anew = 0
        self.last: House | None = None

    def due_s(self, house: House) -> float | None:
        wanted = due_s(house)
        assert self.dues.due_s(house) == wanted
        self.looks += 1
        self.waits += wanted is not None
        self.anew += self.last is not None and self.last.spec is not house.spec
        self.last = house
        return wanted


def test_dues_repaired_after_each_event_are_those_of_a_look_at_every_shade(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    anew = 0
    for seed in (3, 68, 216, 936, 1174):
        compared = Compared()
        monkeypatch.setattr(server, "Dues", lambda compared=compared: compared)
        World(Options(seed=seed, days=3.0)).run()
        assert compared.looks > 100
        assert compared.waits > 0
        anew += compared.anew
    assert anew > 0, "no house took other settings or began anew"


def test_a_level_group_that_waits_and_moves_has_the_same_dues_either_way(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    compared = Compared()
    monkeypatch.setattr(level_house, "due_s", compared.due_s)
    house = level_house.LevelHouse(delays_s=(0.002, 0.052), seed=1).referenced()
    house.ask_all(Percent(open_pct=40))
    house.run(8.0)
    assert compared.waits > 100
