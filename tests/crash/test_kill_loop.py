"""SIGKILL at random moments, over and over: of the daemon, of boards, of the broker.

After each kill the victim is started again. Then, of every shade, the claim must hold the truth; every motion
order seen on the wire must have been in the journal first, and must serve a request that was accepted and had
not ended; and every request whose acceptance was published must be in the journal and end exactly once.
HEMBAR_KILLS sets the number of kills (60), HEMBAR_SEED the story.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

import pytest

from bridge.adapters.journal.reading import Entry, entries
from bridge.core.contract import Do
from bridge.core.events import Asked, Percent
from bridge.simulate.demo_house import NOMINAL
from tests.house_process import House, running_house
from tests.mosquitto import Mosquitto

KILLS = int(os.environ.get("HEMBAR_KILLS", "60"))
SEED = int(os.environ.get("HEMBAR_SEED", "1"))
SHADES = tuple(NOMINAL)
VICTIMS = ("bridge", "bridge", "attic-board", "stair-board", "broker", "everything")
SETTLES_WITHIN_S = 90.0


@pytest.fixture
def house(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[House]:
    with running_house(mosquitto, tmp_path) as running:
        running.find_top("study")
        running.find_top("kitchen")
        yield running


@dataclass
class Story:
    """What has been done and seen so far."""

    house: House
    rng: Random
    entries: dict[int, Entry] = field(default_factory=dict)
    asked: int = 0
    taken: list[tuple[str, int]] = field(default_factory=list)

    def ask_something(self) -> None:
        """Ask a shade for a percent not far away, or for its switch when its position is not known."""
        shade = self.rng.choice(SHADES)
        topic = f"homie/5/hembar-{shade}/opening"
        before = len(self.house.ear.messages)
        position = self.house.value(shade, "opening/position")
        if not position or self.house.value(shade, "knowledge/grade") == "unknown":
            self.house.ear.tell(f"{topic}/button/set", "up")
            return
        percent = min(100, max(0, int(position) + self.rng.randint(-30, 30)))
        self.house.ear.tell(f"{topic}/position/set", str(percent))
        self.asked += 1
        time.sleep(self.rng.uniform(0.0, 1.5))
        for message in self.house.ear.messages[before:]:
            if message.topic == f"{topic}/position/$target" and message.payload == str(percent).encode():
                self.taken.append((shade, percent))
                break

    def kill(self, victim: str) -> None:
        if victim in ("bridge", "everything"):
            self.house.bridge.kill()
        if victim in ("broker", "everything"):
            self.house.mosquitto.kill()
        for board in self.house.boards.values():
            if victim in (board.board, "everything"):
                board.kill()

    def start_again(self, victim: str) -> None:
        if victim in ("broker", "everything"):
            self.house.mosquitto.restart()
            self.house.ear.wait(lambda: self.house.ear.connected, "the ear is back", within_s=20)
        if victim in ("bridge", "everything"):
            self.house.bridge.start()
        for board in self.house.boards.values():
            if victim in (board.board, "everything"):
                board.start()

    def settle(self, since_s: float) -> None:
        """Wait until every board has answered after the kill and nothing moves any more."""

        def at_rest() -> bool:
            drops = [self.house.true_drop_mm(shade) for shade in SHADES]
            time.sleep(0.15)
            still = drops == [self.house.true_drop_mm(shade) for shade in SHADES]
            shown = all(
                self.house.value(shade, "$state") == "ready" and self.house.motion(shade) == "still"
                for shade in SHADES
            )
            return still and shown and self.bridge_is_up(since_s)

        self.house.ear.wait(at_rest, "all is at rest and answered", within_s=SETTLES_WITHIN_S)

    def bridge_is_up(self, since_s: float) -> bool:
        """Whether the root's latest state is `ready`, said since the kill of bridge or broker."""
        root = [each for each in self.house.ear.messages if each.topic == "homie/5/hembar/$state"]
        return bool(root) and root[-1].payload == b"ready" and (root[-1].at_s >= since_s or since_s == 0.0)

    def check_claims(self) -> None:
        """Each claim holds the truth; the tree may be a moment behind the boards."""
        until = time.monotonic() + 1.0
        while time.monotonic() < until and not all(map(self.house.claim_holds, SHADES)):
            time.sleep(0.05)
        for shade in SHADES:
            low = self.house.value(shade, "knowledge/low")
            high = self.house.value(shade, "knowledge/high")
            true = self.house.true_percent(shade)
            assert self.house.claim_holds(shade), f"{shade}: claimed {low} to {high} %, in truth {true:.2f} %"

    def read_journal(self) -> None:
        for entry in entries(self.house.bridge.state / "journal.db"):
            self.entries[entry.row] = entry

    def check_journal(self) -> None:
        """Every motion served a living request; every request ended at most once; what was taken is there."""
        alive: dict[str, set[int]] = {shade: set() for shade in SHADES}
        ended: set[int] = set()
        accepted: list[tuple[str, int]] = []
        for _, entry in sorted(self.entries.items()):
            finished: set[int] = set()
            for note in entry.decisions.notes:
                fields = dict(note.fields)
                number = fields.get("request")
                if note.name == "request.accepted" and isinstance(number, int):
                    alive[str(note.shade)].add(number)
                if note.name == "request.ended" and isinstance(number, int):
                    assert number not in ended, f"request {number} ended twice"
                    ended.add(number)
                    finished.add(number)
            for sent in entry.decisions.orders:
                if sent.order.do in (Do.GO, Do.SEEK):
                    assert alive[sent.shade] - (ended - finished), f"row {entry.row}: motion for nobody"
            for shade in SHADES:
                alive[shade] -= ended
            event = entry.event
            took = any(note.name == "request.accepted" for note in entry.decisions.notes)
            if isinstance(event, Asked) and isinstance(event.want, Percent) and took:
                accepted.append((str(event.shade), event.want.open_pct))
        remaining = iter(accepted)
        lost = [each for each in self.taken if each not in remaining]
        assert lost == [], f"accepted, then forgotten: {lost}"

    def on_the_wire(self) -> set[tuple[str, int, int, int]]:
        """Return every motion order seen so far: board, channel, term and number."""
        return {
            (nominal.board, nominal.channel, order["term"], order["seq"])
            for nominal in NOMINAL.values()
            for order in self.house.ear.motion_orders(nominal.board, nominal.channel)
        }

    def check_wire(self, seen: set[tuple[str, int, int, int]]) -> None:
        """Nothing moved that was not in the journal first, which was read after the wire."""
        written = {
            (sent.board, sent.channel, sent.order.term, sent.order.seq)
            for entry in self.entries.values()
            for sent in entry.decisions.orders
        }
        assert seen - written == set(), f"not in the journal: {sorted(seen - written)}"


def test_no_kill_makes_a_claim_false_a_motion_unasked_or_a_request_forgotten(house: House) -> None:
    story = Story(house, Random(SEED))
    for number in range(KILLS):
        story.ask_something()
        victim = story.rng.choice(VICTIMS)
        killed_s = time.monotonic()
        story.kill(victim)
        time.sleep(story.rng.uniform(0.0, 0.5))
        story.start_again(victim)
        story.settle(killed_s if victim in ("bridge", "broker", "everything") else 0.0)
        story.check_claims()
        seen = story.on_the_wire()
        story.read_journal()
        if number % 20 == 19 or number == KILLS - 1:
            story.check_journal()
            story.check_wire(seen)
            print(f"{number + 1} kills, {story.asked} asked, {len(story.taken)} taken", flush=True)
