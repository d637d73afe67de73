"""Who is in charge of the house, seen from the broker: what others claim, and how a bridge gives way.

A bridge that has stood down leaves the tree to the other one and comes back under a client id of its own,
so that two with the same id do not throw each other out for ever; all it still says is its alert.
"""

from __future__ import annotations

import random
from dataclasses import replace
from functools import partial

from structlog.typing import FilteringBoundLogger

from bridge.adapters.broker import claim
from bridge.adapters.broker.homie import State
from bridge.adapters.broker.messages import Address, Incoming, Publication, Subscription
from bridge.adapters.broker.session import Hooks, Session
from bridge.adapters.broker.tree import Tree
from bridge.core.backoff import backoff
from bridge.core.errors import LinkError
from bridge.core.events import ClaimHeard
from bridge.core.values import Moment

ALERT = "second-bridge"
FORGETFUL = "forgetful-broker"
SELF_TEST = "self-test"
FORGOT = (
    "the broker has forgotten what was retained: unless it is a new one, switch its persistence on, or a new "
    "disk of the bridge has nothing to start from"
)


class Claims:
    """What others claim, told apart from this run's own words.

    Args:
        bridge: Names this run.
        boards_root: The topic under which the boards speak.

    Attributes:
        forgot: Whether the broker, when it came back, had lost the claim that was left there; None before
            it has once gone and come back, or this bridge has.
    """

    def __init__(self, bridge: str, boards_root: str) -> None:
        self._bridge = bridge
        self.topic = claim.topic_of(boards_root)
        self._echoed = False
        self._left = self._handed_back = False
        self.forgot: bool | None = None

    def left_before(self) -> None:
        """An earlier run has been at this broker, and left its claim there."""
        self._left = True

    def opened(self) -> None:
        """A new session stands: what comes before our own claim comes back was said before it."""
        self._left = self._left or self._echoed
        self._echoed = self._handed_back = False

    def heard(self, message: Incoming, at: Moment) -> ClaimHeard | None:
        """Return what another bridge claims; None for our own words and for none at all."""
        said = claim.read(message)
        if said is None:
            return None
        self._handed_back = self._handed_back or message.retained
        if said.bridge == self._bridge:
            if not message.retained and not self._echoed:
                self._echoed = True
                self.forgot = not self._handed_back if self._left else None
            return None
        earlier = message.retained or not self._echoed
        return ClaimHeard(at=at, term=said.term, retained=earlier, ahead=said.bridge < self._bridge)


def put_right(tree: Tree, message: Incoming) -> Publication | None:
    """Return what answers somebody who says that the bridge in charge has gone; None for anything else.

    The will of a session that was taken over, or the farewell of another bridge, would stand for ever.
    """
    gone = message.payload in (State.LOST.encode(), State.DISCONNECTED.encode())
    if message.retained or not gone or message.topic != tree.state(State.READY).topic:
        return None
    return tree.state(State.READY)


def aside(address: Address, tree: Tree, boards_root: str, log: FilteringBoundLogger) -> Session:
    """Return the session of a bridge that has stood down: it says so on the tree for as long as it runs."""
    topic = tree.topic(None, "$alert", ALERT)
    text = (
        f"bridge {address.client_id} has stood down because another one is in charge; "
        "stop one of the two, or restart this one to put it in charge"
    )
    gone = Publication(topic=topic, payload=b"", qos=1, retain=True)

    def trouble(error: LinkError, delay_s: float) -> None:
        again_s = round(delay_s, 1)
        log.warning("broker.session.lost", problem=error.problem, where=error.where, again_s=again_s)

    return Session(
        replace(address, client_id=f"{address.client_id}-aside-{random.getrandbits(32):08x}", session_s=0),
        subscriptions=[Subscription(topic=claim.topic_of(boards_root))],
        greeting=replace(gone, payload=text.encode()),
        will=gone,
        farewell=gone,
        hooks=Hooks(
            on_up=lambda _: log.warning("house.charge.awaited", text=text),
            on_down=lambda: None,
            on_message=lambda _: None,
            on_dropped=lambda _: None,
            on_trouble=trouble,
        ),
        delays=partial(backoff, random.random),
    )
