"""Everything of the bridge that faces the broker, named by the settings; the session itself is elsewhere.

It is built anew when settings change that the broker sees. What is heard becomes events here; what they lead
to is decided elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterator

from structlog.typing import FilteringBoundLogger

from bridge import __version__
from bridge.adapters.broker.homie import State
from bridge.adapters.broker.memory import MemoryShelf
from bridge.adapters.broker.messages import Incoming, Publication, Subscription
from bridge.adapters.broker.tree import MARK, Refused, Tree
from bridge.adapters.links import contract, one_way
from bridge.core.errors import LinkError
from bridge.core.events import ClaimHeard, Event, MemoryHeard
from bridge.core.state import House
from bridge.core.values import ShadeId
from bridge.settings.plain import Settings
from bridge.shell import charge, logs
from bridge.shell.asking import event_of
from bridge.shell.clock import now
from bridge.shell.faces import Faces, Send
from bridge.shell.listening import Listening
from bridge.shell.sensing import Sensing
from bridge.shell.sparing import Sparing

# What a look at the broker asks itself.
_MARKED = f"/{MARK}/set"


class Outside:
    """The tree, the faces, the topics that are listened to.

    Args:
        settings: As the owner wrote them.
        bridge: Names this run in the claim.
        send: Queues a publication.
        log: The logger.

    Attributes:
        sparing: Its warnings about what strangers send.
        claims: Who is in charge.
    """

    def __init__(self, settings: Settings, *, bridge: str, send: Send, log: FilteringBoundLogger) -> None:
        self._settings, self._send, self._log = settings, send, log
        self.sparing = Sparing(log)
        broker, house = settings.broker, settings.house
        self.tree = Tree(
            shades=tuple((shade.id, shade.name) for shade in house.shades),
            groups=tuple((group.id, group.name) for group in house.groups),
            root=broker.root_device,
            name=settings.site.name,
            version=__version__,
            domain=broker.tree_root,
        )
        self.faces = Faces(self.tree, boards_root=broker.boards_root, bridge=bridge, send=send)
        self.claims = charge.Claims(bridge, broker.boards_root)
        self._shelf = MemoryShelf(boards_root=broker.boards_root, device=broker.root_device)
        self._listening = Listening(settings.listens, log, self.faces.warn)
        self._sensing = Sensing(settings.sources)
        self._one_way = one_way.by_topic(house.shades)

    def subscriptions(self) -> list[Subscription]:
        """Return the filters of all that the bridge wants to hear."""
        broker = self._settings.broker
        topics = (
            *contract.subscriptions(broker.boards_root),
            *one_way.subscriptions(self._settings.house.shades),
        )
        heard = [Subscription(topic=topic) for topic in topics]
        # What is remembered, and who was in charge, is best heard before the boards are.
        first = [self._shelf.subscription(), Subscription(topic=self.claims.topic)]
        root = Subscription(topic=self.tree.state(State.READY).topic)
        heard += [each for each in self._sensing.subscriptions() if not self._listening.hears(each.topic)]
        return [*first, root, *heard, *self.tree.subscriptions(), *self._listening.subscriptions()]

    def at_door(self, message: Incoming) -> bool:
        """Say whether a message goes no further: rubbish must not wait where a person's request waits."""
        if message.topic.endswith(_MARKED):
            return True
        if self._listening.hears(message.topic) or self._sensing.hears(message.topic):
            return False
        wanted = self.tree.read_set(message)
        if isinstance(wanted, Refused):
            self._refuse(wanted, message)
            return True
        return False

    def alone(self, topic: str) -> bool:
        """Say whether a message there is read in the light of all before it."""
        return self._listening.hears(topic)

    def opened(self, house: House) -> None:
        """A new session stands."""
        self._listening.begin(house.topics_heard)
        self.claims.opened()

    def events_of(self, message: Incoming, house: House) -> Iterator[Event]:
        """Yield what a message means; what can't be read is logged and has no effect."""
        if self._sensing.hears(message.topic):
            yield from self._sensing.events(message, now())
        if self._listening.hears(message.topic):
            yield from self._listening.events(message, now(), house.topics_heard)
        elif not self._sensing.hears(message.topic) and (event := self._event_of(message, house)) is not None:
            yield event

    def _event_of(self, message: Incoming, house: House) -> Event | None:
        if message.topic == self.claims.topic:
            return self._claimed(message, house)
        shade = self._shelf.shade_of(message.topic)
        if shade is not None:
            return self._remembered(shade, message)
        right = charge.put_right(self.tree, message)
        if right is not None:
            self._send(right, None)
        wanted = self.tree.read_set(message)
        if isinstance(wanted, Refused):  # the settings have changed since it came in
            self._refuse(wanted, message)
            return None
        if wanted is not None:
            return event_of(wanted, now())
        for gone in self.tree.remnants(message):
            self._send(gone, None)
        return self._from_board(message)

    def _claimed(self, message: Incoming, house: House) -> ClaimHeard | None:
        """Return another bridge's claim; one that is lower is answered, so that its maker learns of ours."""
        forgot = self.claims.forgot
        event = self.claims.heard(message, now())
        if self.claims.forgot not in (None, forgot):
            self._tell_of_memory(forgot=self.claims.forgot)
        if event is None or event.retained:
            return event
        if (event.term, event.ahead) < (house.term, True):
            self.faces.claim(house)
        return event

    def _tell_of_memory(self, *, forgot: bool | None) -> None:
        if forgot:
            self._log.error("broker.memory.forgotten", text=charge.FORGOT)
        self.alert(charge.FORGETFUL, charge.FORGOT if forgot else "")

    def alert(self, name: str, text: str) -> None:
        """Show what a person must do about the broker or the machine; "" when that is done."""
        topic = self.tree.topic(None, "$alert", name)
        self._send(Publication(topic=topic, payload=text.encode(), qos=1, retain=True), None)

    def _remembered(self, shade: ShadeId, message: Incoming) -> MemoryHeard | None:
        """Return what the broker hands back; what it passes on live are our own words."""
        if not message.retained or not message.payload:
            return None
        try:
            return MemoryHeard(at=now(), shade=shade, memory=self._shelf.read(message))
        except LinkError as error:
            self.sparing.warning("broker.memory.refused", topic=message.topic, problem=error.problem)
            return None

    def _refuse(self, refused: Refused, message: Incoming) -> None:
        said = self.sparing.warning(
            "request.refused",
            topic=refused.topic,
            reason=refused.reason,
            payload=logs.shown(message.payload),
            retained=message.retained,
        )
        if said:
            self.faces.refuse(refused)

    def _from_board(self, message: Incoming) -> Event | None:
        root = self._settings.broker.boards_root
        topic, payload, retained, at = message.topic, message.payload, message.retained, now()
        try:
            said = contract.decode(root, topic, payload, retained=retained, at=at)
            if said is not None:
                return said
            shades = self._one_way.get(topic, ())
            return one_way.decode(shades, topic, payload, retained=retained, at=at)
        except LinkError as error:
            self.sparing.warning(
                "board.message.refused",
                topic=message.topic,
                problem=error.problem,
                payload=logs.shown(message.payload),
            )
            return None


def seen_outside(settings: Settings) -> object:
    """Return what of the settings a session with the broker is built from."""
    house = settings.house
    links = tuple((shade.id, shade.name, shade.link) for shade in house.shades)
    return settings.broker, settings.site.name, links, house.groups, settings.listens, settings.sources
