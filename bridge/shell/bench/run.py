"""One run of the bench: a broker of its own, the baseline, two bridges, and what they take at rest."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from bridge.adapters.broker.embedded import Embedded
from bridge.core.errors import LinkError
from bridge.shell.bench import echo, machine, meter
from bridge.shell.bench.house import bridge
from bridge.shell.bench.lanes import Bridged, Plain, Way
from bridge.shell.bench.meter import Meter
from bridge.shell.bench.patterns import Found, Size, measure
from bridge.shell.bench.report import ALONE, DISK, ECHO, MEMORY, OWN_ECHO, Measured

SHARED_MEMORY = Path("/dev/shm")  # noqa: S108  Linux's own file system in memory
IDLE_SHADES, READY_SHADES = 20, 100
SETTLE_S = 3.0

Say = Callable[[str], None]


def run(size: Size, disk: Path | None, say: Say) -> Measured:
    """Measure everything.

    Args:
        size: How much.
        disk: A folder on the disk whose flush is measured; the machine's temporary folder when None.
        say: Tells a person what is being done.

    Raises:
        LinkError: no broker, or something did not answer.
    """
    if not Path("/proc/self/task").is_dir():
        raise LinkError(where="bench", problem="it reads /proc", remedy="run it on Linux")
    apart = SHARED_MEMORY.is_dir() and os.access(SHARED_MEMORY, os.W_OK)
    with (
        tempfile.TemporaryDirectory(prefix="hembar-bench-", dir=disk) as on_disk,
        tempfile.TemporaryDirectory(
            prefix="hembar-bench-", dir=SHARED_MEMORY if apart else disk
        ) as in_memory,
    ):
        folder, memory = Path(on_disk), Path(in_memory)
        with Embedded() as broker, meter.opened(broker.host, broker.port) as client:
            say(f"broker: {broker.name}")
            flushes: list[float] = []
            found, reports = _requests(size, broker, client, folder, memory, flushes, say)
        say("at rest, and starting up")
        with Embedded() as broker:
            idle_mb, idle_cpu, status_s = _at_rest(size, broker, folder, memory)
            ready_s = _starts(size, broker, folder, memory)
        return Measured(
            broker=broker.name,
            disk=machine.file_system(folder),
            apart=apart,
            found=found,
            bare_flush_s=flushes,
            report_s=reports,
            idle_mb=idle_mb,
            idle_cpu=idle_cpu,
            idle_shades=IDLE_SHADES,
            ready_s=ready_s,
            ready_shades=READY_SHADES,
            status_s=status_s,
        )


def _requests(
    size: Size, broker: Embedded, client: Meter, folder: Path, memory: Path, flushes: list[float], say: Say
) -> tuple[dict[str, Found], list[float]]:
    host, port = broker.host, broker.port
    with (
        _echoing(echo.BARE, broker, client),
        _echoing(echo.OWN, broker, client),
        bridge("bench-m", size.lanes, folder, state=memory / "m", host=host, port=port) as in_memory,
        bridge("bench-d", size.lanes, folder, state=folder / "d", host=host, port=port) as on_disk,
    ):
        ours, theirs = Bridged(MEMORY, client, in_memory), Bridged(DISK, client, on_disk)
        for each in (ours, theirs):
            each.power_up()
        bare = Plain(ECHO, client, _root(echo.BARE), echo.IN, echo.OUT)
        own = Plain(OWN_ECHO, client, _root(echo.OWN), echo.IN, echo.OUT)
        ways: list[Way] = [bare, ours, own, Plain(ALONE, client, "bench-alone", "x", "x"), theirs]
        say("requests")
        found = measure(ways, client, size, lambda: flushes.append(machine.bare_flush_s(folder)))
        return found, ours.reports_s


def _root(kind: str) -> str:
    return f"bench-echo-{kind}"


@contextlib.contextmanager
def _echoing(kind: str, broker: Embedded, client: Meter) -> Iterator[None]:
    root = _root(kind)
    ready: list[bytes] = []
    client.hear(f"{root}/{echo.READY}", [f"{root}/{echo.READY}"], lambda _, payload: ready.append(payload))
    words = [sys.executable, "-m", echo.__name__, kind, broker.host, str(broker.port), root]
    process = subprocess.Popen(words, stdin=subprocess.DEVNULL)  # noqa: S603  # the words are our own
    try:
        client.until(lambda: bool(ready), "the echo to start")
        yield
    finally:
        process.terminate()
        process.wait()


def _at_rest(size: Size, broker: Embedded, folder: Path, memory: Path) -> tuple[float, float, list[float]]:
    host, port = broker.host, broker.port
    with (
        meter.opened(host, port) as client,
        bridge("hembar", IDLE_SHADES, folder, state=memory / "i", host=host, port=port) as running,
    ):
        Bridged(MEMORY, client, running).power_up()
        client.rest(SETTLE_S)
        before_s, began_s = machine.cpu_s(running.pid), time.perf_counter()
        client.rest(size.idle_s)
        share = (machine.cpu_s(running.pid) - before_s) / (time.perf_counter() - began_s)
        status_s = [_status(broker) for _ in range(size.starts)]
        return machine.resident_mb(running.pid), share, status_s


def _status(broker: Embedded) -> float:
    began_s = time.perf_counter()
    words = [sys.executable, "-m", "bridge.cli", "status", "--broker", f"{broker.host}:{broker.port_v3}"]
    subprocess.run(words, check=True, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL)  # noqa: S603  # our own
    return time.perf_counter() - began_s


def _starts(size: Size, broker: Embedded, folder: Path, memory: Path) -> list[float]:
    """Start with an empty journal each time; the first start, on cold files, is not counted."""
    took = []
    for number in range(size.starts + 1):
        state = memory / f"s{number}"
        with bridge(
            "bench-s", READY_SHADES, folder, state=state, host=broker.host, port=broker.port
        ) as running:
            took.append(running.ready_s)
    return took[1:]
