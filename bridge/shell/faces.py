"""What the broker is shown: orders out, the tree kept in step with the house, lines for whoever watches.

Holds what has been shown, so that only differences go out; knows nothing of sockets. Orders go out at once.
Everything else waits until they have left, a moment later, and while more is coming a little longer; then it
goes out a slice at a time, so that the next order finds its turn in between.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Iterator, Mapping

from bridge.adapters.broker import claim
from bridge.adapters.broker.claim import Claim
from bridge.adapters.broker.memory import MemoryShelf
from bridge.adapters.broker.messages import Publication
from bridge.adapters.broker.tree import Outlook, Refused, Tree
from bridge.adapters.links import contract, one_way
from bridge.core.contract import Do
from bridge.core.events import Asked, Confirmed, GroupAsked, Place, Switched, Want
from bridge.core.outcome import Level, Note, SendOrder, SendTarget
from bridge.core.outlook import ShadeOutlook, shade_outlook
from bridge.core.overview import GroupOutlook, bridge_outlook, group_outlook
from bridge.core.recalling import refuted, remembered
from bridge.core.spec import GroupSpec
from bridge.core.state import House, Shade, touched
from bridge.core.values import GroupId, ShadeId

# An order that could not leave within this time belongs to another situation; a stop is never too late.
ORDER_LIFETIME_S = 5.0
# A gust may send thousands at once, 20 to a round trip to the broker; none is to be lost for that.
LIFETIME_A_SHADE_S = 0.004
STOP_LIFETIME_S = 60.0
# Nor is a question, of which a large house has thousands at once when its broker is back; it moves nothing.
LIFETIMES_S = {Do.STOP: STOP_LIFETIME_S, Do.TELL: 30.0}
# The tree follows after so long without anything new, longer than a handful of requests takes, so that it
# keeps no order waiting; while news keeps coming, so late at the latest: a flood makes no flood of values.
QUIET_S = 0.008
LATEST_S = 0.25
# So long, or one device or line, before others have their turn; and while news keeps coming, so long theirs.
SLICE_S = 0.0005
THEIRS_S = 0.002

Send = Callable[[Publication, float | None], None]
Asking = Asked | GroupAsked | Confirmed | Switched


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
        self._shelf = MemoryShelf(boards_root=boards_root, device=tree.root)
        self._lifetime_s = max(ORDER_LIFETIME_S, LIFETIME_A_SHADE_S * len(tree.shades))
        self._shown: dict[str, bytes] = {}
        self._outlooks: dict[ShadeId, ShadeOutlook] = {}
        self._kept: dict[str, bytes] = {}
        self._last: House | None = None
        self._next: House | None = None
        self._later: list[Callable[[], None]] = []
        self._pass = self._news()
        self._due: asyncio.TimerHandle | None = None
        self._news_s = self._latest_s = 0.0

    def open(self, house: House) -> None:
        """Show everything on a new connection."""
        self.flush()
        self._outlooks = {name: shade_outlook(house, shade) for name, shade in house.shades.items()}
        groups = self._group_outlooks(house, house.spec.groups)
        outlooks: list[Outlook] = [bridge_outlook(house), *self._outlooks.values(), *groups]
        publications, shown = self._tree.opening(outlooks)
        self._shown = dict(shown)
        for each in publications:
            self._send(each, None)
        self.claim(house)
        for shade in house.shades.values():
            self._remember(house, shade)
        self._last = house

    def close(self) -> None:
        """The connection is gone: what was shown has to be shown again."""
        self.flush()
        self._shown, self._kept, self._last = {}, {}, None

    def order(self, orders: Iterable[SendOrder]) -> None:
        """Send orders in their sequence."""
        for each in orders:
            topic, payload = contract.encode(
                each.order, root=self._root, board=each.board, channel=each.channel
            )
            lifetime_s = LIFETIMES_S.get(each.order.do, self._lifetime_s)
            self._send(Publication(topic=topic, payload=payload, qos=1, retain=False), lifetime_s)

    def aim(self, house: House, targets: Iterable[SendTarget]) -> None:
        """Send one-way boards their targets in their sequence."""
        for each in targets:
            topic, payload, retain = one_way.encode(house.shades[each.shade].spec.one_way, each.value)
            lifetime_s = STOP_LIFETIME_S if each.halts else self._lifetime_s
            self._send(Publication(topic=topic, payload=payload, qos=1, retain=retain), lifetime_s)

    def show(self, house: House) -> None:
        """Publish what differs from what is shown, soon."""
        if self._last is None:
            return
        self._next = house
        self._soon()

    def flush(self) -> None:
        """Publish now what has been waiting."""
        if self._due is not None:
            self._due.cancel()
            self._due = None
        for _ in (*self._pass, *self._news()):
            pass
        self._pass = self._news()

    def later(self, act: Callable[[], None]) -> None:
        """Do something that may wait like the values, and comes after them."""
        self._later.append(act)
        self._soon()

    def _say(self, publication: Publication) -> None:
        self._send(publication, None)

    def _soon(self) -> None:
        loop = asyncio.get_running_loop()
        self._news_s = loop.time()
        if self._due is None:
            self._latest_s = self._news_s + LATEST_S
            self._due = loop.call_later(QUIET_S, self._flush_slice)

    def _flush_slice(self) -> None:
        """Publish a little of what has been waiting, and the rest once others have had their turn.

        News makes it wait again, begun or not: an order may follow from it.
        """
        loop = asyncio.get_running_loop()
        now_s, quiet_s = loop.time(), min(self._news_s + QUIET_S, self._latest_s)
        if now_s < quiet_s:
            self._due = loop.call_at(quiet_s, self._flush_slice)
            return
        for _ in self._pass:
            if loop.time() >= now_s + SLICE_S:
                calm = now_s - self._news_s >= QUIET_S
                self._due = loop.call_later(0 if calm else THEIRS_S, self._flush_slice)
                return
        self._due = None
        self._pass = self._news()
        if self._next is not None or self._later:
            self._soon()

    def _news(self) -> Iterator[None]:
        """Publish what has been waiting, one device or line at a time."""
        house, self._next = self._next, None
        later, self._later = self._later, []
        if house is not None:
            yield from self._update(house)
        for act in later:
            act()
            yield

    def _update(self, house: House) -> Iterator[None]:
        last, self._last = self._last, house
        if last is None or house.stood_down:
            return
        if last.term != house.term:
            self.claim(house)
        for outlook in self._differing(last, house):
            publications, news = self._tree.update(self._shown, outlook)
            self._shown |= news
            for each in publications:
                self._send(each, None)
            yield

    def _differing(self, last: House, house: House) -> Iterator[Outlook]:
        """Yield what may be shown differently: what is concerned by the change, and the groups it is in."""
        anew = {shade.id: shade for shade in touched(last, house)}
        # News of a board changes its shades; who is in charge, and whether the broker is there, concern all.
        everywhere = (last.stood_down, last.broker_up) != (house.stood_down, house.broker_up)
        for name, shade in (house.shades if everywhere else anew).items():
            self._outlooks[name] = shade_outlook(house, shade)
            yield self._outlooks[name]
            if name in anew:
                self._remember(house, shade)
        concerned = {group for name in anew for group in house.spec.in_groups.get(name, ())}
        asked = everywhere or last.group_targets is not house.group_targets
        groups = [each for each in house.spec.groups if asked or each.id in concerned]
        yield from self._group_outlooks(house, groups)
        bridge = bridge_outlook(house)
        if bridge != bridge_outlook(last):
            yield bridge

    def _group_outlooks(self, house: House, groups: Iterable[GroupSpec]) -> Iterator[GroupOutlook]:
        for each in groups:
            yield group_outlook(house, each, [self._outlooks[member] for member in each.members])

    def answer(self, event: Asking, notes: Iterable[Note]) -> None:
        """Tell whoever asked that it was taken, or why not."""
        if isinstance(event, Switched):
            self._say(self._tree.switched(event.switch, on=event.on))
            return
        refusals = {note.shade: why for note in notes if (why := refused_by(note))}
        if isinstance(event, GroupAsked):
            self._answer_group(event, refusals, taken=any(note.name == "request.accepted" for note in notes))
        elif refusals:
            self.decline(event, next(iter(refusals.values())))
        else:
            self._say(self._tree.accepted(event.shade, _wanted(event)))

    def _answer_group(
        self, event: GroupAsked, refusals: Mapping[ShadeId | None, str], *, taken: bool
    ) -> None:
        """Tell whoever asked a group: taken when one member could, with a line for those that could not."""
        reasons = "; ".join(f"{shade}: {why}" for shade, why in refusals.items())
        if not taken:
            same = set(refusals.values())
            self.decline(event, same.pop() if len(same) == 1 else reasons)
            return
        self._say(self._tree.accepted(event.group, event.want))
        if reasons:
            self._say(self._tree.log(event.group, Level.WARNING, f"not by all: {reasons}"))

    def decline(self, event: Asking, why: str) -> None:
        """Tell whoever asked why it is not done."""
        if isinstance(event, Switched):
            self._say(self._tree.not_switched(event.switch, on=event.on, reason=why))
        elif isinstance(event, GroupAsked):
            self._say(self._tree.declined(event.group, event.want, why))
        else:
            self._say(self._tree.declined(event.shade, _wanted(event), why))

    def refuse(self, refused: Refused) -> None:
        """Tell whoever sent a payload why it was not even read."""
        self._say(self._tree.refused(refused))

    def warn(self, of: ShadeId | GroupId, text: str) -> None:
        """Tell the watchers of a shade or group what was not even understood."""
        self._say(self._tree.log(of, Level.WARNING, text))

    def log(self, note: Note) -> None:
        """Tell the watchers of a shade, or of the bridge, what they should know: sentences from info up."""
        told = note.text and note.level is not Level.DEBUG
        if self._last is not None and told and refused_by(note) is None:
            self._say(self._tree.log(note.shade, note.level, note.text))

    def claim(self, house: House) -> None:
        """Name this bridge as the one in charge, unless it is not."""
        if not house.stood_down:
            said = Claim(bridge=self._bridge, term=house.term)
            self._send(claim.written(said, boards_root=self._root), None)

    def _remember(self, house: House, shade: Shade) -> None:
        """Keep at the broker what is known of a shade at rest; forget there what is known to be wrong."""
        memory = remembered(shade, house.term)
        if house.stood_down or (memory is None and not refuted(shade)):
            return
        kept = self._shelf.written(shade.id, memory)
        if self._kept.get(kept.topic) != kept.payload:
            self._kept[kept.topic] = kept.payload
            self._send(kept, None)


def _wanted(event: Asked | Confirmed) -> Want | Place:
    return event.want if isinstance(event, Asked) else event.place


def refused_by(note: Note) -> str | None:
    """Return why a request was refused when the note says so."""
    if note.name == "shade.confirmation.refused":
        return note.text
    fields = dict(note.fields)
    if note.name == "request.ended" and fields.get("fate") == "refused":
        return str(fields.get("why"))
    return None
