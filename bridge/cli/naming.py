"""The shade that a command names by its id, among those that are known."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeVar

from bridge.core.errors import RequestError
from bridge.core.values import ShadeId

Known = TypeVar("Known")


def named(wanted: str, known: Mapping[ShadeId, Known], *, among: str) -> Known:
    """Return what is known of a shade.

    Args:
        wanted: Its id.
        known: By id.
        among: Where those come from, such as "these settings".

    Raises:
        RequestError: there is none of that id.
    """
    found = next((each for name, each in known.items() if name == wanted), None)
    if found is None:
        raise RequestError(
            where=f"shade {wanted!r}",
            problem=f"it is not in {among}",
            remedy=f"name one of {', '.join(known)}" if known else "there is none yet",
        )
    return found
