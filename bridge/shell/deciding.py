"""One event at a time: decide, write it down, act, show. Nothing leaves before the journal holds it.

When the disk refuses, what was heard still counts in mind, but no motion is begun on it: only `stop`, `tell`
and `sleep` leave, requests are refused, and a snapshot closes the gap before the next event is written.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import TypeVar

from structlog.typing import FilteringBoundLogger

from bridge.core.contract import Do
from bridge.core.errors import LinkError
from bridge.core.events import Event
from bridge.core.house import handle
from bridge.core.outcome import Decisions
from bridge.core.state import House
from bridge.ports import Journal
from bridge.shell import logs
from bridge.shell.faces import Asking, Faces

T = TypeVar("T")
MOTION = (Do.GO, Do.SEEK)


class Deciding:
    """The house of this run, and the writing that goes with every change of it.

    Args:
        journal: Where every event goes first.
        faces: What shows it.
        log: The logger.
    """

    def __init__(self, journal: Journal, faces: Faces, log: FilteringBoundLogger) -> None:
        self._journal, self._faces, self._log = journal, faces, log
        # One thread for the whole life of the file: SQLite's connection belongs to it.
        self._writer = ThreadPoolExecutor(max_workers=1, thread_name_prefix="journal")
        self._gap = False
        self.house: House | None = None

    async def on_disk(self, work: Callable[[], T]) -> T:
        """Run blocking work in the journal's thread."""
        return await asyncio.get_running_loop().run_in_executor(self._writer, work)

    async def take(self, event: Event) -> bool:
        """Let one event happen; say whether it changed anything."""
        before = self.house
        after, decisions = handle(before, event)
        if after is before:
            return False
        try:
            await self._write(before, event, decisions)
        except LinkError as error:
            self._refused_by_disk(after, event, decisions, error)
            return True
        self._go_on(event, after, decisions)
        if self._journal.wants_snapshot:
            await self.snapshot()
        return True

    async def snapshot(self) -> None:
        """Write the whole house; a disk that refuses is told of, and the older truth stands."""
        house = self.house
        if house is None:
            return
        try:
            await self.on_disk(lambda: self._journal.snapshot(house))
        except LinkError as error:
            self._log.error("journal.snapshot.failed", problem=str(error))

    async def close(self) -> None:
        """Write the house a last time and let go of the file."""
        await self.snapshot()
        await self.on_disk(self._journal.close)
        self._writer.shutdown(wait=False)

    async def _write(self, before: House | None, event: Event, decisions: Decisions) -> None:
        if self._gap and before is not None:
            await self.on_disk(lambda: self._journal.snapshot(before, forced=True))
            self._gap = False
        await self.on_disk(lambda: self._journal.append(event, decisions))

    def _go_on(self, event: Event, after: House, decisions: Decisions) -> None:
        self.house = after
        self._faces.order(decisions.orders)
        self._faces.aim(after, decisions.targets)
        self._faces.show(after)
        if isinstance(event, Asking):
            self._faces.answer(event, decisions.notes)
        for note in decisions.notes:
            logs.write(self._log, note)
            self._faces.log(note)

    def _refused_by_disk(self, after: House, event: Event, decisions: Decisions, error: LinkError) -> None:
        self._log.error("journal.write.failed", problem=error.problem, remedy=error.remedy, where=error.where)
        self._gap = True
        harmless = tuple(each for each in decisions.orders if each.order.do not in MOTION)
        halts = tuple(each for each in decisions.targets if each.halts)
        if isinstance(event, Asking):
            self._faces.order(harmless)
            self._faces.aim(after, halts)
            self._faces.decline(event, f"the bridge can't write its journal: {error.problem}")
            return
        self._go_on(event, after, replace(decisions, orders=harmless, targets=halts))
