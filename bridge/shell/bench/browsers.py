"""So many browsers that look at the page, as a process: it notes when each change came to each.

Arguments: the page's port and how many. Prints `ready` once all have the house; at the end of its input it
prints one JSON list of pairs, the second on the monotonic clock and the number of the browser.
"""

from __future__ import annotations

import asyncio
import json
import sys
import time

CHANGE, HOUSE = b"event: change", b"event: house"


async def _look(port: int, number: int, seen: list[tuple[float, int]], housed: asyncio.Semaphore) -> None:
    reader, writer = await asyncio.open_connection("127.0.0.1", port, limit=1 << 22)
    writer.write(f"GET /api/events HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
    while line := await reader.readline():
        if line.startswith(CHANGE):
            seen.append((time.perf_counter(), number))
        elif line.startswith(HOUSE):
            housed.release()


async def _main(port: int, browsers: int) -> None:
    seen: list[tuple[float, int]] = []
    housed = asyncio.Semaphore(0)
    tasks = [asyncio.create_task(_look(port, number, seen, housed)) for number in range(browsers)]
    for _ in tasks:
        await housed.acquire()
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    await asyncio.get_running_loop().run_in_executor(None, sys.stdin.read)
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
    sys.stdout.write(json.dumps(seen))


if __name__ == "__main__":
    asyncio.run(_main(int(sys.argv[1]), int(sys.argv[2])))
