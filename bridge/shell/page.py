"""The page's server in the daemon's loop: opened when the settings want it, told what was decided.

Imports the web's libraries only then. What people ask there is decided in the daemon's own turn, like any
message; long reckonings run in another process, file reading in a thread.
"""

from __future__ import annotations

import asyncio
import json
import os
import sys
from asyncio.subprocess import DEVNULL, PIPE
from collections import Counter, OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from structlog.typing import FilteringBoundLogger

from bridge.adapters.page.home import Answer
from bridge.adapters.page.refusals import RefusalError
from bridge.core.backoff import backoff
from bridge.core.errors import BridgeError, ConfigError
from bridge.core.events import Event
from bridge.core.rules.seeing import zone_of
from bridge.core.state import House
from bridge.core.values import Moment, ShadeId
from bridge.settings.plain import Settings
from bridge.shell.clock import now
from bridge.shell.faces import refused_by

if TYPE_CHECKING:
    from bridge.adapters.page.serving import PageServer
    from bridge.shell.deciding import Step

# So many requests wait for the house at most; each takes it a fraction of a millisecond.
WAITING_MAX = 64
ANSWER_S = 10.0
DAYS_KEPT, DAYS_AT_ONCE, DAY_S = 8, 2, 30.0
# What has happened today is worked out again after so long.
TODAY_S = 60.0


@dataclass(frozen=True, slots=True)
class PageAsked:
    """Somebody asked for something over HTTP; `done` is called once it has been decided."""

    event: Event
    done: Callable[[], None]


class Page:
    """The page of one run, whether it is open or not.

    Args:
        settings: As the owner wrote them.
        state_dir: Where the journal is kept.
        journal: The journal.
        house: Returns the house as it is.
        hand_in: Hands a request to the loop that decides.
        log: The logger.
        random: Returns a number from 0 to 1, for the retry delays.
    """

    def __init__(
        self,
        settings: Settings,
        *,
        state_dir: Path,
        house: Callable[[], House],
        hand_in: Callable[[PageAsked], None],
        log: FilteringBoundLogger,
        random: Callable[[], float],
    ) -> None:
        self._settings, self._state_dir, self._log, self._random = settings, state_dir, log, random
        self._wanted = asyncio.Event()
        self._wanted.set()
        self._house, self._hand_in = house, hand_in
        self._home: PageHome | None = None
        self._server: PageServer | None = None
        self._key = ""

    async def run(self) -> None:
        """Serve the page as the settings want it, until cancelled."""
        while True:
            self._wanted.clear()
            settings = self._settings
            if settings.page is None:
                await self._wanted.wait()
                continue
            try:
                await self._open(settings)
                while not await self._outdated(settings):
                    continue
            finally:
                await self._close()

    def adopt(self, settings: Settings) -> None:
        """Go by other settings, and by the key as it is now."""
        self._settings = settings
        self._wanted.set()

    async def _outdated(self, opened: Settings) -> bool:
        """Wait for other settings and say whether they, or another key, want the page opened anew."""
        from bridge.adapters.page.keys import key_for  # noqa: PLC0415  the web's libraries

        await self._wanted.wait()
        self._wanted.clear()
        settings = self._settings
        if self._server is None or settings.page is None:
            return True
        if settings.page != opened.page or _widths(settings) != _widths(opened):
            return True
        try:
            key = await asyncio.to_thread(key_for, settings.page, self._state_dir)
        except ConfigError as error:
            self._log.error("page.key.kept", problem=str(error), text="the old key stays in force")
            return False
        if key == self._key:
            return False
        self._log.info(
            "page.key.changed", text="a new key is in force; whoever came in with the old one is out"
        )
        return True

    def told(self, steps: Sequence[Step], why: str = "") -> None:
        """Tell whoever looks what was decided; `why` when the disk refused it."""
        if self._home is not None:
            self._home.told(steps, why)
        if self._server is not None:
            self._server.streams.changed()

    async def _open(self, settings: Settings) -> None:
        """Open the server, trying again as long as the address can't be had."""
        from bridge.adapters.page.keys import key_for  # noqa: PLC0415  the web's libraries
        from bridge.adapters.page.serving import PageServer  # noqa: PLC0415

        assert settings.page is not None
        for delay_s in backoff(self._random):
            try:
                self._key = key_for(settings.page, self._state_dir)
                self._home = PageHome(self._state_dir, self._house, self._hand_in, _widths(settings))
                self._server = PageServer(settings.page, self._key, self._home, self._log)
                await self._server.open()
            except (OSError, ConfigError) as error:
                self._log.error("page.server.failed", problem=str(error), again_s=round(delay_s, 1))
                await self._close()
                try:
                    async with asyncio.timeout(delay_s):
                        await self._wanted.wait()
                except TimeoutError:
                    continue
            return

    async def _close(self) -> None:
        server, self._server = self._server, None
        home, self._home = self._home, None
        if server is not None:
            await server.close()
        if home is not None:
            home.close()


