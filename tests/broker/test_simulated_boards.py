import asyncio
import json
import signal
import subprocess
import sys
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import aiomqtt
import pytest

from bridge.core.errors import ConfigError
from bridge.simulate.client import SimulatedHouse
from bridge.simulate.demo_house import DEMO_HOUSE
from bridge.simulate.state_file import HemBar, read_truth
from tests.mosquitto import Mosquitto

WAIT_S = 8.0
STUDY, KITCHEN, LANDING = ("attic-board", 0), ("attic-board", 1), ("stair-board", 0)


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


def house(broker: Mosquitto, root: str, state: Path) -> SimulatedHouse:
    return SimulatedHouse(DEMO_HOUSE, state, host=broker.host, port=broker.port, root=root)


async def test_boards_greet_move_and_take_leave(
    mosquitto: Mosquitto, topic_prefix: str, tmp_path: Path
) -> None:
    async with listening(mosquitto, topic_prefix) as bridge:
        async with house(mosquitto, topic_prefix, tmp_path) as boards:
            for channel in (STUDY, KITCHEN, LANDING):
                assert (await bridge.hear(channel, why="boot"))["kept"]
            before = boards.truth()[STUDY]
            to = await bridge.go(STUDY, 2000)
            await bridge.hear(STUDY, why="arrived", count=to, moving=False)
            after = boards.truth()[STUDY]
            assert after.turns - before.turns == pytest.approx(2000 * 11 / 45600, abs=0.002)
            assert after == read_truth(tmp_path)[STUDY]
        await bridge.hear_link("attic-board", "off", 1)


async def test_what_a_board_said_last_is_retained(
    mosquitto: Mosquitto, topic_prefix: str, tmp_path: Path
) -> None:
    async with house(mosquitto, topic_prefix, tmp_path), listening(mosquitto, topic_prefix) as bridge:
        await bridge.hear(LANDING, why="boot")
        await bridge.hear_link("stair-board", "up", 1)
        async with listening(mosquitto, topic_prefix) as late:
            await late.hear(LANDING, why="boot")
            await late.hear_link("stair-board", "up", 1)


async def test_a_power_cut_in_motion_speaks_the_will_and_loses_the_count(
    mosquitto: Mosquitto, topic_prefix: str, tmp_path: Path
) -> None:
    async with (
        listening(mosquitto, topic_prefix) as bridge,
        house(mosquitto, topic_prefix, tmp_path) as boards,
    ):
        await bridge.hear(STUDY, why="boot")
        await bridge.go(STUDY, 40000)
        await bridge.hear(STUDY, why="progress")
        began = asyncio.get_running_loop().time()
        await boards.power_cut("attic-board")
        await bridge.hear_link("attic-board", "lost", 1)
        # Far below the keepalive: it was the closed connection that the broker noticed.
        assert asyncio.get_running_loop().time() - began < 2
        gone = boards.truth()[STUDY]
        assert (gone.moving, gone.awake, gone.count) == (False, False, None)
        await boards.power_up("attic-board")
        boot = await bridge.hear(STUDY, why="boot", boot=2)
        assert (boot["kept"], boot["count"], boot["kept_since"]) == (False, 1216, 2)
        assert (await bridge.hear(KITCHEN, why="boot", boot=2))["kept"]
        await bridge.hear_link("attic-board", "up", 2)
        assert boards.truth()[STUDY].drop_mm == gone.drop_mm


async def test_the_landing_falls_when_its_power_goes(
    mosquitto: Mosquitto, topic_prefix: str, tmp_path: Path
) -> None:
    async with (
        listening(mosquitto, topic_prefix) as bridge,
        house(mosquitto, topic_prefix, tmp_path) as boards,
    ):
        await bridge.hear(LANDING, why="boot")
        to = await bridge.go(LANDING, -30000)
        await bridge.hear(LANDING, why="arrived", count=to)
        high = boards.truth()[LANDING].drop_mm
        await boards.power_cut("stair-board")
        fallen = boards.truth()[LANDING].drop_mm
        assert high < 900
        assert 1500 < fallen < 2300
        await boards.power_up("stair-board")
        boot = await bridge.hear(LANDING, why="boot", boot=2)
        assert (boot["kept"], boot["count"]) == (True, to)


async def test_boards_go_on_without_a_broker_and_come_back_to_it(
    mosquitto: Mosquitto, topic_prefix: str, tmp_path: Path
) -> None:
    async with house(mosquitto, topic_prefix, tmp_path) as boards:
        async with listening(mosquitto, topic_prefix) as bridge:
            await bridge.hear(STUDY, why="boot")
            to = await bridge.go(STUDY, 9000)
            await bridge.hear(STUDY, moving=True)
            mosquitto.kill()
        for _ in range(round(WAIT_S / 0.05)):
            if not boards.truth()[STUDY].moving:
                break
            await asyncio.sleep(0.05)
        mosquitto.restart()
        async with listening(mosquitto, topic_prefix) as bridge:
            told = await bridge.hear(STUDY, why="told", answers=None, boot=1)
            assert (told["count"], told["moving"]) == (to, False)
            await bridge.hear_link("attic-board", "up", 1)


