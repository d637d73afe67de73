"""What the agenda holds of each shade, found again only for those that something has happened to.

A shade that has changed, or whose house has, is looked at until a look leaves it as it is; from then on only
the clock can make a look find something to do, and `clocks` tells when. News of a board changes each of its
shades. What happens to a shade counts for those, too, that wait for amps of its supply.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import inf

from bridge.core.agenda import ROUNDING_S, Agenda, Column, stamp
from bridge.core.command import one_way
from bridge.core.command.guards import guards
from bridge.core.command.pursue import clocks as contract_clocks
from bridge.core.command.pursue import due_s as pursue_due_s
from bridge.core.command.supply import ORDER_EVERY_S, ends_stagger_s, surely_over_s
from bridge.core.kept import Leasts, Row
from bridge.core.referring import barred_until, wants_reference
from bridge.core.ruling import awaits_foresight
from bridge.core.spec import OneWayLink
from bridge.core.state import Board, House, Shade, kept
from bridge.core.values import Moment

AT_ONCE, NEVER = -inf, inf

_UNHEARD = Board()
# Where a look that leaves a shade as it is puts it off until the clock has something for it.
_LOOKS = (Column.LOOKS, Column.TURNS, Column.RULES)


def caught_up(agenda: Agenda | None, house: House, at: Moment) -> Agenda:
    """Return the agenda of a house at a time, made of an older one of any house.

    Args:
        agenda: What was found before; None for nothing.
        house: As it is now.
        at: When.
    """
    if agenda is None or agenda.spec is not house.spec or agenda.states != _states(house):
        return _anew(house, at)
    passed = agenda.rows.least[Column.OVER] <= at.mono_s or agenda.rows.least[Column.SPACED] <= at.mono_s
    if agenda.shades is house.shades and not passed:
        return agenda
    shades = kept(house)
    if not agenda.shades.has_same_keys(shades):
        return _anew(house, at)
    over = agenda.places(Column.OVER, until=at.mono_s) if passed else []
    spaced = agenda.places(Column.SPACED, until=at.mono_s) if passed else []
    changed = list(shades.differing(agenda.shades))
    rows = agenda.rows
    for place in changed:
        rows = rows.put(place, _row(house, shades.at(place), at))
    for place in over:
        was = rows.row(place)
        rows = rows.put(place, _row(house, shades.at(place), at, rules=was[Column.RULES]))
    for place in spaced:
        looks, turns, rules = (rows.row(place)[column] for column in _LOOKS)
        rows = rows.put(place, _row(house, shades.at(place), at, looks=looks, turns=turns, rules=rules))
    if rows.least[Column.WAITS] < inf:
        rows = _with_neighbours(house, rows, [*changed, *over])
    return Agenda(spec=house.spec, shades=shades, states=agenda.states, rows=rows)


def settled(agenda: Agenda, house: House, at: Moment, left: Iterable[tuple[Column, Shade]]) -> Agenda:
    """Return the agenda after looks that have left a shade as it was.

    Args:
        agenda: Of `house`.
        house: After the event.
        at: When.
        left: The column of the look, and the shade.
    """
    shades, rows = kept(house), agenda.rows
    for column, shade in left:
        place = shades.place(shade.id)
        if shades.at(place) is shade:
            rows = rows.put(place, _but(rows.row(place), column, _again(house, shade, at, column)))
    if rows is agenda.rows:
        return agenda
    return Agenda(spec=agenda.spec, shades=agenda.shades, states=agenda.states, rows=rows)


def shade_due_s(house: House, shade: Shade) -> float | None:
    """Return when `pursue` is wanted for a shade; the clock of a one-way board runs without a broker too."""
    if not shade.spec.in_service:
        return None
    may_order = house.broker_up and not house.stood_down and not house.locked
    if isinstance(shade.spec.link, OneWayLink):
        return one_way.due_s(shade, may_order=may_order)
    if may_order:
        return pursue_due_s(shade, house.boards.get(shade.spec.contract.board, _UNHEARD))
    return None if shade.request is None else shade.request.deadline_s


def hold_due_s(house: House, shade: Shade) -> float | None:
    """Return when a hold ends on the monotonic clock, reckoned from the last event."""
    if shade.hold_until is None:
        return None
    return house.now.mono_s + (shade.hold_until - house.now.utc).total_seconds()


def _anew(house: House, at: Moment) -> Agenda:
    shades = kept(house)
    rows = Leasts([_row(house, shade, at) for shade in shades.values()], len(Column))
    return Agenda(spec=house.spec, shades=shades, states=_states(house), rows=rows)


def _states(house: House) -> tuple[bool, bool, bool]:
    return house.broker_up, house.stood_down, house.locked


def _with_neighbours(house: House, rows: Leasts, changed: Iterable[int]) -> Leasts:
    """Return the rows with a look at whatever waits at a supply of which a shade has changed."""
    shades = kept(house)
    supplies = {shades.at(place).spec.supply for place in changed}
    for supply in supplies:
        for name in () if supply is None else house.spec.on_supply.get(supply, ()):
            place = shades.place(name)
            row = rows.row(place)
            if row[Column.WAITS] < inf:
                rows = rows.put(place, _but(row, Column.TURNS, AT_ONCE))
    return rows


def _row(
    house: House,
    shade: Shade,
    at: Moment,
    *,
    looks: float = AT_ONCE,
    turns: float = AT_ONCE,
    rules: float = AT_ONCE,
) -> Row:
    """Return what the agenda holds of a shade, in the order of the columns."""
    due_s, request = shade_due_s(house, shade), shade.request
    waits = request is not None and request.queued
    spaced_s = shade.ordered_at_s + ORDER_EVERY_S if waits and shade.ordered_at_s is not None else NEVER
    over_s = None if shade.channel.answered else surely_over_s(shade)
    over_s = NEVER if over_s is None else over_s
    again_at = shade.ruling.again_at if shade.spec.rules else None
    return (
        NEVER if due_s is None else due_s,
        looks,
        NEVER if shade.hold_until is None else stamp(shade.hold_until),
        AT_ONCE if waits else NEVER,
        turns if waits else NEVER,
        spaced_s if spaced_s > at.mono_s else NEVER,
        over_s if over_s > at.mono_s else NEVER,
        AT_ONCE if request is not None and request.level is not None else NEVER,
        _doubts(shade),
        NEVER if again_at is None else stamp(again_at),
        rules if shade.spec.rules else NEVER,
        AT_ONCE if awaits_foresight(shade) else NEVER,
    )


def _doubts(shade: Shade) -> float:
    if not shade.spec.refers_by_itself or not wants_reference(shade):
        return NEVER
    barred = barred_until(shade)
    return AT_ONCE if barred is None else stamp(barred)


def _but(row: Row, column: Column, value: float) -> Row:
    return (*row[:column], value, *row[column + 1 :])


def _again(house: House, shade: Shade, at: Moment, column: Column) -> float:
    """Return when a look that has just left a shade as it was is worth another one."""
    if column is Column.RULES:
        return _rules_again(shade, at)
    if _may_be_forbidden_by_the_clock(shade):
        return AT_ONCE
    clocks = list(_clocks(shade))
    if column is Column.TURNS:
        clocks.append(ends_stagger_s(house))
    return min((each for each in clocks if each > at.mono_s - ROUNDING_S), default=NEVER)


def _rules_again(shade: Shade, at: Moment) -> float:
    again_at = shade.ruling.again_at
    # A full look leaves alone what the usual one would not.
    if _may_be_forbidden_by_the_clock(shade) or (again_at is not None and not _guarded(shade)):
        return AT_ONCE
    return NEVER if again_at is None or again_at <= at.utc else stamp(again_at)


def _may_be_forbidden_by_the_clock(shade: Shade) -> bool:
    """Say whether it is reckoned to move, so that any moment guards may see it elsewhere."""
    return shade.reckoning.run is not None and _guarded(shade)


def _guarded(shade: Shade) -> bool:
    return any(True for _ in guards(shade))


def _clocks(shade: Shade) -> Iterator[float]:
    if not shade.spec.in_service:
        return iter(())
    return one_way.clocks(shade) if isinstance(shade.spec.link, OneWayLink) else contract_clocks(shade)
