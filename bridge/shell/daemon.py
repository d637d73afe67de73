"""`hembar run`: one task group in which the broker is heard, time passes and the house decides.

The deciding loop takes one message or one tick at a time and pings the watchdog itself, so a loop that no
longer decides is restarted. READY is told once the journal is recovered, whether or not the broker answers.
"""

from __future__ import annotations

import asyncio
import os
import random
import signal
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from structlog.typing import FilteringBoundLogger

from bridge import __version__
from bridge.adapters.broker.homie import State
from bridge.adapters.broker.messages import Incoming, Publication, Subscription
from bridge.adapters.broker.queues import Dropped, Inbox
from bridge.adapters.broker.session import Hooks, Session
from bridge.adapters.broker.tree import Refused, Tree
from bridge.adapters.journal.store import FileJournal
from bridge.adapters.links import contract, one_way
from bridge.adapters.notify import ServiceManager
from bridge.core.backoff import backoff
from bridge.core.errors import LinkError
from bridge.core.events import BrokerLost, BrokerReached, ClaimHeard, Event, Started, Ticked
from bridge.core.house import due_s, handle
from bridge.core.state import House
from bridge.settings.plain import BrokerSettings, Settings
from bridge.shell import logs
from bridge.shell.addresses import address_of
from bridge.shell.asking import event_of
from bridge.shell.clock import now
from bridge.shell.deciding import Deciding
from bridge.shell.faces import Faces
from bridge.shell.listening import Listening
from bridge.shell.sensing import Sensing

JOURNAL = "journal.db"
LONGEST_WAIT_S = 10.0
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


@dataclass(frozen=True, slots=True)
class SessionUp:
    """The session stands."""

    protocol: str


@dataclass(frozen=True, slots=True)
class SessionDown:
    """The session is gone."""


Word = SessionUp | SessionDown


