"""Values that stay as they are while one of them is changed: each change copies a few dozen, not all.

The keys are fixed, and in the order in which they were given. Both kinds keep their values in chunks, so that
a change makes one chunk and the list of chunks anew, and two of a kind are compared chunk by chunk.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence, ValuesView
from itertools import chain, compress, count
from math import inf
from operator import is_not
from typing import Generic, TypeVar

K = TypeVar("K")
V = TypeVar("V")
Row = tuple[float, ...]

# The square root of the largest house that one process is measured with.
CHUNK = 64


def _chunks(values: Sequence[V]) -> tuple[tuple[V, ...], ...]:
    return tuple(tuple(values[at : at + CHUNK]) for at in range(0, len(values), CHUNK))


def _put(chunks: tuple[V, ...], at: int, value: V) -> tuple[V, ...]:
    return (*chunks[:at], value, *chunks[at + 1 :])


class Kept(Mapping[K, V]):
    """A mapping that never changes.

    Args:
        items: What it holds, in this order.
    """

    __slots__ = ("_chunks", "_keys", "_places")

    def __init__(self, items: Mapping[K, V]) -> None:
        self._keys = tuple(items)
        self._places = {key: place for place, key in enumerate(self._keys)}
        self._chunks = _chunks(tuple(items.values()))

    def __getitem__(self, key: K) -> V:
        place = self._places[key]
        return self._chunks[place // CHUNK][place % CHUNK]

    def __iter__(self) -> Iterator[K]:
        return iter(self._keys)

    def __len__(self) -> int:
        return len(self._keys)

    def __contains__(self, key: object) -> bool:
        return key in self._places

    def __eq__(self, other: object) -> bool:
        if isinstance(other, Kept) and other._places is self._places:
            return self._chunks == other._chunks
        return Mapping.__eq__(self, other)

    __hash__ = None  # type: ignore[assignment]  # like every mapping that compares by its items

    def __repr__(self) -> str:
        return f"Kept({dict(self)!r})"

    def values(self) -> ValuesView[V]:
        """Return a view of the values, in order."""
        return _Values(self)

    def walk(self) -> Iterator[V]:
        """Walk over the values, in order."""
        return chain.from_iterable(self._chunks)

    def place(self, key: K) -> int:
        """Return the place of a key in the order; KeyError without it."""
        return self._places[key]

    def at(self, place: int) -> V:
        """Return the value at a place."""
        return self._chunks[place // CHUNK][place % CHUNK]

    def put(self, key: K, value: V) -> Kept[K, V]:
        """Return the same with another value for a key that is there."""
        number, within = divmod(self._places[key], CHUNK)
        return self._with(_put(self._chunks, number, _put(self._chunks[number], within, value)))

    def each(self, act: Callable[[V], V]) -> Kept[K, V]:
        """Return the same with what `act` makes of each value, in order."""
        return self._with(_chunks([act(value) for value in self.walk()]))

    def has_same_keys(self, other: Kept[K, V]) -> bool:
        """Say whether one was made of the other, so that places mean the same in both."""
        return self._places is other._places

    def differing(self, before: Kept[K, V]) -> Iterator[int]:
        """Yield the places at which the value is not the very same in `before`, which has the same keys."""
        mine, theirs = self._chunks, before._chunks
        for number in compress(count(), map(is_not, mine, theirs)):
            yield from compress(count(number * CHUNK), map(is_not, mine[number], theirs[number]))

    def _with(self, chunks: tuple[tuple[V, ...], ...]) -> Kept[K, V]:
        made: Kept[K, V] = object.__new__(Kept)
        made._keys, made._places, made._chunks = self._keys, self._places, chunks
        return made


class _Values(ValuesView[V], Generic[V]):
    """The values of a `Kept`, without a look-up for each."""

    _mapping: Kept[object, V]

    def __iter__(self) -> Iterator[V]:
        return self._mapping.walk()


class Leasts:
    """Rows of numbers by place, each as long as `width`, with the least of every column at hand.

    Args:
        rows: By place.
        width: Numbers a row, >= 1.

    Attributes:
        least: The least of each column; infinite without rows.
    """

    __slots__ = ("_chunks", "_leasts", "least")

    def __init__(self, rows: Sequence[Row], width: int) -> None:
        self._chunks = _chunks(rows)
        self._leasts = tuple(tuple(map(min, zip(*chunk, strict=True))) for chunk in self._chunks)
        self.least: Row = tuple(map(min, zip(*self._leasts, strict=True))) or (inf,) * width

    def row(self, place: int) -> Row:
        """Return the row of a place."""
        return self._chunks[place // CHUNK][place % CHUNK]

    def put(self, place: int, row: Row) -> Leasts:
        """Return the same with another row at a place."""
        number, within = divmod(place, CHUNK)
        old = self._chunks[number][within]
        if row == old:
            return self
        made: Leasts = object.__new__(Leasts)
        chunk = _put(self._chunks[number], within, row)
        made._chunks = _put(self._chunks, number, chunk)
        was = self._leasts[number]
        least = _least(was, old, row, chunk)
        made._leasts, made.least = self._leasts, self.least
        if least != was:
            made._leasts = _put(self._leasts, number, least)
            made.least = _least(self.least, was, least, made._leasts)
        return made

    def up_to(self, column: int, limit: float) -> Iterator[int]:
        """Yield the places whose number in `column` is at most `limit`, in order."""
        if self.least[column] > limit:
            return
        for number, least in enumerate(self._leasts):
            if least[column] <= limit:
                for place, row in enumerate(self._chunks[number], number * CHUNK):
                    if row[column] <= limit:
                        yield place


def _least(least: Row, old: Row, new: Row, rows: Sequence[Row]) -> Row:
    """Return the least of each column of `rows`, of which one was `old` and is `new`, from what it was."""
    if old == new:
        return least
    found = list(least)
    for column, (low, was, now) in enumerate(zip(least, old, new, strict=True)):
        if now < low:
            found[column] = now
        elif was == low != now:
            found[column] = min([row[column] for row in rows])
    return tuple(found)
