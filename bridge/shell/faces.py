"""What the broker is shown: orders out, the tree kept in step with the house, lines for whoever watches.

Holds what has been shown, so that only differences go out; knows nothing of sockets.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable

from bridge.adapters.broker.messages import Incoming, Publication
from bridge.adapters.broker.tree import Refused, Shown, Tree
from bridge.adapters.links import contract, one_way
from bridge.core.contract import Do
from bridge.core.events import Asked, Confirmed, Place, Want
from bridge.core.outcome import Level, Note, SendOrder, SendTarget
from bridge.core.outlook import shade_outlook
from bridge.core.state import House

# An order that could not leave within this time belongs to another situation; a stop is never too late.
ORDER_LIFETIME_S = 5.0
STOP_LIFETIME_S = 60.0
CLAIM_BYTES_MAX = 200

Send = Callable[[Publication, float | None], None]


class Faces:
    """The house on the broker.

    Args:
        tree: Names of the devices.
        boards_root: Where the boards listen.
        bridge: Names this run in the claim.
        send: Queues a publication; the second argument is an order's lifetime in seconds.
    """

    def __init__(self, tree: Tree, *, boards_root: str, bridge: str, send: Send) -> None:
        self._tree, self._root, self._bridge, self._send = tree, boards_root, bridge, send
        self._shown: Shown = {}
        self._last: House | None = None

    @property
    def claim_topic(self) -> str:
        """Where the bridge in charge names itself."""
        return f"{self._root}/claim"

    def open(self, house: House) -> None:
        """Show everything on a new connection."""
        outlooks = [shade_outlook(house, shade) for shade in house.shades.values()]
        publications, self._shown = self._tree.opening(outlooks)
        for each in publications:
            self._send(each, None)
        self._claim(house)
        self._last = house

    def close(self) -> None:
        """The connection is gone: what was shown has to be shown again."""
        self._shown, self._last = {}, None

    def order(self, orders: Iterable[SendOrder]) -> None:
        """Send orders in their sequence."""
        for each in orders:
            topic, payload = contract.encode(
                each.order, root=self._root, board=each.board, channel=each.channel
            )
            lifetime_s = STOP_LIFETIME_S if each.order.do is Do.STOP else ORDER_LIFETIME_S
            self._send(Publication(topic=topic, payload=payload, qos=1, retain=False), lifetime_s)

    def aim(self, house: House, targets: Iterable[SendTarget]) -> None:
        """Send one-way boards their targets in their sequence."""
        for each in targets:
            topic, payload, retain = one_way.encode(house.shades[each.shade].spec.one_way, each.value)
            lifetime_s = STOP_LIFETIME_S if each.halts else ORDER_LIFETIME_S
            self._send(Publication(topic=topic, payload=payload, qos=1, retain=retain), lifetime_s)

    def show(self, house: House) -> None:
        """Publish what differs from what is shown."""
        last = self._last
        if last is None:
            return
        changed = [
            shade
            for name, shade in house.shades.items()
            if last.shades.get(name) is not shade or last.boards is not house.boards
        ]
        outlooks = [shade_outlook(house, shade) for shade in changed]
        publications, self._shown = self._tree.update(self._shown, outlooks)
        for each in publications:
            self._send(each, None)
        if last.term != house.term:
            self._claim(house)
        self._last = house

    def answer(self, event: Asked | Confirmed, notes: Iterable[Note]) -> None:
        """Tell whoever asked that it was taken, or why not."""
        refusal = next((why for note in notes if (why := _refusal(note))), None)
        if refusal is not None:
            self.decline(event, refusal)
            return
        self._send(self._tree.accepted(event.shade, _wanted(event)), None)

    def decline(self, event: Asked | Confirmed, why: str) -> None:
        """Tell whoever asked why it is not done."""
        self._send(self._tree.declined(event.shade, _wanted(event), why), None)

    def refuse(self, refused: Refused) -> None:
        """Tell whoever sent a payload why it was not even read."""
        self._send(self._tree.refused(refused), None)

    def log(self, note: Note) -> None:
        """Tell a shade's watchers what they should know: sentences from info up."""
        told = note.shade is not None and note.text and note.level is not Level.DEBUG
        if self._last is not None and told and _refusal(note) is None:
            self._send(self._tree.log(note.shade, note.level, note.text), None)

    def other_claim(self, message: Incoming) -> int | None:
        """Return the term that another bridge claims in `message`; None for our own words or none at all."""
        try:
            said = json.loads(message.payload) if len(message.payload) <= CLAIM_BYTES_MAX else None
        except (ValueError, RecursionError):
            return None
        if not isinstance(said, dict) or said.get("bridge") == self._bridge:
            return None
        term = said.get("term")
        return term if isinstance(term, int) and not isinstance(term, bool) and 0 <= term < 2**31 else None

    def _claim(self, house: House) -> None:
        if house.stood_down:
            return
        payload = json.dumps({"bridge": self._bridge, "term": house.term}).encode()
        self._send(Publication(topic=self.claim_topic, payload=payload, qos=1, retain=True), None)


def _wanted(event: Asked | Confirmed) -> Want | Place:
    return event.want if isinstance(event, Asked) else event.place


def _refusal(note: Note) -> str | None:
    """Return why a request was refused when the note says so."""
    if note.name == "shade.confirmation.refused":
        return note.text
    fields = dict(note.fields)
    if note.name == "request.ended" and fields.get("fate") == "refused":
        return str(fields.get("why"))
    return None
