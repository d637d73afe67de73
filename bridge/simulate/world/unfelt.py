"""What no part of a shade can feel: a pull, steps lost to a hand. Undetectable, exempt, and counted apart.

A reference ends the exemption, for whoever remembers that reference: a journal or a memory from before it
tells of the shade as it was believed to be until then.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from bridge.core.events import Event, MemoryHeard
from bridge.core.position.estimate import Meeting
from bridge.core.state import House, Shade
from bridge.core.values import ShadeId

if TYPE_CHECKING:
    from bridge.simulate.world.world import World

# A board that brakes past a switch and comes back reports the reference this much later.
TRIPPED_S = 3.0


class Unfelt:
    """The shades that something has met that nothing felt."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.since: dict[ShadeId, float] = {}
        # The reference that showed it, and the board's report of that: its boot and number.
        self.shown: dict[ShadeId, tuple[Meeting, int, int]] = {}

    def __contains__(self, name: object) -> bool:
        return name in self.since

    def happened(self, name: ShadeId) -> None:
        """Something has met a shade just now."""
        self.since[name] = self.world.now
        self.shown.pop(name, None)
        self.world.figures.undetectable += 1

    def met(self, shade: Shade, said_s: float) -> None:
        """A reference, reported at that time, has been believed."""
        if self.since.get(shade.id, 0.0) > said_s - TRIPPED_S or not shade.knowledge.meetings:
            return
        channel = shade.channel
        if self.since.pop(shade.id, None) is not None and channel.boot is not None:
            self.shown[shade.id] = (shade.knowledge.meetings[-1], channel.boot, channel.read)

    def confirmed(self, shade: Shade) -> None:
        """A person has confirmed a place, having seen where the hem bar hangs."""
        self.met(shade, self.world.now + TRIPPED_S)

    def put_back(self, journal: House | None) -> None:
        """The journal is another one, or gone: a reference that it does not know has shown it nothing."""
        for name, (meeting, _, _) in self.shown.items():
            shade = None if journal is None else journal.shades.get(name)
            if shade is not None and meeting not in shade.knowledge.meetings:
                self.since[name] = self.world.now

    def decided(self, event: Event, house: House) -> None:
        """A memory from before the reference, taken up for want of a journal, does not know it either."""
        if not isinstance(event, MemoryHeard) or event.shade not in self.shown:
            return
        _, boot, read = self.shown[event.shade]
        older = event.memory.boot == boot and event.memory.n < read
        shade = house.shades.get(event.shade)
        if older and shade is not None and (shade.memory == event.memory or shade.knowledge.hearsay):
            self.since[event.shade] = self.world.now
