"""When `handle` wants a `Ticked`, found again after each event without asking every shade.

The same answer as `house.due_s`, which a test holds it to. A shade's own due follows from the shade, its
board and whether orders may leave; so it is asked only of shades that differ from those of the last look.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import chain

from bridge.core.command.level import due_s as level_due_s
from bridge.core.command.supply import due_s as queue_due_s
from bridge.core.house import hold_due_s, shade_due_s
from bridge.core.referring import due_s as referring_due_s
from bridge.core.ruling import due_s as rules_due_s
from bridge.core.state import House, Shade, touched
from bridge.core.values import ShadeId


class Dues:
    """The dues of one house as it goes on; another house may follow, and costs one look at all its shades."""

    def __init__(self) -> None:
        self._last: House | None = None
        self._dues: dict[ShadeId, float] = {}
        self._busy: set[ShadeId] = set()

    def due_s(self, house: House) -> float | None:
        """Return the monotonic second at which `Ticked` is wanted; None when nothing is waited for."""
        last, self._last = self._last, house
        if last is None or not _same_for_all(last, house):
            self._dues, self._busy = {}, set()
            shades: Iterable[Shade] = house.shades.values()
        else:
            shades = chain(touched(last, house), _on_changed_boards(last, house))
        for shade in shades:
            self._look(house, shade)
        dues = [self._earliest(), rules_due_s(house), referring_due_s(house), *self._waits(house)]
        return min((due for due in dues if due is not None), default=None)

    def _look(self, house: House, shade: Shade) -> None:
        due = shade_due_s(house, shade)
        if due is None:
            self._dues.pop(shade.id, None)
        else:
            self._dues[shade.id] = due
        if shade.request is None and shade.hold_until is None:
            self._busy.discard(shade.id)
        else:
            self._busy.add(shade.id)

    def _earliest(self) -> float | None:
        return min(self._dues.values(), default=None)

    def _waits(self, house: House) -> list[float | None]:
        """Return what holds, the queue and level groups wait for: all of them need a hold or a request."""
        busy = [house.shades[name] for name in self._busy]
        requests = [shade.request for shade in busy if shade.request is not None]
        dues = [hold_due_s(house, shade) for shade in busy]
        if any(request.queued for request in requests):
            dues.append(queue_due_s(house))
        if any(request.level is not None for request in requests):
            dues.append(level_due_s(house))
        return dues


def _same_for_all(last: House, house: House) -> bool:
    """Say whether nothing has changed on which the dues of all shades rest."""
    same = last.spec is house.spec and last.boards.keys() <= house.boards.keys()
    return same and _states(last) == _states(house)


def _states(house: House) -> tuple[bool, bool, bool]:
    return house.broker_up, house.stood_down, house.locked


def _on_changed_boards(last: House, house: House) -> Iterator[Shade]:
    if last.boards is house.boards:
        return
    for board, heard in house.boards.items():
        if last.boards.get(board) is not heard:
            yield from (house.shades[name] for name in house.spec.on_channel.get(board, {}).values())
