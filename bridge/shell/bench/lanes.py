"""Three ways from a request to its answer, each with the same questions asked of it.

A way has lanes; a round asks each lane at most once, so that the bridge's limit of four orders a second to
one shade is not what is measured. The boards' reports come between the rounds: a real motor takes seconds.
"""

from __future__ import annotations

import json
import time
from dataclasses import dataclass, field
from typing import Protocol

from bridge.shell.bench.house import Place, Running, places
from bridge.shell.bench.meter import Meter

BOOT = 1


class Way(Protocol):
    """From a request to its answer."""

    name: str
    answered: dict[int, float]

    def ask(self, lane: int, value: int) -> float:
        """Publish a request; return when it left."""
        ...

    def fence(self) -> None:
        """Wait until all that follows from earlier requests has been shown."""
        ...

    def settle(self) -> None:
        """Do what follows a round, and return once nothing of it is left to do."""
        ...


@dataclass
class Plain:
    """A topic in and a topic out: the echo, or the broker alone when they are one."""

    name: str
    meter: Meter
    root: str
    into: str
    out: str
    answered: dict[int, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.meter.hear(f"{self.root}/", [f"{self.root}/+/{self.out}"], self._hears)

    def ask(self, lane: int, value: int) -> float:
        return self.meter.say(f"{self.root}/{lane}/{self.into}", b"%d" % value)

    def fence(self) -> None:
        return  # the answer is all there is

    def settle(self) -> None:
        self.meter.rest(0.02)

    def _hears(self, topic: str, _payload: bytes) -> None:
        self.answered[int(topic.split("/")[1])] = time.perf_counter()


@dataclass
class Channel:
    """One channel of a pretended board: where it is and what it has said."""

    number: int
    n: int = 0
    seq: int = 0
    count: int = 0


@dataclass
class Bridged:
    """The bridge, with boards that are one client: they obey the contract and arrive when they are told to.

    Args:
        name: Shown in the report.
        meter: The client.
        running: The bridge.

    Attributes:
        stopped: When the last order to stop came, by lane.
        reports_s: Per round, the time for one of its boards' reports to be taken in and shown.
    """

    name: str
    meter: Meter
    running: Running
    answered: dict[int, float] = field(default_factory=dict)
    reports_s: list[float] = field(default_factory=list)
    stopped: dict[int, float] = field(default_factory=dict)
    _marks: int = 0
    _arrived: list[int] = field(default_factory=list)
    _known: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self._places = places(self.running.shades)
        self._channels = {
            (each.board, each.channel): Channel(number) for number, each in enumerate(self._places)
        }
        self._root = f"{self.running.name}-boards"
        self.meter.hear(f"{self._root}/", [f"{self._root}/+/+/order"], self._ordered)
        mark = self._device(0, "reason/release")
        self.meter.hear(mark, [mark], self._marked)
        self.meter.hear(f"homie/5/{self.running.name}-", ["homie/5/+/knowledge/grade"], self._graded)

    def power_up(self) -> None:
        """Let every board say that it is up and be asked, then confirm every shade at its upper limit."""
        for board in dict.fromkeys(each.board for each in self._places):
            said = json.dumps({"link": "up", "boot": BOOT}).encode()
            self.meter.say(f"{self._root}/{board}/link", said, retain=True)
        self.meter.until(lambda: all(each.n for each in self._channels.values()), "every board to be asked")
        self.fence()
        for lane in range(len(self._places)):
            self.meter.say(self._device(lane, "knowledge/confirm/set"), b"upper")
        self.meter.until(lambda: len(self._known) == len(self._places), "every position to be known")
        self.fence()

    def ask(self, lane: int, value: int) -> float:
        return self.meter.say(self._device(lane, "opening/position/set"), b"%d" % value)

    def settle(self) -> None:
        """Let every board arrive that was sent somewhere, and wait until all of it is shown."""
        self.fence()
        began_s, sent = time.perf_counter(), self.arrive()
        self.fence()
        if sent:
            self.reports_s.append((time.perf_counter() - began_s) / len(sent))

    def arrive(self) -> list[int]:
        """Let every board arrive that was sent somewhere; return which lanes."""
        sent, self._arrived = self._arrived, []
        for lane in sent:
            self._report(self._places[lane], "arrived")
        return sent

    def fence(self) -> None:
        """Wait until everything asked before now has been decided and shown."""
        before = self._marks
        self.meter.say(self._device(0, "reason/release/set"), b"release")
        self.meter.until(lambda: self._marks > before, "the bridge to catch up")

    def _device(self, lane: int, levels: str) -> str:
        return f"homie/5/{self.running.name}-{self._places[lane].shade}/{levels}"

    def _marked(self, _topic: str, _payload: bytes) -> None:
        self._marks += 1

    def _graded(self, topic: str, payload: bytes) -> None:
        if payload == b"referenced":
            self._known.add(topic)

    def _ordered(self, topic: str, payload: bytes) -> None:
        at_s = time.perf_counter()
        _, board, channel, _ = topic.split("/")
        order = json.loads(payload)
        mine = self._channels[board, int(channel)]
        if order.get("boot") != BOOT or order["seq"] <= mine.seq:
            return
        mine.seq = order["seq"]
        if order["do"] == "go":
            mine.count = order["to"]
            self.answered[mine.number] = at_s
            self._arrived.append(mine.number)
        else:
            if order["do"] == "stop":
                self.stopped[mine.number] = at_s
            answers = order["seq"] if order["do"] == "tell" else None
            self._report(self._places[mine.number], "told" if answers else "stopped", answers=answers)

    def _report(self, place: Place, why: str, *, answers: int | None = None) -> None:
        mine = self._channels[place.board, place.channel]
        mine.n += 1
        said = {
            "v": 1,
            "boot": BOOT,
            "n": mine.n,
            "count": mine.count,
            "kept": True,
            "moving": False,
            "awake": False,
            "why": why,
            "seq": mine.seq,
            "to": mine.count,
            "answers": answers,
            "senses": [],
        }
        payload = json.dumps(said, separators=(",", ":")).encode()
        self.meter.say(f"{self._root}/{place.board}/{place.channel}/report", payload)
