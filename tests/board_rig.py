"""The board program in virtual time, with a shade of the simulated truth on each channel.

An interrupt of the rig feeds the step outputs every 5 ms, as a board's timer does; the program itself may be
kept from running, as if it were blocked.
"""

import json
from array import array
from random import Random
from typing import Any

from bridge.board.bench import TimedOutput
from bridge.board.board import Board
from bridge.board.hardware import Hands, Hardware
from bridge.board.records import Records
from bridge.board.settings import Settings
from bridge.simulate.build import Build
from bridge.simulate.truth import Tube

FIRM = Build(
    tube_mm=38.0,
    cloth_mm=0.5,
    drop_mm=1800.0,
    wraps_left=1.5,
    start_mm=600.0,
    detent_nm=1.0,
    holding_nm=5.0,
    upper_switch_mm=-4.0,
    stop_mm=-25.0,
)
A_PULSE_MS = 2


def wire(pin: int, active: int = 1) -> dict[str, int]:
    return {"pin": pin, "active": active}


def channel(first_pin: int = 0, /, **more: Any) -> dict[str, Any]:
    names = ("step", "direction", "sleep", "upper_switch", "up", "stop", "down")
    wires = {name: wire(first_pin + at) for at, name in enumerate(names)}
    return {**wires, "pulses_per_turn": [45600, 11], "max_pps": 8000, "max_ramp": 40000, **more}


def settings(*channels: dict[str, Any], **more: Any) -> dict[str, Any]:
    broker = {"address": "127.0.0.1", "port": 1883}
    return {"board": "bench", "broker": broker, "channels": list(channels) or [channel()], **more}


class Flash:
    """The slots of a flash in memory; a write may be torn or refused."""

    def __init__(self) -> None:
        self.slots: dict[int, bytes] = {}
        self.writes: list[int] = []
        self.broken = False

    def read(self, slot: int) -> bytes:
        return self.slots.get(slot, b"")

    def write(self, slot: int, data: bytes) -> None:
        if self.broken:
            raise OSError(28, "no space left")
        self.slots[slot] = data
        self.writes.append(slot)


class RigHands(Hands):
    def __init__(self, rig: "Rig", build: Build) -> None:
        self.rig = rig
        self.tube = Tube.new(build, Random(5))
        self.tube.power_up()
        self.track: Any = None
        self.begun = False
        self.trace: list[tuple[int, int]] = []
        self.fingers: set[str] = set()
        self.stalls_felt = False
        self.output = TimedOutput(lambda: rig.now_us, self._pulse)

    def energise(self, on: bool) -> None:
        self.tube.energise() if on else self.tube.cut()

    def closed(self, switch: int) -> bool:
        return self.tube.lower_closed if switch else self.tube.upper_closed

    def stalled(self) -> bool:
        return self.stalls_felt and self.tube.state.lost > 2 * self.tube.build.cycle

    def pressed(self, name: str) -> bool:
        return name in self.fingers

    def _pulse(self, sign: int, at_us: int) -> None:
        before = [self.closed(0), self.closed(1)]
        self.tube.drive(sign, 1.0)
        self.trace.append((at_us, sign))
        for switch in (0, 1):
            if self.closed(switch) and not before[switch]:
                self.track.edge(switch)


class RigHardware(Hardware):
    def __init__(self, rig: "Rig", builds: list[Build]) -> None:
        self.rig, self.store, self.wifi = rig, rig.flash, None
        self.channels = [RigHands(rig, build) for build in builds]

    def ints(self, count: int) -> Any:
        return array("i", [0] * count)

    def now_ms(self) -> int:
        return self.rig.now_us // 1000

    def wind(self) -> bool:
        return self.rig.windy


class Rig:
    """One powered and connected board, a sender of well-addressed orders, and all that was said."""

    def __init__(
        self, *builds: Build, said: dict[str, Any] | None = None, record: int | None = 1600, **more: Any
    ) -> None:
        self.builds = list(builds) or [FIRM]
        self.more, self.settings = more, said
        self.flash = Flash()
        self.now_us, self.seq, self.windy = 1_000_000, 0, False
        self.topics: list[tuple[str, Any]] = []
        self.said: list[dict[str, Any]] = []
        self.tubes: list[Tube] | None = None
        if record is not None:
            records = Records(self.flash, len(self.builds))
            for line in records.lines:
                line.count, line.clean, line.kept_since = record, True, 1
            records.save()
        self.power_up()

    def power_up(self) -> None:
        plain = [channel(10 * at, **self.more) for at in range(len(self.builds))]
        self.hardware = RigHardware(self, self.builds)
        if self.tubes is not None:
            for hands, tube in zip(self.hardware.channels, self.tubes, strict=True):
                hands.tube = tube
                tube.power_up()
        records = Records(self.flash, len(self.builds))
        assert records.begin_boot()
        self.board = Board(Settings(self.settings or settings(*plain)), self.hardware, records)
        for hands, one in zip(self.hardware.channels, self.board.channels, strict=True):
            hands.track = one.track
        self.board.publish = self._hear
        self.board.connected()

    def power_cut(self) -> None:
        self.tubes = [hands.tube for hands in self.hardware.channels]
        for tube in self.tubes:
            tube.cut()

    def reboot(self) -> list[dict[str, Any]]:
        self.power_cut()
        self.seq, before = 0, len(self.said)
        self.power_up()
        return self.said[before:]

    def _hear(self, topic: str, payload: bytes) -> None:
        value = json.loads(payload)
        self.topics.append((topic, value))
        if topic.endswith("/report"):
            self.said.append(value)

    # Orders.

    def send(
        self, do: str, /, *, channel: int = 0, retained: bool = False, **fields: Any
    ) -> list[dict[str, Any]]:
        self.seq += 1
        one = self.board.channels[channel]
        order = {"v": 1, "term": 1, "boot": one.boot, "seq": self.seq, "seen": one.n, "do": do}
        before = len(self.said)
        topic = f"shade-boards/bench/{channel}/order"
        self.board.message(topic, json.dumps({**order, **fields}).encode(), retained)
        return self.said[before:]

    def go(self, to: int, /, **fields: Any) -> list[dict[str, Any]]:
        plain = {"to": to, "low": -40000, "high": 60000, "pps": 800, "ramp": 1600, "then": "stay"}
        return self.send("go", **{**plain, **fields})

    # Time.

    def wait(self, seconds: float, *, blocked: bool = False) -> list[dict[str, Any]]:
        """Let time pass; with `blocked` only the interrupt runs."""
        before, end_us = len(self.said), self.now_us + round(seconds * 1e6)
        while self.now_us < end_us:
            self.now_us += 1000
            for hands in self.hardware.channels:
                hands.output.sent()
                if self.now_us % 5000 == 0:
                    hands.track.feed()
            if not blocked and self.now_us % (A_PULSE_MS * 1000) == 0:
                self.board.tick(self.now_us // 1000)
        return self.said[before:]

    def settle(self) -> list[dict[str, Any]]:
        before = len(self.said)
        for _ in range(6000):
            self.wait(0.02)
            if not self.board.moving:
                return self.said[before:]
        raise AssertionError("it never comes to rest")

    @property
    def hands(self) -> RigHands:
        one = self.hardware.channels[0]
        assert isinstance(one, RigHands)
        return one

    @property
    def count(self) -> int:
        count = self.board.channels[0].count
        assert count is not None
        return count

    @property
    def drop_mm(self) -> float:
        return self.hands.tube.drop_mm


def whys(reports: list[dict[str, Any]]) -> list[str]:
    return [report["why"] for report in reports if report["why"] != "progress"]
