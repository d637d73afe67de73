"""The board program killed on its way, over and over, on a real broker.

HEMBAR_KILLS=200 for the full number. The truth is the bench's file of where the rotor stands.
"""

import asyncio
import os
from pathlib import Path
from random import Random
from typing import Any

import pytest

from tests.board_contract import BOARD, PLAIN, Bench, Bridge, listening, make_boards
from tests.mosquitto import Mosquitto

KILLS = int(os.environ.get("HEMBAR_KILLS") or 12)
LOW, HIGH = -2000, 8000


async def start(boards: Bench, bridge: Bridge) -> dict[str, Any]:
    """Give it power."""
    bridge.reports.pop(PLAIN, None)
    await boards.power_up()
    return await bridge.hear(PLAIN, why="boot")


async def repeat(bridge: Bridge, order: dict[str, Any]) -> None:
    """Say the order of an earlier boot again, as a bridge does that missed the power cut."""
    n = bridge.reports[PLAIN][-1]["n"]
    await bridge.order(PLAIN, "go", **order)
    assert (await bridge.hear(PLAIN, n=n + 1))["because"] == "boot"


@pytest.mark.parametrize("kind", ["python", "micropython"])
async def test_a_board_killed_again_and_again_never_claims_leaves_bounds_or_repeats(
    mosquitto: Mosquitto, topic_prefix: str, tmp_path: Path, kind: str
) -> None:
    rng = Random(7)
    (tmp_path / "board").mkdir()
    boards = make_boards(kind, mosquitto, topic_prefix, tmp_path / "board")
    assert isinstance(boards, Bench)
    moved = kept = 0
    try:
        async with listening(mosquitto, topic_prefix) as bridge:
            boot = await start(boards, bridge)
            for kill in range(1, KILLS + 1):
                to = rng.randint(LOW, HIGH)
                order: dict[str, Any] = {"to": to, "low": LOW, "high": HIGH, "then": "stay"}
                order |= {"pps": rng.choice([800, 3200]), "ramp": rng.choice([2000, 20000])}
                before = boards.place(0)
                await bridge.order(PLAIN, "go", **order)
                order |= {"boot": boot["boot"], "seq": 1, "seen": boot["n"]}
                await bridge.hear(PLAIN, boot=boot["boot"], seq=1)
                await asyncio.sleep(rng.choice([0.0, 0.01, 0.1, 0.4, rng.uniform(0, 3)]))
                await boards.power_cut()
                place = boards.place(0)
                # In counts of this life the rotor was never beyond the bounds, nor beyond the way asked for.
                count = boot["count"] + place - before
                assert min(boot["count"], to) <= count <= max(boot["count"], to), kill
                last = boot
                # A word of the life before may have come late.
                mine = [each["why"] for each in bridge.reports[PLAIN] if each["boot"] == last["boot"]]
                arrived = "arrived" in mine
                boot = await start(boards, bridge)
                assert boot["boot"] == last["boot"] + 1, kill
                assert boot["kept"] or not arrived, kill
                if boot["kept"]:
                    kept += 1
                    assert boot["count"] == count, (kill, "a count was claimed that is not so")
                else:
                    moved += 1
                    assert (boot["count"], boot["kept_since"]) == (last["count"], boot["boot"])
                await repeat(bridge, order)
                assert boards.place(0) == place, (kill, "an order ran twice")
            await bridge.hear_link(BOARD, "up", boot["boot"])
        print(f"{KILLS} kills: {moved} in motion or in a write, {kept} at rest")
        assert moved
    finally:
        await boards.power_cut()
