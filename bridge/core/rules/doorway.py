"""Never lower on an open door or window.

A closed contact is no proof that the way is clear: the hem bar must meet no one by its mechanics.
"""

from __future__ import annotations

from dataclasses import dataclass

from bridge.core.rules.demand import Demand
from bridge.core.rules.view import View

NAME = "doorway"
AT_ONCE = ("contact",)
NEEDS = (("contact",),)


@dataclass(frozen=True, slots=True, kw_only=True)
class Params:
    """What an open door forbids.

    Attributes:
        people_too: While it is open people's requests to lower are refused as well, and a lowering under way
            is stopped; otherwise only the rules leave it alone.

    Without a fresh reading the rules do not lower, and people's requests are served.
    """

    people_too: bool = True


def demand(view: View, params: Params) -> Demand | None:
    """Forbid lowering while a contact says open or nothing, else None."""
    is_open = view.readings.yes("contact")
    if is_open is False or "contact" not in view.readings.fitted:
        return None
    if is_open is None:
        return Demand(may_lower=False, why="the door or window contact is silent, so it may be open")
    return Demand(may_lower=False, guard=params.people_too, why="its door or window is open")
