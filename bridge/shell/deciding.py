"""Decide event by event, write down what was decided, act, show. Nothing leaves before the journal holds it.

Events that wait together are written together, in one flush, and the loop waits for the disk: handing 40 us
of work to a thread took 600 us on a busy machine. The orders leave next, in their sequence, and showing comes
last. When the disk refuses, what was heard, a stop and the lock still count in mind, but no motion is begun:
only `stop`, `tell` and `sleep` leave, other requests are refused, and a snapshot closes the gap before the
next event is written.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial

from structlog.typing import FilteringBoundLogger

from bridge.core.contract import Do
from bridge.core.errors import LinkError
from bridge.core.events import Event, only_halts
from bridge.core.house import handle
from bridge.core.outcome import Decisions, Note
from bridge.core.state import House
from bridge.ports import Journal
from bridge.shell import logs
from bridge.shell.faces import Asking, Faces

MOTION = (Do.GO, Do.SEEK)


@dataclass(frozen=True, slots=True)
class Step:
    """One event and what it led to."""

    event: Event
    after: House
    decisions: Decisions


def _nobody(_steps: Sequence[Step], _why: str) -> None:
    """Nobody else looks."""


class Deciding:
    """The house of this run, and the writing that goes with every change of it.

    Args:
        journal: Where every event goes first.
        faces: What shows it.
        log: The logger.
        told: Hears what was decided once it is written and the orders have left; why, when the disk refused.

    Attributes:
        house: As it is now; None before the first event.
    """

    def __init__(
        self,
        journal: Journal,
        faces: Faces,
        log: FilteringBoundLogger,
        *,
        told: Callable[[Sequence[Step], str], None] = _nobody,
    ) -> None:
        self._journal, self._faces, self._log, self._told = journal, faces, log, told
        self._gap = self._rested = False
        self.house: House | None = None

    def show_on(self, faces: Faces) -> None:
        """Show the house on other faces from now on."""
        self._faces = faces

    async def take(self, *events: Event) -> bool:
        """Let events happen in their sequence; say whether they changed anything."""
        steps = self._steps(events)
        if not steps:
            return False
        self._rested = False
        try:
            self._write(steps)
        except LinkError as error:
            await self._write_fewer(steps, error)
            return True
        await self._go_on(steps)
        if self._journal.needs_snapshot:
            self.snapshot()
        return True

    @property
    def wants_rest(self) -> bool:
        """There is work that had better be done while nobody waits."""
        return self._journal.wants_snapshot and not self._rested

    def rest(self) -> None:
        """Do that work now; what fails is tried again after the next event."""
        if self.wants_rest:
            self._rested = True
            self.snapshot()

    def snapshot(self) -> None:
        """Write the whole house; a disk that refuses is told of, and the older truth stands."""
        if self.house is None:
            return
        try:
            self._journal.snapshot(self.house)
        except LinkError as error:
            self._log.error("journal.snapshot.failed", problem=str(error))

    def close(self) -> None:
        """Tell what has not been told, write the house a last time and let go of the file."""
        self._faces.flush()
        self.snapshot()
        self._journal.close()

    def _steps(self, events: Iterable[Event]) -> list[Step]:
        house, steps = self.house, []
        for event in events:
            after, decisions = handle(house, event)
            if after is not house:
                steps.append(Step(event, after, decisions))
            house = after
        return steps

    def _write(self, steps: list[Step]) -> None:
        if self._gap and self.house is not None:
            self._journal.snapshot(self.house, forced=True)
            self._gap = False
        self._journal.append(*((step.event, step.decisions) for step in steps))

    async def _write_fewer(self, steps: list[Step], error: LinkError) -> None:
        """Nothing of these was written: each is tried alone, since a refused one changes the next."""
        if len(steps) == 1:
            await self._refused_by_disk(steps[0], error)
            return
        for step in steps:
            await self.take(step.event)

    async def _go_on(self, steps: list[Step]) -> None:
        self.house = steps[-1].after
        for step in steps:
            self._faces.order(step.decisions.orders)
            self._faces.aim(step.after, step.decisions.targets)
        await asyncio.sleep(0)  # the orders leave at the end of this turn of the loop
        self._faces.show(self.house)
        self._told(steps, "")
        for step in steps:
            # Not the step: a whole house would wait with each.
            self._faces.later(partial(self._tell, step.event, step.decisions.notes))

    def _tell(self, event: Event, notes: Iterable[Note]) -> None:
        """Answer whoever asked, and write the lines, stamped with the time at which they came true."""
        if isinstance(event, Asking):
            self._faces.answer(event, notes)
        for note in notes:
            logs.write(self._log, note, at=event.at.utc)
            self._faces.log(note)

    async def _refused_by_disk(self, step: Step, error: LinkError) -> None:
        self._log.error("journal.write.failed", problem=error.problem, remedy=error.remedy, where=error.where)
        self._gap = True
        # Nothing leaves of what is declined: its numbers are not remembered, and would be given again.
        if isinstance(step.event, Asking) and not only_halts(step.event):
            why = f"the bridge can't write its journal: {error.problem}"
            self._faces.decline(step.event, why)
            self._told([step], why)
            return
        decisions = step.decisions
        harmless = tuple(each for each in decisions.orders if each.order.do not in MOTION)
        halts = tuple(each for each in decisions.targets if each.halts)
        await self._go_on([replace(step, decisions=replace(decisions, orders=harmless, targets=halts))])
