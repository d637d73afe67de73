"""What a process takes of this machine, and what its disk takes for a bare flush. Reads /proc: Linux only."""

from __future__ import annotations

import os
import time
from pathlib import Path

# One intent of the journal touches three pages of 4 KiB.
FLUSH_BYTES = 12 * 1024


def resident_mb(pid: int) -> float:
    """Return the resident memory of a process in MB (10^6 bytes)."""
    for line in Path(f"/proc/{pid}/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) * 1024 / 1e6
    raise AssertionError("a live process has VmRSS")


def cpu_s(pid: int) -> float:
    """Return the processor seconds of all threads that a process has now, to the nanosecond."""
    tasks = Path(f"/proc/{pid}/task").glob("*/schedstat")
    return sum(int(task.read_text(encoding="ascii").split()[0]) for task in tasks) / 1e9


def bare_flush_s(folder: Path) -> float:
    """Return the seconds for appending 12 KiB to a file in `folder` and flushing it."""
    handle = os.open(folder / "bare-flush", os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    try:
        began_s = time.perf_counter()
        os.write(handle, bytes(FLUSH_BYTES))
        os.fdatasync(handle)
        return time.perf_counter() - began_s
    finally:
        os.close(handle)


def file_system(folder: Path) -> str:
    """Return the type of the file system that holds `folder`, such as ext4 or tmpfs."""
    best, kind = "", "unknown"
    for line in Path("/proc/mounts").read_text(encoding="utf-8").splitlines():
        _, at, found, *_ = line.split()
        if folder.resolve().is_relative_to(at) and len(at) >= len(best):
            best, kind = at, found
    return kind
