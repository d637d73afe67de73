"""What every board must do on a real broker: simulated ones and the board program are held to the same."""

import asyncio
import json
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest

from tests.board_contract import (
    BOARD,
    KINDS,
    PLAIN,
    RECORD,
    SWITCHED,
    WAIT_S,
    Bench,
    Boards,
    listening,
    make_boards,
)
from tests.mosquitto import Mosquitto


@pytest.fixture(params=KINDS)
async def boards(
    request: pytest.FixtureRequest, mosquitto: Mosquitto, topic_prefix: str, tmp_path: Path
) -> AsyncIterator[Boards]:
    folder = tmp_path / "board"
    folder.mkdir()
    made = make_boards(request.param, mosquitto, topic_prefix, folder)
    yield made
    await made.power_cut()


async def test_a_board_greets_moves_and_takes_leave(
    boards: Boards, mosquitto: Mosquitto, topic_prefix: str
) -> None:
    async with listening(mosquitto, topic_prefix) as bridge:
        await boards.power_up()
        for channel in (PLAIN, SWITCHED):
            boot = await bridge.hear(channel, why="boot")
            assert (boot["kept"], boot["count"], boot["n"], boot["seq"]) == (True, RECORD, 1, 0)
        to = await bridge.go(PLAIN, 2000)
        await bridge.hear(PLAIN, why="arrived", count=to, moving=False, awake=True)
        assert boards.place(0) == pytest.approx(2000, abs=8)
        await bridge.go(PLAIN, -500, then="sleep")
        await bridge.hear(PLAIN, why="arrived", moving=False, awake=False)
        assert boards.place(0) == pytest.approx(1500, abs=8)
        await boards.take_leave()
        await bridge.hear_link(BOARD, "off", 1)


async def test_what_a_board_said_last_is_retained(
    boards: Boards, mosquitto: Mosquitto, topic_prefix: str
) -> None:
    async with listening(mosquitto, topic_prefix) as bridge:
        await boards.power_up()
        await bridge.hear(PLAIN, why="boot")
        await bridge.hear_link(BOARD, "up", 1)
        async with listening(mosquitto, topic_prefix) as late:
            await late.hear(PLAIN, why="boot")
            await late.hear_link(BOARD, "up", 1)


async def test_a_power_cut_in_motion_speaks_the_will_and_loses_the_count(
    boards: Boards, mosquitto: Mosquitto, topic_prefix: str
) -> None:
    async with listening(mosquitto, topic_prefix) as bridge:
        await boards.power_up()
        await bridge.hear(PLAIN, why="boot")
        await bridge.hear(SWITCHED, why="boot")
        await bridge.go(PLAIN, 40000)
        await bridge.hear(PLAIN, why="progress")
        began = asyncio.get_running_loop().time()
        await boards.power_cut()
        await bridge.hear_link(BOARD, "lost", 1)
        # Far below the keepalive: it was the closed connection that the broker noticed.
        assert asyncio.get_running_loop().time() - began < 2
        place = boards.place(0)
        assert place > 100
        await boards.power_up()
        boot = await bridge.hear(PLAIN, why="boot", boot=2)
        assert (boot["kept"], boot["count"], boot["kept_since"]) == (False, RECORD, 2)
        assert (await bridge.hear(SWITCHED, why="boot", boot=2))["kept"]
        await bridge.hear_link(BOARD, "up", 2)
        assert boards.place(0) == place


async def test_a_board_goes_on_without_a_broker_and_comes_back_to_it(
    boards: Boards, mosquitto: Mosquitto, topic_prefix: str
) -> None:
    async with listening(mosquitto, topic_prefix) as bridge:
        await boards.power_up()
        await bridge.hear(PLAIN, why="boot")
        to = await bridge.go(PLAIN, 9000)
        await bridge.hear(PLAIN, moving=True)
        mosquitto.kill()
    for _ in range(160):
        if abs(boards.place(0) - 9000) < 8:
            break
        await asyncio.sleep(0.05)
    mosquitto.restart()
    async with listening(mosquitto, topic_prefix) as bridge:
        told = await bridge.hear(PLAIN, why="told", answers=None, boot=1)
        assert (told["count"], told["moving"]) == (to, False)
        await bridge.hear_link(BOARD, "up", 1)


