"""`hembar run`: one task group in which the broker is heard, time passes and the house decides.

The deciding loop takes one message or one tick at a time and pings the watchdog itself, so a loop that no
longer decides is restarted. READY is told once the journal is recovered, whether or not the broker answers.
"""

from __future__ import annotations

import asyncio
import os
import random
import signal
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from structlog.typing import FilteringBoundLogger

from bridge.adapters.broker.homie import State
from bridge.adapters.broker.messages import Incoming, Publication
from bridge.adapters.broker.queues import Dropped, Inbox, room_for
from bridge.adapters.broker.session import Hooks, Session
from bridge.adapters.journal.files import JOURNAL
from bridge.adapters.journal.store import FileJournal, snapshot_every
from bridge.adapters.notify import ServiceManager
from bridge.core.backoff import backoff
from bridge.core.errors import ConfigError, LinkError
from bridge.core.events import (
    BrokerLost,
    BrokerReached,
    SettingsChanged,
    Started,
    Ticked,
)
from bridge.core.house import due_s, handle
from bridge.core.state import House
from bridge.settings.plain import BrokerSettings, Settings
from bridge.shell import charge
from bridge.shell.addresses import address_of
from bridge.shell.clock import now
from bridge.shell.deciding import Deciding
from bridge.shell.outside import Outside, seen_outside
from bridge.shell.page import Page, PageAsked
from bridge.shell.selftest import SelfTest

LONGEST_WAIT_S = 10.0
# After so long without anything new nobody will mind a few milliseconds of other work.
RESTED_S = 0.2
# In each watchdog interval, so that one that comes late does no harm.
PINGS = 3
# After a tick that found nothing to do (a wall clock set back) the next comes no sooner.
IDLE_TICK_S = 0.5
# Turns of the event loop that a message waits for others of its burst.
BREATH = 3
# While messages come, whether a tick is due is asked no sooner than this after the last time: it takes a look
# at every shade.
LOOK_APART_S = 0.01
# So many messages that wait are decided upon and written down together; the orders of all leave after it.
TOGETHER = 16
# While more orders wait than leave in one turn of the loop, so few that what they lead to can leave in one.
CROWDED, TOGETHER_CROWDED = 20, 4


@dataclass(frozen=True, slots=True)
class SessionUp:
    """The session stands."""

    protocol: str


@dataclass(frozen=True, slots=True)
class SessionDown:
    """The session is gone."""


@dataclass(frozen=True, slots=True)
class Reload:
    """The settings are to be read again."""


# The orders of a session that is about to be replaced go out first.
SENT_WITHIN_S = 1.0

Word = SessionUp | SessionDown | Reload | PageAsked


