"""One call of `handle`: the time, the house it began with, and what it has decided so far.

The only thing in core that is filled while one event is handled; it never outlives the call.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from bridge.core.agenda import Agenda, Column
from bridge.core.command.goals import Refusal
from bridge.core.command.orders import Draft
from bridge.core.outcome import Field, Level, Note, SendOrder, SendTarget
from bridge.core.state import House, Shade
from bridge.core.values import Moment, ShadeId, SupplyId

# By so long after a session stands, the claim that the broker holds has been heard.
CLAIM_SETTLES_S = 2.0


@dataclass(slots=True, kw_only=True)
class Turn:
    """What one event has led to so far."""

    house: House
    at: Moment
    term: int
    next_request: int
    orders: list[SendOrder] = field(default_factory=list)
    targets: list[SendTarget] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    # Amps by supply that orders of this turn take beyond what `house` shows.
    drawn: dict[SupplyId, float] = field(default_factory=dict)
    started_at_s: float | None = None
    returned_at_s: float | None = None
    # Shades as they were before a motion order of this turn; it leaves only if its request outlives the turn.
    unsent: dict[ShadeId, Shade] = field(default_factory=dict)
    # The order drafted last with all that it was drafted from: asking and pursuing want the same one.
    drafted: tuple[tuple[object, ...], Draft | Refusal] | None = None
    # Which shades want a look, as of the last change; and which looks have left a shade as it was.
    agenda: Agenda | None = None
    # The house that this agenda was found for; at the one time of a turn it stays the same.
    caught: House | None = None
    left: list[tuple[Column, Shade]] = field(default_factory=list)
    # The day ahead of one shade takes tens of milliseconds: one shade in one turn.
    may_foresee: bool = True

    def look(self, house: House) -> None:
        """Decide from here on with `house` before the eyes; what it holds need not be added up."""
        self.house = house
        self.drawn.clear()

    @property
    def agenda_now(self) -> Agenda:
        """The agenda of the house before the eyes."""
        assert self.agenda is not None, "it is caught up before anybody asks"
        return self.agenda

    @property
    def now_s(self) -> float:
        """Monotonic seconds of the event."""
        return self.at.mono_s

    @property
    def utc(self) -> datetime:
        """Aware UTC of the event."""
        return self.at.utc

    @property
    def may_order(self) -> bool:
        """Orders can leave: the broker is there, no other bridge is in charge, nobody works on the shades."""
        house = self.house
        return house.broker_up and not house.stood_down and not house.locked

    @property
    def may_outbid(self) -> bool:
        """A board's word that it obeys a higher term is no reason to give way.

        Not so soon after a session was made again: another bridge may have taken over meanwhile, whose claim
        is on its way.
        """
        house = self.house
        settled = not house.reached_before or self.now_s >= house.reached_at_s + CLAIM_SETTLES_S
        return settled and not house.stood_down

    def note(
        self, name: str, level: Level, *, shade: ShadeId | None = None, text: str = "", **fields: Field
    ) -> None:
        """Add one line for the log."""
        pairs = tuple(sorted(fields.items()))
        self.notes.append(Note(name=name, level=level, shade=shade, text=text, fields=pairs))

    def request_id(self) -> int:
        """Return a number that no request of this house has had."""
        number = self.next_request
        self.next_request += 1
        return number
