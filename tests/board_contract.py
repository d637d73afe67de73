"""A stranger that hears boards and orders them about, and boards of three kinds to try it on.

Simulated boards, the board program under this Python, and the same files under a real MicroPython.
"""

import asyncio
import json
import os
import shutil
import subprocess
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any, Protocol

import aiomqtt
import pytest

from bridge.board.hardware import FileStore
from bridge.board.records import Records
from bridge.simulate.client import SimulatedHouse
from bridge.simulate.fitting import BoardPlan, Fitting, HousePlan
from tests.board_rig import FIRM, channel, settings
from tests.mosquitto import Mosquitto

WAIT_S = 20.0
BOARD = "den-board"
PLAIN, SWITCHED = (BOARD, 0), (BOARD, 1)
RECORD = 1600
ROOT = Path(__file__).parents[1]


class Bridge:
    """A stranger with a client of its own that hears all that boards say and addresses orders well."""

    def __init__(self, client: aiomqtt.Client, root: str) -> None:
        self.client, self.root = client, root
        self.reports: dict[tuple[str, int], list[dict[str, Any]]] = {}
        self.links: dict[str, list[dict[str, Any]]] = {}
        self.stirred = asyncio.Event()

    async def listen(self) -> None:
        async for message in self.client.messages:
            levels = message.topic.value.removeprefix(f"{self.root}/").split("/")
            said = json.loads(message.payload)
            if levels[-1] == "link":
                self.links.setdefault(levels[0], []).append(said)
            elif levels[-1] == "report":
                self.reports.setdefault((levels[0], int(levels[1])), []).append(said)
            self.stirred.set()

    async def order(self, channel: tuple[str, int], do: str, /, **fields: Any) -> None:
        last = self.reports[channel][-1]
        head = {"v": 1, "term": 1, "boot": last["boot"], "seq": last["seq"] + 1, "seen": last["n"], "do": do}
        topic = f"{self.root}/{channel[0]}/{channel[1]}/order"
        await self.client.publish(topic, json.dumps({**head, **fields}), qos=1)

    async def go(self, channel: tuple[str, int], by: int, **fields: Any) -> int:
        to: int = self.reports[channel][-1]["count"] + by
        wanted = {"to": to, "low": -90000, "high": 90000, "pps": 6000, "ramp": 30000, "then": "stay"}
        await self.order(channel, "go", **{**wanted, **fields})
        return to

    async def hear(self, channel: tuple[str, int], **wanted: Any) -> dict[str, Any]:
        """Wait until the newest report is like that."""

        async def heard() -> dict[str, Any]:
            while True:
                for report in self.reports.get(channel, [])[-1:]:
                    if all(report[key] == value for key, value in wanted.items()):
                        return report
                self.stirred.clear()
                await self.stirred.wait()

        return await asyncio.wait_for(heard(), WAIT_S)

    async def hear_link(self, board: str, link: str, boot: int) -> None:
        async def heard() -> None:
            while self.links.get(board, [])[-1:] != [{"link": link, "boot": boot}]:
                self.stirred.clear()
                await self.stirred.wait()

        await asyncio.wait_for(heard(), WAIT_S)


@asynccontextmanager
async def listening(broker: Mosquitto, root: str) -> AsyncIterator[Bridge]:
    async with aiomqtt.Client(broker.host, broker.port) as client:
        bridge = Bridge(client, root)
        await client.subscribe([(f"{root}/+/link", 1), (f"{root}/+/+/report", 1)])
        task = asyncio.create_task(bridge.listen())
        try:
            yield bridge
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)


class Boards(Protocol):
    """One board with two channels, of which the second has an upper switch."""

    async def power_up(self) -> None: ...

    async def power_cut(self) -> None: ...

    async def take_leave(self) -> None: ...

    def place(self, channel: int) -> float:
        """Where the motor really stands, in pulses from where it began."""


