import asyncio
import gc
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from bridge.core.errors import ConfigError, RequestError
from bridge.simulate.client import SimulatedHouse
from bridge.simulate.demo_house import DEMO_HOUSE
from bridge.simulate.state_file import HemBar, read_truth
from tests.board_contract import WAIT_S, listening
from tests.mosquitto import Mosquitto

STUDY, KITCHEN, LANDING = ("attic-board", 0), ("attic-board", 1), ("stair-board", 0)


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
        RequestError, match="board cellar: the house has no such board; choose from attic-board"
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


async def test_a_connection_lost_as_soon_as_it_stands_leaves_no_complaint_in_the_loop(tmp_path: Path) -> None:
    loop, complaints, visits = asyncio.get_running_loop(), [], 0
    loop.set_exception_handler(lambda _loop, context: complaints.append(context["message"]))

    async def welcomes_and_goes(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        nonlocal visits
        visits += 1
        await reader.read(1000)
        writer.write(b"\x20\x02\x00\x00")  # CONNACK, MQTT 3.1.1 (OASIS, 2014), 3.2
        writer.close()

    async with await asyncio.start_server(welcomes_and_goes, "127.0.0.1", 0) as server:
        port = server.sockets[0].getsockname()[1]
        boards = SimulatedHouse(DEMO_HOUSE, tmp_path, host="127.0.0.1", port=port, root="r")
        async with boards, asyncio.timeout(WAIT_S):
            while visits < 8:  # noqa: ASYNC110 - what is waited for is another's doing
                await asyncio.sleep(0.01)
    gc.collect()
    await asyncio.sleep(0)
    assert complaints == []