class Daemon:
    """One run of the bridge.

    Args:
        settings: As the owner wrote them.
        state_dir: Where the journal is kept.
        log: The logger.
        manager: The service manager.
        on_ready: Called once the journal is recovered.
    """

    def __init__(
        self,
        settings: Settings,
        state_dir: Path,
        log: FilteringBoundLogger,
        manager: ServiceManager,
        *,
        on_ready: Callable[[], None] = lambda: None,
    ) -> None:
        self._settings, self._log, self._manager, self._on_ready = settings, log, manager, on_ready
        broker = settings.broker
        shades = tuple((shade.id, shade.name) for shade in settings.house.shades)
        self._tree = Tree(
            shades=shades,
            groups=tuple((group.id, group.name) for group in settings.house.groups),
            root=broker.root_device,
            name=settings.site.name,
            version=__version__,
            domain=broker.tree_root,
        )
        self._faces = Faces(
            self._tree,
            boards_root=broker.boards_root,
            bridge=f"{broker.client_id}-{random.getrandbits(32):08x}",
            send=self._send,
        )
        self._listening = Listening(settings.listens, log)
        self._sensing = Sensing(settings.sources)
        self._journal = FileJournal(state_dir / JOURNAL, handle)
        self._deciding = Deciding(self._journal, self._faces, log)
        self._inbox = Inbox()
        self._words: list[Word] = []
        self._some = asyncio.Event()
        self._looked_s = self._pinged_s = 0.0
        self._due: tuple[House | None, float | None] = (None, None)
        self._session = self._make_session(broker)

    async def run(self) -> None:
        """Serve until cancelled; SIGTERM and SIGINT cancel."""
        await self._recover()
        serving = asyncio.current_task()
        assert serving is not None
        loop = asyncio.get_running_loop()
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(number, serving.cancel)
        self._manager.tell("READY=1", f"STATUS=serving {len(self._settings.house.shades)} shades")
        self._on_ready()
        try:
            async with asyncio.TaskGroup() as tasks:
                tasks.create_task(self._session.run())
                tasks.create_task(self._decide())
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
        doubt = recovered.lost or any(each.orders_differ for each in recovered.differences)
        await self._deciding.take(Started(at=now(), spec=self._settings.house, memory_lost=doubt))

    def _make_session(self, broker: BrokerSettings) -> Session:
        topics = (
            *contract.subscriptions(broker.boards_root),
            *one_way.subscriptions(self._settings.house.shades),
        )
        heard = [Subscription(topic=topic) for topic in topics]
        claim = Subscription(topic=self._faces.claim_topic)
        heard += [each for each in self._sensing.subscriptions() if not self._listening.hears(each.topic)]
        return Session(
            address_of(broker),
            subscriptions=[*heard, claim, *self._tree.subscriptions(), *self._listening.subscriptions()],
            greeting=self._tree.state(State.INIT),
            will=self._tree.state(State.LOST),
            farewell=self._tree.state(State.DISCONNECTED),
            hooks=Hooks(
                on_up=lambda protocol: self._say(SessionUp(protocol)),
                on_down=lambda: self._say(SessionDown()),
                on_message=self._arrived,
                on_dropped=self._dropped,
                on_trouble=self._trouble,
            ),
            delays=partial(backoff, random.random),
        )

    def _send(self, publication: Publication, lifetime_s: float | None) -> None:
        self._session.publish(publication, lifetime_s=lifetime_s)

    def _say(self, word: Word) -> None:
        self._words.append(word)
        self._some.set()

    def _arrived(self, message: Incoming) -> None:
        shed = self._inbox.put(message)
        if shed is not None:
            self._log.warning("broker.message.shed", topic=shed.topic)
        self._some.set()

    def _dropped(self, dropped: Dropped) -> None:
        self._log.warning("broker.message.dropped", topic=dropped.publication.topic, reason=dropped.reason)

    def _trouble(self, error: LinkError, delay_s: float) -> None:
        self._log.warning(
            "broker.session.lost", problem=error.problem, where=error.where, again_s=round(delay_s, 1)
        )

    async def _decide(self) -> None:
        idle = False
        while True:
            self._ping()
            if not self._words and not len(self._inbox) and (wait_s := self._wait_s(idle=idle)) > 0:
                self._some.clear()
                try:
                    async with asyncio.timeout(wait_s):
                        await self._some.wait()
                except TimeoutError:
                    pass
                # What came in the same breath is decided, and flushed, together.
                for _ in range(BREATH):
                    await asyncio.sleep(0)
            idle = not await self._next_things()

    async def _next_things(self) -> bool:
        """Take the next word, tick or messages; say whether that changed anything."""
        if self._words:
            return await self._spoken(self._words.pop(0))
        if self._tick_due():
            return await self._deciding.take(Ticked(at=now()))
        if not len(self._inbox):
            return True
        events = [event for message in await self._messages() for event in self._events_of(message)]
        return not events or await self._deciding.take(*events)

    async def _messages(self) -> list[Incoming]:
        """Return the messages that are decided upon together.

        One on a listen topic is read in the light of all before it, so it stands alone.
        """
        found = [await self._inbox.get()]
        while len(found) < TOGETHER and not self._listening.hears(found[-1].topic):
            following = self._inbox.first()
            if following is None or self._listening.hears(following.topic):
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
        longest = LONGEST_WAIT_S
        if self._manager.watchdog_s is not None:
            longest = min(longest, self._manager.watchdog_s / PINGS)
        due = self._due_s()
        if due is None:
            return longest
        return min(max(due - now().mono_s, IDLE_TICK_S if idle else 0.0), longest)

    async def _spoken(self, word: Word) -> bool:
        if isinstance(word, SessionDown):
            self._faces.close()
            return await self._deciding.take(BrokerLost(at=now()))
        self._log.info("broker.session.up", protocol=word.protocol)
        await self._deciding.take(BrokerReached(at=now()))
        assert self._deciding.house is not None
        self._listening.begin(self._deciding.house.topics_heard)
        self._faces.open(self._deciding.house)
        return True

    def _events_of(self, message: Incoming) -> Iterator[Event]:
        if self._sensing.hears(message.topic):
            yield from self._sensing.events(message, now())
        if self._listening.hears(message.topic):
            assert self._deciding.house is not None
            yield from self._listening.events(message, now(), self._deciding.house.topics_heard)
        elif not self._sensing.hears(message.topic) and (event := self._event_of(message)) is not None:
            yield event

    def _event_of(self, message: Incoming) -> Event | None:
        """Return what a message means; what can't be read is logged and has no effect."""
        if message.topic == self._faces.claim_topic:
            term = self._faces.other_claim(message)
            return None if term is None else ClaimHeard(at=now(), term=term, retained=message.retained)
        wanted = self._tree.read_set(message)
        if isinstance(wanted, Refused):
            self._refuse(wanted, message)
            return None
        if wanted is not None:
            return event_of(wanted, now())
        for gone in self._tree.remnants(message):
            self._send(gone, None)
        return self._from_board(message)

    def _refuse(self, refused: Refused, message: Incoming) -> None:
        self._log.warning(
            "request.refused",
            topic=refused.topic,
            reason=refused.reason,
            payload=logs.shown(message.payload),
            retained=message.retained,
        )
        self._faces.refuse(refused)

    def _from_board(self, message: Incoming) -> Event | None:
        root = self._settings.broker.boards_root
        topic, payload, retained, at = message.topic, message.payload, message.retained, now()
        try:
            said = contract.decode(root, topic, payload, retained=retained, at=at)
            if said is not None:
                return said
            return one_way.decode(self._settings.house.shades, topic, payload, retained=retained, at=at)
        except LinkError as error:
            self._log.warning(
                "board.message.refused",
                topic=message.topic,
                problem=error.problem,
                payload=logs.shown(message.payload),
            )
            return None

    def _ping(self) -> None:
        watchdog_s, at_s = self._manager.watchdog_s, now().mono_s
        if watchdog_s is not None and at_s - self._pinged_s >= watchdog_s / PINGS:
            self._pinged_s = at_s
            self._manager.tell("WATCHDOG=1")


async def serve(settings: Settings, state_dir: Path, log: FilteringBoundLogger) -> None:
    """Run the bridge in this process until a signal ends it."""
    manager = ServiceManager(os.environ, pid=os.getpid())
    await Daemon(settings, state_dir, log, manager).run()
