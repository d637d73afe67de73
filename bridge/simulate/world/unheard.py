"""What another bridge does to a shade before this one can know of it: undetectable, and counted apart.

A rival of a higher term may move a shade while this bridge is down, deaf or just about to hear of it. From
then on its claim is about a house that is no longer its own. That ends with the first word of it: evidence
that the board said later, or the rival's claim, after which the estimate must hold the truth again.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from bridge.core.events import ClaimHeard, Event
from bridge.core.state import House, Shade
from bridge.core.values import ShadeId

if TYPE_CHECKING:
    from bridge.simulate.world.world import World


class Unheard:
    """The shades that a rival has moved and this bridge has not heard of."""

    def __init__(self, world: World) -> None:
        self.world = world
        # When, and by which term.
        self.moved: dict[ShadeId, tuple[float, int]] = {}
        self.counted: set[ShadeId] = set()

    def rival(self, name: ShadeId, term: int) -> None:
        """A rival has moved a shade."""
        self.moved[name] = (self.world.now, term)
        self.counted.discard(name)

    def decided(self, event: Event, house: House) -> None:
        """A claim as high as the rival's tells of it, and so does a term that has been raised above it."""
        if not isinstance(event, ClaimHeard):
            return
        for name, (_, term) in list(self.moved.items()):
            if event.term >= term and (house.stood_down or house.term > term):
                del self.moved[name]

    def evidence(self, name: ShadeId, said_s: float) -> None:
        """The bridge has believed what the board said at that time."""
        moved = self.moved.get(name)
        if moved is not None and said_s >= moved[0]:
            del self.moved[name]

    def hides(self, shade: Shade) -> bool:
        """Say whether a rival's move is still unknown; counted once, when it first matters."""
        if shade.id not in self.moved or shade.channel.answered:
            return False
        if shade.id not in self.counted:
            self.counted.add(shade.id)
            self.world.figures.undetectable += 1
        return True
