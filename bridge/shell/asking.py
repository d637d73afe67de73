"""What somebody asked of the tree, as an event of the house: whoever speaks there is a person's hand."""

from __future__ import annotations

from typing import assert_never

from bridge.adapters.broker.tree import Confirming, Request, Switching, Wanted, WantedOfGroup
from bridge.core.events import Asked, Confirmed, Event, GroupAsked, Switched
from bridge.core.values import Moment, Rank

# Said to the family: `Up asked by …`. Which program it was nobody can see.
SOURCE = "a dashboard or command"


def event_of(request: Request, at: Moment) -> Event:
    """Return the event that tells the house of a request made at a device of the tree."""
    match request:
        case Wanted(shade=shade, want=want):
            return Asked(at=at, shade=shade, want=want, rank=Rank.HAND, source=SOURCE)
        case WantedOfGroup(group=group, want=want):
            return GroupAsked(at=at, group=group, want=want, rank=Rank.HAND, source=SOURCE)
        case Switching(switch=switch, on=on):
            return Switched(at=at, switch=switch, on=on, source=SOURCE)
        case Confirming(shade=shade, place=place):
            return Confirmed(at=at, shade=shade, place=place)
        case _:
            assert_never(request)