class PageHome:
    """The bridge as the page's server sees it; fulfils `adapters.page.home.Home`.

    Args:
        state_dir: Where the journal is kept.
        house: Returns the house as it is.
        hand_in: Hands a request to the loop that decides.
        widths: Of each cloth in mm, where it is told.
    """

    def __init__(
        self,
        state_dir: Path,
        house: Callable[[], House],
        hand_in: Callable[[PageAsked], None],
        widths: Mapping[ShadeId, float],
    ) -> None:
        self._widths = widths
        self._journal, self.house, self._hand_in = state_dir / "journal.db", house, hand_in
        self._asked: dict[int, tuple[asyncio.Future[Answer], Event]] = {}
        self._days: OrderedDict[date, tuple[float, dict[str, Any]]] = OrderedDict()
        self._reckoning: dict[date, asyncio.Task[dict[str, Any]]] = {}
        self._counted: dict[str, Counter[str]] = {
            "events": Counter(), "orders": Counter(), "requests": Counter()
        }  # fmt: skip

    def now(self) -> Moment:
        return now()

    def widths(self) -> Mapping[ShadeId, float]:
        return self._widths

    def counted(self) -> dict[str, dict[str, int]]:
        return {what: dict(found) for what, found in self._counted.items()}

    def told(self, steps: Sequence[Step], why: str) -> None:
        """Count what was decided, and answer whoever asked for it."""
        for step in steps:
            self._counted["events"][step.event.kind] += 1
            self._counted["orders"].update(each.order.do.value for each in step.decisions.orders)
            for note in step.decisions.notes:
                if note.name == "request.ended":
                    self._counted["requests"][str(dict(note.fields).get("fate"))] += 1
            if id(step.event) in self._asked:
                self._answer(step, why)

    def _answer(self, step: Step, why: str) -> None:
        future, _ = self._asked[id(step.event)]
        if future.done():
            return
        if why:
            future.set_result(Answer(taken=False, refused=(("", why),)))
            return
        notes = step.decisions.notes
        refused = tuple((str(note.shade or ""), said) for note in notes if (said := refused_by(note)))
        taken = not refused or any(note.name == "request.accepted" for note in notes)
        future.set_result(Answer(taken=taken, refused=refused))

    async def ask(self, event: Event) -> Answer:
        if len(self._asked) >= WAITING_MAX:
            raise _busy("too many requests wait for the house")
        future: asyncio.Future[Answer] = asyncio.get_running_loop().create_future()
        self._asked[id(event)] = (future, event)

        def done() -> None:
            if not future.done():
                future.set_result(Answer(taken=True))  # it changed nothing

        try:
            self._hand_in(PageAsked(event, done))
            async with asyncio.timeout(ANSWER_S):
                return await future
        except TimeoutError:
            raise _busy("the house has not answered") from None
        finally:
            del self._asked[id(event)]

    async def journal(self, *, search: str, shade: str, before: int | None, limit: int) -> dict[str, Any]:
        from bridge.adapters.journal.looking import look  # noqa: PLC0415

        looking = partial(look, self._journal, search=search, shade=shade, before=before, limit=limit)
        try:
            page = await asyncio.to_thread(looking)
        except BridgeError as error:
            raise _busy(f"the journal can't be read: {error.problem}") from error
        return {"entries": [asdict(line) for line in page.lines], "older": page.older}

    async def day(self, on: date) -> dict[str, Any]:
        kept = self._days.get(on)
        site = self.house().spec.site
        assert site is not None, "the page has asked before"
        clock = now()
        today = clock.utc.astimezone(zone_of(site.timezone)).date()
        if kept is not None and (on != today or clock.mono_s - kept[0] < TODAY_S):
            return kept[1]
        if on not in self._reckoning and len(self._reckoning) >= DAYS_AT_ONCE:
            raise _busy("other days are being worked out")
        return await asyncio.shield(self._reckon(on))

    def _reckon(self, on: date) -> asyncio.Task[dict[str, Any]]:
        if on not in self._reckoning:
            task = asyncio.get_running_loop().create_task(self._worked_out(on))
            self._reckoning[on] = task
            task.add_done_callback(lambda _: self._reckoning.pop(on, None))
        return self._reckoning[on]

    async def _worked_out(self, on: date) -> dict[str, Any]:
        words = [sys.executable, "-m", "bridge.shell.daybook", str(self._journal), on.isoformat()]
        # One thread: a service may have few, and the machine has better to do.
        environ = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
        process = await asyncio.create_subprocess_exec(
            *words, stdin=DEVNULL, stdout=PIPE, stderr=PIPE, env=environ
        )
        try:
            async with asyncio.timeout(DAY_S):
                said, trouble = await process.communicate()
        except TimeoutError:
            raise _busy(f"the day was not worked out within {DAY_S:.0f} s") from None
        finally:
            if process.returncode is None:
                process.kill()
                await process.wait()
        if process.returncode != 0:
            lines = trouble.decode("utf-8", "replace").strip().splitlines() or [""]
            raise _busy(f"the day can't be worked out: {lines[-1][:200]!a}")
        document: dict[str, Any] = json.loads(said)
        self._days[on] = (now().mono_s, document)
        self._days.move_to_end(on)
        while len(self._days) > DAYS_KEPT:
            self._days.popitem(last=False)
        return document

    def close(self) -> None:
        """Give up what is being worked out."""
        for task in list(self._reckoning.values()):
            task.cancel()


def _widths(settings: Settings) -> dict[ShadeId, float]:
    lifts = settings.lifts.items()
    return {name: each.lifting.width_mm for name, each in lifts if each.lifting is not None}


def _busy(problem: str) -> RefusalError:
    return RefusalError(503, "busy", problem, "try again in a moment", retry_s=2)