class Daemon:
    """One run of the bridge.

    Args:
        settings: As the owner wrote them.
        state_dir: Where the journal is kept.
        log: The logger.
        manager: The service manager.
        reread: Reads the settings again, or raises ConfigError.
        on_ready: Called once the journal is recovered.
    """

    def __init__(
        self,
        settings: Settings,
        state_dir: Path,
        log: FilteringBoundLogger,
        manager: ServiceManager,
        *,
        reread: Callable[[], Settings] | None = None,
        on_ready: Callable[[], None] = lambda: None,
    ) -> None:
        self._settings, self._log, self._manager, self._on_ready = settings, log, manager, on_ready
        self._reread = reread
        self._bridge = f"{settings.broker.client_id}-{random.getrandbits(32):08x}"
        self._outside = Outside(settings, bridge=self._bridge, send=self._send, log=log)
        self._journal = FileJournal(
            state_dir / JOURNAL, handle, snapshot_every=snapshot_every(len(settings.house.shades))
        )
        self._page = Page(
            settings,
            state_dir=state_dir,
            house=self._house,
            hand_in=self._say,
            log=log,
            random=random.random,
        )
        self._deciding = Deciding(self._journal, self._outside.faces, log, told=self._page.told)
        self._inbox = Inbox(limit=room_for(len(settings.house.shades)))
        self._words: list[Word] = []
        self._some = asyncio.Event()
        self._looked_s = self._pinged_s = 0.0
        self._due: tuple[House | None, float | None] = (None, None)
        self._session = self._make_session(settings.broker)
        self._serving: asyncio.Task[None] | None = None
        self._selftest = SelfTest(log, lambda text: self._outside.alert(charge.SELF_TEST, text))
        self._testing: asyncio.Task[None] | None = None
        self._aside = False

    async def run(self) -> None:
        """Serve until cancelled; SIGTERM and SIGINT cancel."""
        loop = asyncio.get_running_loop()
        loop.add_signal_handler(signal.SIGHUP, self._say, Reload())
        await self._recover()
        serving = asyncio.current_task()
        assert serving is not None
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(number, serving.cancel)
        self._manager.tell("READY=1", f"STATUS=serving {len(self._settings.house.shades)} shades")
        self._on_ready()
        try:
            async with asyncio.TaskGroup() as tasks:
                self._serving = tasks.create_task(self._session.run())
                tasks.create_task(self._decide(tasks))
                tasks.create_task(self._page.run())
        except asyncio.CancelledError:
            self._log.info("house.run.stopped")
        finally:
            self._manager.tell("STOPPING=1")
            self._deciding.close()

    async def _recover(self) -> None:
        """Take up the house where the journal leaves it, and begin this run in it."""
        recovered = self._journal.recover()
        for damage in recovered.damage:
            self._log.error("journal.damage.found", text=damage, lost=recovered.lost)
        for difference in recovered.differences:
            self._log.error("journal.replay.differed", difference=str(difference))
        self._deciding.house = recovered.house
        before = recovered.house
        if before is not None and any(each.channel.boot is not None for each in before.shades.values()):
            self._outside.claims.left_before()  # boards were heard, so a broker was met
        doubt = recovered.lost or any(each.orders_differ for each in recovered.differences)
        await self._deciding.take(Started(at=now(), spec=self._settings.house, memory_lost=doubt))

    def _house(self) -> House:
        assert self._deciding.house is not None, "a run begins in a house"
        return self._deciding.house

    def _make_session(self, broker: BrokerSettings) -> Session:
        return Session(
            address_of(broker),
            subscriptions=self._outside.subscriptions(),
            greeting=self._outside.tree.state(State.INIT),
            will=self._outside.tree.state(State.LOST),
            farewell=self._outside.tree.state(State.DISCONNECTED),
            hooks=Hooks(
                on_up=lambda protocol: self._say(SessionUp(protocol)),
                on_down=lambda: self._say(SessionDown()),
                on_message=self._arrived,
                on_dropped=self._dropped,
                on_trouble=self._trouble,
            ),
            delays=partial(backoff, random.random),
            room=room_for(len(self._settings.house.shades)),
        )

    def _send(self, publication: Publication, lifetime_s: float | None) -> None:
        self._session.publish(publication, lifetime_s=lifetime_s)

    def _say(self, word: Word) -> None:
        self._words.append(word)
        self._some.set()

    def _arrived(self, message: Incoming) -> None:
        if self._outside.at_door(message):
            return
        shed = self._inbox.put(message)
        if shed is not None:
            self._outside.sparing.warning("broker.message.shed", topic=shed.topic)
        self._some.set()

    def _dropped(self, dropped: Dropped) -> None:
        self._outside.sparing.warning(
            "broker.message.dropped", topic=dropped.publication.topic, reason=dropped.reason
        )

    def _trouble(self, error: LinkError, delay_s: float) -> None:
        self._log.warning(
            "broker.session.lost", problem=error.problem, where=error.where, again_s=round(delay_s, 1)
        )

    async def _decide(self, tasks: asyncio.TaskGroup) -> None:
        idle = False
        while True:
            self._ping()
            if not self._words and not len(self._inbox) and (wait_s := self._wait_s(idle=idle)) > 0:
                self._some.clear()
                try:
                    async with asyncio.timeout(wait_s):
                        await self._some.wait()
                except TimeoutError:
                    if wait_s >= RESTED_S:
                        self._deciding.rest()
                # What came in the same breath is decided, and flushed, together.
                for _ in range(BREATH):
                    await asyncio.sleep(0)
            idle = not await self._next_things(tasks)
            house = self._deciding.house
            if house is not None and house.stood_down and not self._aside:
                await self._stand_aside(tasks)

    async def _next_things(self, tasks: asyncio.TaskGroup) -> bool:
        """Take the next word, tick or messages; say whether that changed anything."""
        if self._words:
            return await self._spoken(self._words.pop(0), tasks)
        if self._tick_due():
            return await self._deciding.take(Ticked(at=now()))
        if not len(self._inbox):
            return True
        messages, house = await self._messages(), self._deciding.house
        assert house is not None
        events = [event for message in messages for event in self._outside.events_of(message, house)]
        return not events or await self._deciding.take(*events)

    async def _messages(self) -> list[Incoming]:
        """Return the messages that are decided upon together.

        One on a listen topic is read in the light of all before it, so it stands alone.
        """
        found = [await self._inbox.get()]
        most = TOGETHER if self._session.orders_waiting < CROWDED else TOGETHER_CROWDED
        while len(found) < most and not self._outside.alone(found[-1].topic):
            following = self._inbox.first()
            if following is None or self._outside.alone(following.topic):
                break
            found.append(await self._inbox.get())
        return found

    def _tick_due(self) -> bool:
        """Say whether something is due; while messages come it is looked for only now and then."""
        if self._until_look_s() > 0:
            return False
        due = self._due_s()
        return due is not None and due <= now().mono_s

    def _until_look_s(self) -> float:
        """Return how long what is due stays unknown; <= 0 when it is known or may be looked for."""
        if self._due[0] is self._deciding.house:
            return 0.0
        return self._looked_s + LOOK_APART_S - now().mono_s

    def _due_s(self) -> float | None:
        house = self._deciding.house
        if self._due[0] is not house:
            self._due = (house, None if house is None else due_s(house))
            self._looked_s = now().mono_s
        return self._due[1]

    def _wait_s(self, *, idle: bool) -> float:
        if (left_s := self._until_look_s()) > 0:
            return left_s
        longest = RESTED_S if self._deciding.wants_rest else LONGEST_WAIT_S
        if self._manager.watchdog_s is not None:
            longest = min(longest, self._manager.watchdog_s / PINGS)
        due = self._due_s()
        if due is None:
            return longest
        return min(max(due - now().mono_s, IDLE_TICK_S if idle else 0.0), longest)

    async def _spoken(self, word: Word, tasks: asyncio.TaskGroup) -> bool:
        if isinstance(word, Reload):
            await self._reload(tasks)
            return True
        if isinstance(word, PageAsked):
            changed = await self._deciding.take(word.event)
            word.done()
            return changed
        if isinstance(word, SessionDown):
            self._test_no_more()
            self._outside.faces.close()
            return await self._deciding.take(BrokerLost(at=now()))
        self._log.info("broker.session.up", protocol=word.protocol)
        await self._deciding.take(BrokerReached(at=now()))
        assert self._deciding.house is not None
        self._outside.opened(self._deciding.house)
        if not self._deciding.house.stood_down:
            self._outside.faces.open(self._deciding.house)
            self._test_anew(tasks)
        return True

    def _test_anew(self, tasks: asyncio.TaskGroup) -> None:
        self._test_no_more()
        self._testing = tasks.create_task(self._selftest.run(self._settings))

    def _test_no_more(self) -> None:
        if self._testing is not None:
            self._testing.cancel()

    async def _stand_aside(self, tasks: asyncio.TaskGroup) -> None:
        """Leave tree and boards to the bridge that is in charge, and say so beside it."""
        self._aside = True
        self._test_no_more()
        broker = self._settings.broker
        session = charge.aside(address_of(broker), self._outside.tree, broker.boards_root, self._log)
        await self._replace_session(session, tasks)

    async def _replace_session(self, session: Session, tasks: asyncio.TaskGroup) -> None:
        """Leave the broker as the old session leaves it, then serve by another."""
        await self._session.sent(within_s=SENT_WITHIN_S)
        if self._serving is not None:
            self._serving.cancel()
            await asyncio.wait([self._serving])
        self._session = session
        self._serving = tasks.create_task(session.run())

    async def _reload(self, tasks: asyncio.TaskGroup) -> None:
        """Read the settings again; faulty ones change nothing, and every fault is told."""
        self._manager.tell("RELOADING=1", f"MONOTONIC_USEC={int(now().mono_s * 1e6)}")
        try:
            settings = await asyncio.to_thread(self._reread) if self._reread else self._settings
            address_of(settings.broker)
        except (ConfigError, LinkError) as error:
            for fault in getattr(error, "faults", (error,)):
                self._log.error("settings.reload.refused", fault=str(fault))
            self._log.error("settings.kept", text="the settings have faults; the old ones stay in force")
        else:
            await self._adopt(settings, tasks)
        self._manager.tell("READY=1", f"STATUS=serving {len(self._settings.house.shades)} shades")

    async def _adopt(self, settings: Settings, tasks: asyncio.TaskGroup) -> None:
        """Go by other settings: the house first, then, where the broker sees them, what faces it."""
        old, self._settings = self._settings, settings
        self._page.adopt(settings)
        if settings.state_dir != old.state_dir:
            text = "another state_dir counts from the next start on"
            self._log.warning("settings.state_dir.ignored", text=text)
        faces_anew = seen_outside(settings) != seen_outside(old) and not self._aside
        if faces_anew:
            self._outside.faces.close()
        await self._deciding.take(SettingsChanged(at=now(), spec=settings.house))
        self._log.info("settings.reloaded", origin=settings.origin, shades=len(settings.house.shades))
        if not faces_anew:
            if self._session.up and not self._aside:
                self._test_anew(tasks)
            return
        await self._session.sent(within_s=SENT_WITHIN_S)
        self._outside = Outside(settings, bridge=self._bridge, send=self._send, log=self._log)
        self._deciding.show_on(self._outside.faces)
        await self._replace_session(self._make_session(settings.broker), tasks)

    def _ping(self) -> None:
        self._outside.sparing.tell()
        watchdog_s, at_s = self._manager.watchdog_s, now().mono_s
        if watchdog_s is not None and at_s - self._pinged_s >= watchdog_s / PINGS:
            self._pinged_s = at_s
            self._manager.tell("WATCHDOG=1")


async def serve(
    settings: Settings,
    state_dir: Path,
    log: FilteringBoundLogger,
    *,
    reread: Callable[[], Settings] | None = None,
) -> None:
    """Run the bridge in this process until a signal ends it; SIGHUP reads the settings again by `reread`."""
    manager = ServiceManager(os.environ, pid=os.getpid())
    await Daemon(settings, state_dir, log, manager, reread=reread).run()
