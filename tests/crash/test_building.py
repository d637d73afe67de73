"""Two bridges share a building on one broker, each its own site; a third takes over a dead one's."""

from __future__ import annotations

import os
import subprocess
import time
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest

from bridge.simulate.demo_house import DEMO_HOUSE, NOMINAL
from bridge.simulate.house_file import write_house
from bridge.simulate.state_file import read_truth
from tests.mosquitto import Mosquitto
from tests.running import HEMBAR, Bridge, Ear, opened, settings_for


@dataclass
class Site:
    """Some shades of the building: boards under a root of their own, a device tree of their own.

    Its boards are not the other's: a board's id is its client id at the broker they share.
    """

    name: str
    port: int
    folder: Path
    ear: Ear
    bridges: list[Bridge] = field(default_factory=list)

    def __post_init__(self) -> None:
        (self.folder / f"truth-{self.name}").mkdir()
        attic = DEMO_HOUSE.boards[0]
        assert attic.id == NOMINAL["study"].board
        house = self.folder / f"{self.name}.json"
        write_house(house, replace(DEMO_HOUSE, boards=(replace(attic, id=self.board),), one_way=()))
        words = ["simulate-boards", "--broker", f"127.0.0.1:{self.port}", "--root", f"{self.name}-boards"]
        words += ["--state", str(self.folder / f"truth-{self.name}"), "--house", str(house)]
        with (self.folder / f"boards-{self.name}.log").open("ab") as log:
            self.boards = subprocess.Popen(
                [str(HEMBAR), *words],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                env={**os.environ, "PYTHONUNBUFFERED": "1"},
            )

    @property
    def board(self) -> str:
        return f"{self.name}-attic"

    def start_bridge(self, client_id: str) -> Bridge:
        """Start a bridge for this site with a disk of its own."""
        path = settings_for(
            self.port,
            self.folder / f"{client_id}.toml",
            more=f'[boards]\nroot = "{self.name}-boards"\n[tree]\ndevice = "{self.name}"\n',
        )
        path.write_text(path.read_text().replace("hembar-demo", client_id).replace("attic-board", self.board))
        bridge = Bridge(path, self.folder / f"state-{client_id}", self.folder / f"{client_id}.log")
        bridge.start()
        self.bridges.append(bridge)
        return bridge

    def value(self, levels: str) -> str:
        return (self.ear.latest(f"homie/5/{self.name}-study/{levels}") or b"").decode()

    def claimed_by(self) -> str:
        return (self.ear.latest(f"{self.name}-boards/claim") or b"").decode()

    def move(self, percent: str) -> None:
        topic = f"homie/5/{self.name}-study/opening/"
        kind = "position" if percent.isdigit() else "button"
        end = percent if percent.isdigit() else "100"
        # A shade in use: until the bridge has heard its board, it refuses with a reason.
        until = time.monotonic() + 60
        asked_s = 0.0
        while (self.value("opening/position"), self.value("opening/motion")) != (end, "still"):
            assert time.monotonic() < until, (self.name, percent, self.value("reason/text"))
            still = self.value("opening/motion") in ("", "still")
            if still and time.monotonic() - asked_s > 3:
                self.ear.say(f"{topic}{kind}/set", percent)
                asked_s = time.monotonic()
            time.sleep(0.05)

    def true_percent(self) -> float:
        nominal = NOMINAL["study"]
        truth = read_truth(self.folder / f"truth-{self.name}")[self.board, nominal.channel]
        return 100 * (1 - truth.drop_mm / nominal.drop_mm)

    def claim_holds(self) -> bool:
        low, high = float(self.value("knowledge/low")), float(self.value("knowledge/high"))
        return low <= self.true_percent() <= high

    def close(self) -> None:
        for bridge in self.bridges:
            if bridge.process is not None and bridge.process.poll() is None:
                bridge.stop()
        self.boards.terminate()
        self.boards.wait(5)


@pytest.fixture
def sites(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[tuple[Site, Site]]:
    with ExitStack() as stack:
        ear = stack.enter_context(opened(mosquitto.host, mosquitto.port))
        found = []
        for name in ("north", "south"):
            found.append(Site(name, mosquitto.port, tmp_path, ear))
            stack.callback(found[-1].close)
        yield found[0], found[1]


def test_a_third_bridge_takes_over_a_dead_ones_site_and_the_other_site_never_notices(
    sites: tuple[Site, Site],
) -> None:
    north, south = sites
    first, other = north.start_bridge("bridge-a"), south.start_bridge("bridge-b")
    for site in sites:
        site.move("up")
        site.move("90")
        assert site.claim_holds()
    first.kill()

    third = north.start_bridge("bridge-c")
    north.ear.wait(lambda: "bridge-c" in north.claimed_by(), "the third claims the site", within_s=20)
    north.ear.wait(lambda: north.value("$state") == "ready", "its board answers", within_s=20)
    # What the broker remembers is worth no more than that.
    north.ear.wait(lambda: north.value("knowledge/grade") == "doubtful", "it is in doubt", within_s=10)
    assert north.claim_holds()
    north.move("up")
    north.move("85")
    assert north.value("knowledge/grade") in ("referenced", "reckoned")
    assert north.claim_holds()

    first.start()
    north.ear.wait(
        lambda: bool(third.logged("house.charge.lost")), "who comes last is in charge", within_s=20
    )
    north.move("90")
    assert north.claim_holds()

    assert other.process is not None
    assert other.process.poll() is None
    assert "bridge-b" in south.claimed_by()
    assert not other.logged("house.charge.lost")
    assert not other.logged("broker.session.lost")
    south.move("80")
    assert south.claim_holds()