async def test_a_retained_order_moves_nothing_and_a_lie_on_the_link_topic_is_put_right(
    mosquitto: Mosquitto, topic_prefix: str, tmp_path: Path
) -> None:
    async with listening(mosquitto, topic_prefix) as bridge:
        order = {"v": 1, "term": 1, "boot": 1, "seq": 1, "seen": 1, "do": "go", "to": 9000}
        order |= {"low": 0, "high": 90000, "pps": 800, "ramp": 1600, "then": "stay"}
        topic = f"{topic_prefix}/attic-board/0/order"
        await bridge.client.publish(topic, json.dumps(order), qos=1, retain=True)
        await bridge.client.publish(f"{topic_prefix}/attic-board/link", '{"link":"lost","boot":0}', 1, True)
        async with house(mosquitto, topic_prefix, tmp_path):
            await bridge.hear(STUDY, why="boot")
            await bridge.order(STUDY, "tell")
            told = await bridge.hear(STUDY, why="told")
            assert (told["moving"], told["seq"], told["count"]) == (False, 1, 1216)
            await bridge.hear_link("attic-board", "up", 1)
            await bridge.client.publish(
                f"{topic_prefix}/attic-board/link", '{"link":"lost","boot":1}', 1, True
            )
            await asyncio.sleep(0.2)
            await bridge.hear_link("attic-board", "up", 1)


@pytest.mark.parametrize("payload", [b"", b"NaN", b"\xff\xfe", b"[" * 10000, b"9" * 300_000, b"{}"])
async def test_rubbish_never_stops_a_board(
    mosquitto: Mosquitto, topic_prefix: str, tmp_path: Path, payload: bytes
) -> None:
    async with (
        listening(mosquitto, topic_prefix) as bridge,
        house(mosquitto, topic_prefix, tmp_path),
    ):
        await bridge.hear(KITCHEN, why="boot")
        for topic in ("attic-board/1/order", "attic-board/0/order"):
            await bridge.client.publish(f"{topic_prefix}/{topic}", payload, qos=1)
        await bridge.order(KITCHEN, "tell")
        assert (await bridge.hear(KITCHEN, why="told"))["seq"] == 1


# Processes.


@contextmanager
def process(broker: Mosquitto, root: str, state: Path, *more: str) -> Iterator[subprocess.Popen[str]]:
    words = ["--broker", f"{broker.host}:{broker.port}", "--root", root, "--state", str(state), *more]
    run = "import sys; from bridge.cli.main import main; sys.exit(main())"
    command = [sys.executable, "-c", run, "simulate-boards", *words]
    started = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    try:
        yield started
    finally:
        started.kill()
        started.communicate()


async def test_a_killed_process_is_a_power_cut_and_the_next_one_goes_on_from_the_truth(
    mosquitto: Mosquitto, topic_prefix: str, tmp_path: Path
) -> None:
    async with listening(mosquitto, topic_prefix) as bridge:
        with process(mosquitto, topic_prefix, tmp_path) as first:
            start = (await bridge.hear(STUDY, why="boot"))["count"]
            await bridge.hear(LANDING, why="boot")
            began = read_truth(tmp_path)
            await bridge.go(STUDY, 30000)
            await bridge.go(LANDING, -20000)
            await bridge.hear(STUDY, why="progress")
            await bridge.hear(LANDING, why="progress")
            first.send_signal(signal.SIGKILL)
            first.wait()
        await bridge.hear_link("attic-board", "lost", 1)
        killed = read_truth(tmp_path)
        assert killed[STUDY].drop_mm > began[STUDY].drop_mm + 20
        assert not killed[STUDY].moving
        with process(mosquitto, topic_prefix, tmp_path) as second:
            boot = await bridge.hear(STUDY, why="boot", boot=2)
            assert (boot["kept"], boot["count"]) == (False, start)
            again = read_truth(tmp_path)
            assert {key: place(bar) for key, bar in again.items()} == {
                key: place(bar) for key, bar in killed.items()
            }
            second.send_signal(signal.SIGTERM)
            assert second.wait(WAIT_S) == 0
        await bridge.hear_link("attic-board", "off", 2)


def place(bar: HemBar) -> tuple[float, float, int]:
    return (bar.drop_mm, bar.turns, bar.moves)


async def test_only_the_boards_asked_for_run(mosquitto: Mosquitto, topic_prefix: str, tmp_path: Path) -> None:
    async with listening(mosquitto, topic_prefix) as bridge:
        with process(mosquitto, topic_prefix, tmp_path, "--board", "stair-board"):
            await bridge.hear(LANDING, why="boot")
            await asyncio.sleep(0.3)
            assert STUDY not in bridge.reports


def test_a_second_process_on_the_same_files_is_refused(
    mosquitto: Mosquitto, topic_prefix: str, tmp_path: Path
) -> None:
    first = house(mosquitto, topic_prefix, tmp_path)
    with pytest.raises(ConfigError, match="another process runs board attic-board there"):
        house(mosquitto, topic_prefix, tmp_path)
    for live in first.boards.values():
        live.files.close()


def test_an_unknown_board_is_refused_by_name(mosquitto: Mosquitto, tmp_path: Path) -> None:
    with pytest.raises(
        ConfigError, match="board cellar: the house has no such board; choose from attic-board"
    ):
        SimulatedHouse(DEMO_HOUSE, tmp_path, host=mosquitto.host, port=mosquitto.port, only=["cellar"])


async def test_a_seek_pins_the_switch_of_the_kitchen(
    mosquitto: Mosquitto, topic_prefix: str, tmp_path: Path
) -> None:
    quick = replace(DEMO_HOUSE, seed=3)
    async with (
        listening(mosquitto, topic_prefix) as bridge,
        SimulatedHouse(
            quick, tmp_path, host=mosquitto.host, port=mosquitto.port, root=topic_prefix
        ) as boards,
    ):
        await bridge.hear(KITCHEN, why="boot")
        await bridge.order(KITCHEN, "seek", toward="upper", at_most=60000, pps=4000, ramp=30000)
        await bridge.hear(KITCHEN, why="upper-switch", moving=False)
        assert boards.truth()[KITCHEN].drop_mm == pytest.approx(-2.9, abs=0.2)