class Simulated:
    """A simulated board in this process."""

    def __init__(self, broker: Mosquitto, root: str, folder: Path) -> None:
        builds = (replace(FIRM, upper_switch_mm=None, start_mm=200.0), replace(FIRM, start_mm=60.0))
        ratio = Fraction(45600, 11)
        plain = [Fitting(shade="den", build=build, pulses_per_turn=ratio, record=RECORD) for build in builds]
        plan = HousePlan(boards=(BoardPlan(id=BOARD, channels=tuple(plain)),))
        self.house = SimulatedHouse(plan, folder, host=broker.host, port=broker.port, root=root)
        self.gone = False
        self.began = [self._turns(0), self._turns(1)]

    def _turns(self, channel: int) -> float:
        return self.house.truth()[BOARD, channel].turns

    async def power_up(self) -> None:
        await self.house.power_up(BOARD)

    async def power_cut(self) -> None:
        if not self.gone:
            await self.house.power_cut(BOARD)

    async def take_leave(self) -> None:
        await self.house.boards[BOARD].stop()
        self.gone = True

    def place(self, channel: int) -> float:
        return (self._turns(channel) - self.began[channel]) * 45600 / 11


class Bench:
    """The board program as a process of its own, killed to cut its power."""

    def __init__(self, broker: Mosquitto, root: str, folder: Path, *, python: tuple[str, ...]) -> None:
        self.folder, self.python = folder, python
        self.process: subprocess.Popen[bytes] | None = None
        shutil.copytree(ROOT / "bridge/board", folder / "lib/bridge/board", ignore=_CACHES)
        said = settings(channel(upper_switch=None), channel(10), board=BOARD, root=root)
        said["broker"]["port"] = broker.port
        (folder / "settings.json").write_text(json.dumps(said))
        places = [{"rotor": 0}, {"rotor": 0, "upper_at": -1500}]
        (folder / "bench.json").write_text(json.dumps({"trace": True, "channels": places}))
        records = Records(FileStore(str(folder)), 2)
        for line in records.lines:
            line.count, line.clean, line.kept_since = RECORD, True, 1
        assert records.save()

    async def power_up(self) -> None:
        assert self.process is None
        (self.folder / "fingers").unlink(missing_ok=True)
        lib = str(self.folder / "lib")
        paths = {"PYTHONPATH": lib, "MICROPYPATH": f"{lib}:.frozen", "PYTHONDONTWRITEBYTECODE": "1"}
        words = [*self.python, "-m", "bridge.board.bench", "settings.json", "."]
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(  # noqa: ASYNC220  # it takes a millisecond
                words, env={**os.environ, **paths}, cwd=self.folder, stdout=log, stderr=log
            )

    async def power_cut(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            self.process = None

    async def take_leave(self) -> None:
        self.press("off")
        assert self.process is not None
        code = await asyncio.to_thread(self.process.wait, WAIT_S)
        assert code == 0, (self.folder / "log").read_text()
        self.process = None

    def press(self, fingers: str) -> None:
        (self.folder / "new").write_text(fingers)
        (self.folder / "new").replace(self.folder / "fingers")

    def place(self, channel: int) -> float:
        place: int = self._rotors()[channel][0]
        return place

    @property
    def starved(self) -> int:
        return sum(each[2] for each in self._rotors())

    def _rotors(self) -> list[Any]:
        said: list[Any] = json.loads((self.folder / "rotors").read_bytes())["channels"]
        return said

    def trace(self, channel: int) -> list[tuple[int, int]]:
        """Time in microseconds and sign of every pulse."""
        lines = (self.folder / f"trace-{channel}").read_text().splitlines()
        return [(int(at), int(sign)) for at, sign in (line.split() for line in lines)]


_CACHES = shutil.ignore_patterns("__pycache__")
HEAP = "360k"
KINDS = ("simulated", "python", "micropython")


def micropython_program() -> str:
    """Return where MicroPython is, or skip the test: it has wheels for Linux x86_64 and macOS arm64 only."""
    found = shutil.which("micropython", path=str(Path(sys.executable).parent))
    if found is None:
        pytest.skip("no MicroPython for this machine: the board program is shown under CPython only")
    return found


def make_boards(kind: str, broker: Mosquitto, root: str, folder: Path) -> Boards:
    if kind == "simulated":
        return Simulated(broker, root, folder)
    # About what a small board has left, doubled since this machine's words are twice as long.
    small = (micropython_program(), "-X", f"heapsize={HEAP}") if kind == "micropython" else ()
    python = small or (sys.executable,)
    return Bench(broker, root, folder, python=python)