async def test_a_retained_order_moves_nothing_and_a_lie_on_the_link_topic_is_put_right(
    boards: Boards, mosquitto: Mosquitto, topic_prefix: str
) -> None:
    async with listening(mosquitto, topic_prefix) as bridge:
        order: dict[str, Any] = {"v": 1, "term": 1, "boot": 1, "seq": 1, "seen": 1, "do": "go", "to": 9000}
        order |= {"low": 0, "high": 90000, "pps": 800, "ramp": 1600, "then": "stay"}
        link = f"{topic_prefix}/{BOARD}/link"
        await bridge.client.publish(f"{topic_prefix}/{BOARD}/0/order", json.dumps(order), qos=1, retain=True)
        await bridge.client.publish(link, '{"link":"lost","boot":0}', 1, True)
        await boards.power_up()
        await bridge.hear(PLAIN, why="boot")
        await bridge.order(PLAIN, "tell")
        told = await bridge.hear(PLAIN, why="told")
        assert (told["moving"], told["seq"], told["count"], told["answers"]) == (False, 1, RECORD, 1)
        await bridge.hear_link(BOARD, "up", 1)
        await bridge.client.publish(link, '{"link":"lost","boot":1}', 1, True)
        while {"link": "lost", "boot": 1} not in bridge.links[BOARD]:
            bridge.stirred.clear()
            await asyncio.wait_for(bridge.stirred.wait(), WAIT_S)
        await bridge.hear_link(BOARD, "up", 1)


RUBBISH = [b"", b"NaN", b"\xff\xfe", b"[" * 10000, b"9" * 300_000, b"{}", b'{"v":1,"do":["stop"]}']


async def test_rubbish_never_stops_a_board(boards: Boards, mosquitto: Mosquitto, topic_prefix: str) -> None:
    async with listening(mosquitto, topic_prefix) as bridge:
        await boards.power_up()
        await bridge.hear(SWITCHED, why="boot")
        for seq, payload in enumerate(RUBBISH, start=1):
            for channel in (0, 1):
                await bridge.client.publish(f"{topic_prefix}/{BOARD}/{channel}/order", payload, qos=1)
            await bridge.order(SWITCHED, "tell")
            assert (await bridge.hear(SWITCHED, why="told", answers=seq))["moving"] is False


WRONG: list[tuple[dict[str, Any], str]] = [
    ({"boot": 7}, "boot"),
    ({"to": 99999}, "bounds"),
    ({"pps": 0}, "speed"),
    ({"ramp": 10**6}, "speed"),
    ({"then": "party"}, "unreadable"),
    ({"seq": 0}, "seq"),
    ({"term": 0}, "term"),
]


async def test_orders_that_do_not_fit_are_refused_with_a_reason_and_move_nothing(
    boards: Boards, mosquitto: Mosquitto, topic_prefix: str
) -> None:
    async with listening(mosquitto, topic_prefix) as bridge:
        await boards.power_up()
        await bridge.hear(PLAIN, why="boot")
        await bridge.order(PLAIN, "tell")
        await bridge.hear(PLAIN, why="told")
        for wrong, because in WRONG:
            n = bridge.reports[PLAIN][-1]["n"]
            await bridge.go(PLAIN, 500, **wrong)
            refused = await bridge.hear(PLAIN, why="refused", n=n + 1)
            assert (refused["because"], refused["seq"], refused["moving"]) == (because, 1, False)
        assert boards.place(0) == 0


async def test_a_retarget_turns_round_and_a_stop_halts_and_channels_do_not_meet(
    boards: Boards, mosquitto: Mosquitto, topic_prefix: str
) -> None:
    async with listening(mosquitto, topic_prefix) as bridge:
        await boards.power_up()
        await bridge.hear(PLAIN, why="boot")
        await bridge.hear(SWITCHED, why="boot")
        await bridge.go(PLAIN, 30000)
        await bridge.go(SWITCHED, 600)
        await bridge.hear(PLAIN, why="progress")
        await bridge.order(PLAIN, "go", **far(to=RECORD - 300))
        await bridge.hear(PLAIN, why="arrived", count=RECORD - 300)
        assert boards.place(0) == pytest.approx(-300, abs=8)
        await bridge.go(PLAIN, 30000)
        await bridge.hear(PLAIN, why="progress")
        await bridge.order(PLAIN, "stop", ramp=30000)
        stopped = await bridge.hear(PLAIN, why="stopped", moving=False)
        assert boards.place(0) == pytest.approx(stopped["count"] - RECORD, abs=8)
        assert 0 < stopped["count"] < 28000
        last = await bridge.hear(SWITCHED, why="arrived", count=RECORD + 600)
        assert last["seq"] == 1


