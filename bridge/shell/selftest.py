"""The self-test of a bridge at work: what broker, boards and machine keep from it is told, with the remedy.

A look takes seconds, most of them waiting, in a process that ends: its first comes once a new session has
settled, then one a day. `python -m bridge.shell.selftest` is that process: settings in, findings out.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import pickle
import sys
from asyncio.subprocess import PIPE
from collections.abc import Callable, Sequence

from structlog.typing import FilteringBoundLogger

from bridge.core.checkup import Finding, Grade, to_put_right
from bridge.core.errors import BridgeError
from bridge.settings.plain import Settings

# Boards have answered, the tree stands, and nobody's first request is in its way.
SETTLED_S = 10.0
APART_S = 86_400.0
LONGEST_S = 60.0
NICE = 10
# An alert is read on a phone.
SHOWN = 3


class SelfTest:
    """Looks for as long as a session stands.

    Args:
        log: The logger.
        tell: Given what an alert is to say; "" when there is nothing to alert of.
    """

    def __init__(self, log: FilteringBoundLogger, tell: Callable[[str], None]) -> None:
        self._log, self._tell = log, tell
        self._told: Sequence[Finding] | None = None

    async def run(self, settings: Settings) -> None:
        """Look soon, then each day, until cancelled."""
        await asyncio.sleep(SETTLED_S)
        while True:
            try:
                found = await _looked(settings)
            except (OSError, ValueError) as error:
                self._log.warning("house.selftest.failed", problem=str(error) or "it took too long")
            else:
                self.found(found)
            await asyncio.sleep(APART_S)

    def found(self, found: Sequence[Finding]) -> None:
        """Tell what was found; in the log only what differs from the last look."""
        faults = [each for each in found if each.grade is Grade.FAULT]
        self._tell(_alert(faults))  # each time: the broker may have forgotten the last one
        if found == self._told:
            return
        self._told = found
        for each in found:
            write = self._log.error if each in faults else self._log.warning
            write("house.selftest.found", subject=each.subject, text=each.text, remedy=each.remedy)
        if not found:
            self._log.info("house.selftest.passed")


def _alert(faults: Sequence[Finding]) -> str:
    if not faults:
        return ""
    lines = [f"{each.subject}: {each.text} ({each.remedy})" for each in faults[:SHOWN]]
    more = [f"{len(faults) - SHOWN} more"] if len(faults) > SHOWN else []
    return "; ".join([*lines, *more, "`hembar doctor` looks again"])


async def _looked(settings: Settings) -> tuple[Finding, ...]:
    """Return what another process finds.

    Raises:
        ValueError: it failed.
        TimeoutError: it takes too long.
    """
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", __name__, stdin=PIPE, stdout=PIPE, stderr=PIPE
    )
    try:
        async with asyncio.timeout(LONGEST_S):
            said, trouble = await process.communicate(pickle.dumps(settings))
    finally:
        if process.returncode is None:
            process.kill()
            await process.wait()
    if process.returncode != 0:
        lines = trouble.decode("utf-8", "replace").strip().splitlines() or [
            f"ended with {process.returncode}"
        ]
        raise ValueError(lines[-1][:200])
    found: tuple[Finding, ...] = pickle.loads(said)  # noqa: S301  # our own words
    return found


def _main() -> None:
    from bridge.shell.checkup import look_from_within  # noqa: PLC0415  for this process only

    with contextlib.suppress(OSError):  # the unit file lets a service set no priorities
        os.nice(NICE)
    settings: Settings = pickle.loads(sys.stdin.buffer.read())  # noqa: S301  # our own words
    try:
        found = to_put_right(look_from_within(settings))
    except BridgeError as error:
        sys.exit(str(error))
    sys.stdout.buffer.write(pickle.dumps(found))


if __name__ == "__main__":
    _main()
