"""What is kept in chunks says and does what a dict, and a look through every row, would."""

from __future__ import annotations

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.core.agenda import Agenda, Column
from bridge.core.kept import CHUNK, Kept, Leasts

SIZES = (0, 1, CHUNK - 1, CHUNK, CHUNK + 1, 3 * CHUNK + 5)
NUMBERS = st.one_of(st.integers(-3, 3).map(float), st.sampled_from([-inf, inf]))


def numbered(size: int) -> dict[str, object]:
    # Names whose order is neither that of the alphabet nor of hashes.
    return {f"s{(7 * number) % 1009}": object() for number in range(size)}


@pytest.mark.parametrize("size", SIZES)
def test_it_is_the_mapping_that_it_was_made_of_in_that_order(size: int) -> None:
    items = numbered(size)
    kept = Kept(items)
    assert kept == items
    assert list(kept) == list(items)
    assert list(kept.values()) == list(items.values())
    assert list(kept.items()) == list(items.items())
    assert len(kept) == size
    assert "nobody" not in kept
    assert kept.get("nobody") is None


@pytest.mark.parametrize("size", SIZES[1:])
def test_a_change_is_seen_in_the_new_one_only_and_found_by_place(size: int) -> None:
    items = numbered(size)
    before = Kept(items)
    for name in (next(iter(items)), next(reversed(items))):
        new = object()
        after = before.put(name, new)
        assert after == {**items, name: new}
        assert before == items
        assert after != before
        assert after.has_same_keys(before)
        (place,) = after.differing(before)
        assert (place, after.at(place)) == (after.place(name), new)
        assert after.put(name, items[name]) == before


def test_a_key_that_is_not_there_cannot_be_changed() -> None:
    with pytest.raises(KeyError):
        Kept({"one": 1}).put("two", 2)


def test_each_value_is_made_anew_in_order() -> None:
    kept = Kept({str(number): number for number in range(3 * CHUNK)})
    seen: list[int] = []

    def doubled(value: int) -> int:
        seen.append(value)
        return 2 * value

    assert kept.each(doubled) == {str(number): 2 * number for number in range(3 * CHUNK)}
    assert seen == list(range(3 * CHUNK))


def test_two_that_were_made_apart_are_equal_by_what_they_hold() -> None:
    assert Kept({"a": 1, "b": 2}) == Kept({"a": 1, "b": 2})
    assert Kept({"a": 1}) != Kept({"a": 2})
    assert not Kept({"a": 1}).has_same_keys(Kept({"a": 1}))
    assert repr(Kept({"a": 1})) == "Kept({'a': 1})"
    with pytest.raises(TypeError):
        hash(Kept({"a": 1}))


@given(
    rows=st.lists(st.tuples(NUMBERS, NUMBERS), min_size=1, max_size=2 * CHUNK + 3),
    changes=st.lists(st.tuples(st.integers(0, 10**6), st.tuples(NUMBERS, NUMBERS)), max_size=20),
    limit=NUMBERS,
)
def test_the_least_of_each_column_and_all_up_to_a_limit_are_those_of_a_look_through_all(
    rows: list[tuple[float, float]], changes: list[tuple[int, tuple[float, float]]], limit: float
) -> None:
    table, plain = Leasts(rows, 2), list(rows)
    for at, row in changes:
        place = at % len(plain)
        table, plain[place] = table.put(place, row), row
    assert [table.row(place) for place in range(len(plain))] == plain
    for column in (0, 1):
        assert table.least[column] == min(row[column] for row in plain)
        expected = [place for place, row in enumerate(plain) if row[column] <= limit]
        assert list(table.up_to(column, limit)) == expected


def test_without_rows_nothing_is_ever_due() -> None:
    table = Leasts([], 3)
    assert table.least == (inf, inf, inf)
    assert list(table.up_to(0, 1e300)) == []


def test_an_agenda_names_each_place_once_and_in_order_and_the_earliest_of_a_column() -> None:
    nothing = [inf] * len(Column)
    rows = [list(nothing) for _ in range(3)]
    rows[2][Column.LOOKS] = rows[2][Column.TURNS] = 1.0
    rows[0][Column.TURNS] = 2.0
    agenda = Agenda(
        spec=None,
        shades=Kept({}),
        states=(True, False, False),
        rows=Leasts([tuple(row) for row in rows], len(Column)),
    )
    assert agenda.places(Column.LOOKS, Column.TURNS) == [0, 2]
    assert agenda.places(Column.LOOKS, Column.TURNS, until=1.0) == [2]
    assert agenda.earliest(Column.TURNS) == [2]
    assert agenda.earliest(Column.HOLDS) == []
    assert not agenda.has(Column.HOLDS)