def far(**fields: Any) -> dict[str, Any]:
    return {"low": -90000, "high": 90000, "pps": 6000, "ramp": 30000, "then": "stay", **fields}


async def test_a_seek_rests_where_the_switch_closed(
    boards: Boards, mosquitto: Mosquitto, topic_prefix: str
) -> None:
    async with listening(mosquitto, topic_prefix) as bridge:
        await boards.power_up()
        await bridge.hear(SWITCHED, why="boot")
        await bridge.hear(PLAIN, why="boot")
        await bridge.order(SWITCHED, "seek", toward="upper", at_most=60000, pps=1500, ramp=20000)
        found = await bridge.hear(SWITCHED, why="upper-switch", moving=False)
        assert (found["awake"], found["to"]) == (True, found["count"])
        assert boards.place(1) == pytest.approx(found["count"] - RECORD, abs=8)
        if isinstance(boards, Bench):
            assert boards.place(1) == -1500
        n = found["n"]
        await bridge.order(SWITCHED, "seek", toward="upper", at_most=60000, pps=1500, ramp=20000)
        assert (await bridge.hear(SWITCHED, n=n + 1))["because"] == "switch-closed"
        n = bridge.reports[PLAIN][-1]["n"]
        await bridge.order(PLAIN, "seek", toward="upper", at_most=60000, pps=1500, ramp=20000)
        assert (await bridge.hear(PLAIN, n=n + 1))["because"] == "no-sense"


# What only the board program shows: its trace of steps, its buttons.


async def test_the_trace_of_a_move_has_exact_steps_and_ramps_within_two_percent(
    boards: Boards, mosquitto: Mosquitto, topic_prefix: str
) -> None:
    if not isinstance(boards, Bench):
        pytest.skip("a simulated board has no trace of steps")
    async with listening(mosquitto, topic_prefix) as bridge:
        await boards.power_up()
        await bridge.hear(PLAIN, why="boot")
        await bridge.go(PLAIN, 3000, pps=1600, ramp=2000)
        await bridge.hear(PLAIN, why="arrived")
        await boards.take_leave()
    trace = boards.trace(0)
    assert (len(trace), {sign for _, sign in trace}, boards.starved) == (3000, {1}, 0)
    # Constant acceleration: t = sqrt(2 s / a) up to v**2 / 2a = 640 steps, then 1600 a second.
    began_s = trace[0][0] / 1e6 - (2 / 2000) ** 0.5
    times = [at / 1e6 - began_s for at, _ in trace]
    for step in range(10, 641, 10):
        assert 2 * step / times[step - 1] ** 2 == pytest.approx(2000, rel=0.02)
        assert 2 * step / (times[-1] - times[2999 - step]) ** 2 == pytest.approx(2000, rel=0.02)
    assert (times[2300] - times[700]) / 1600 == pytest.approx(1 / 1600, rel=0.002)
    assert times[-1] == pytest.approx(1600 / 2000 + 3000 / 1600, rel=0.02)


async def test_a_button_works_while_there_is_no_broker(
    boards: Boards, mosquitto: Mosquitto, topic_prefix: str
) -> None:
    if not isinstance(boards, Bench):
        pytest.skip("simulated boards are pressed in tests/unit/simulate")
    async with listening(mosquitto, topic_prefix) as bridge:
        await boards.power_up()
        await bridge.hear(PLAIN, why="boot")
    mosquitto.kill()
    boards.press("0.down")
    await asyncio.sleep(0.6)
    boards.press("")
    mosquitto.restart()
    async with listening(mosquitto, topic_prefix) as bridge:
        last = await bridge.hear(PLAIN, boot=1, moving=False)
        assert 50 < boards.place(0) == last["count"] - RECORD < 3000
