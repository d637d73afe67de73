"""The landing's board as a process, and a person who jogs the hem bar to a drop by its button.

Each line `jog MM` on standard input is answered by `there MM` on standard output.
"""

from __future__ import annotations

import asyncio
import sys
from math import sqrt
from pathlib import Path

from bridge.simulate.client import SimulatedHouse
from bridge.simulate.demo_house import DEMO_HOUSE

BOARD, CHANNEL = "stair-board", 0
GOOD_MM = 1.5
# What the landing's motor gains in a second: 3000 steps/s2 at 4145 steps and some 160 mm a turn.
MMPS2 = 116.0
LONGEST_S = 1.0


async def main() -> None:
    port, state = int(sys.argv[1]), Path(sys.argv[2])
    reader = asyncio.StreamReader()
    await asyncio.get_running_loop().connect_read_pipe(
        lambda: asyncio.StreamReaderProtocol(reader), sys.stdin
    )
    live = SimulatedHouse(DEMO_HOUSE, state, host="127.0.0.1", port=port, root="shade-boards", only=[BOARD])
    async with live as house:
        board = house.boards[BOARD]
        while line := (await reader.readline()).decode().split():
            to_mm = float(line[1])
            while abs(gap := to_mm - board.truth(CHANNEL).drop_mm) > GOOD_MM:
                board.press(CHANNEL, "down" if gap > 0 else "up")
                await asyncio.sleep(min(LONGEST_S, sqrt(abs(gap) / MMPS2)))
                board.press(CHANNEL, "stop")
                board.release(CHANNEL)
                while board.truth(CHANNEL).moving:  # noqa: ASYNC110  # the board sets no event
                    await asyncio.sleep(0.05)
            print(f"there {board.truth(CHANNEL).drop_mm:.1f}", flush=True)


asyncio.run(main())
