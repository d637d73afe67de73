"""The whole house, one event at a time: the only place where its state changes.

`handle` is pure. The shell journals what it returns, then sends the orders, then shows the house.
`due_s` says when it wants to be called though nothing happens.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import assert_never

from bridge.core.agenda import ROUNDING_S, Column, soon
from bridge.core.asking import Front, ask, confirm, locked_up
from bridge.core.changing import changed
from bridge.core.command.goals import target_of
from bridge.core.command.level import due_s as level_due_s
from bridge.core.command.level import front_mm, levelled
from bridge.core.command.pursue import pursue
from bridge.core.command.requests import Fate, ended
from bridge.core.command.supply import due_s as queue_due_s
from bridge.core.command.supply import queue
from bridge.core.dues import caught_up, hold_due_s, settled
from bridge.core.events import (
    AliveHeard,
    Asked,
    BrokerLost,
    BrokerReached,
    ClaimHeard,
    Confirmed,
    Event,
    GroupAsked,
    LinkHeard,
    MemoryHeard,
    ReadingHeard,
    ReportHeard,
    SettingsChanged,
    Started,
    Switch,
    Switched,
    TargetHeard,
    Ticked,
    TopicHeard,
)
from bridge.core.hearing import hear_link, hear_report, heard_board, in_hearing, out_of_hearing
from bridge.core.outcome import Decisions, Level
from bridge.core.overhearing import hear_alive, hear_target
from bridge.core.position.estimate import Knowledge
from bridge.core.recalling import displaced, hear_memory, outdated
from bridge.core.reckoning import rests_elsewhere
from bridge.core.referring import due_s as referring_due_s
from bridge.core.referring import referred
from bridge.core.replacing import replace
from bridge.core.ruling import due_s as rules_due_s
from bridge.core.ruling import ruled
from bridge.core.starting import built, started
from bridge.core.state import Board, House, Shade, kept, touched, with_each, with_shade, with_shades
from bridge.core.turn import Turn
from bridge.core.values import BoardId, ShadeId


def handle(house: House | None, event: Event) -> tuple[House, Decisions]:
    """Return the house after `event`, and what is to be sent and written.

    Args:
        house: The house so far; None before the first `Started`.
        event: What happened, with its time.

    Returns:
        The next house, which is `house` itself when nothing changed, and the decisions.
    """
    if house is None:
        assert isinstance(event, Started), "a house begins with Started"
        house = built(event)
    turn = Turn(house=house, at=event.at, term=house.term, next_request=house.next_request)
    turn.agenda = house.agenda
    _catch_up(turn, house)
    after = ruled(turn, house, _catch_up(turn, displaced(turn, _after(turn, event))), event)
    after = levelled(turn, _catch_up(turn, referred(turn, _catch_up(turn, after))))
    after = _queue_served(turn, _catch_up(turn, after))
    said = turn.notes or turn.orders or turn.targets
    if not said and turn.term == house.term and after == house:
        # After a step of the wall clock a tick may find a hold not over: `due_s` counts on from here.
        return (_counted(turn, house) if isinstance(event, Ticked) else house), Decisions()
    # A term that was claimed and then forgotten would look like another bridge's.
    grew = isinstance(event, Started) or turn.term > house.term or _grew(house, after)
    decisions = Decisions(
        orders=tuple(turn.orders), targets=tuple(turn.targets), notes=tuple(turn.notes), grew=grew
    )
    return _counted(turn, after), decisions


def due_s(house: House) -> float | None:
    """Return the monotonic second at which `Ticked` is wanted; None when nothing is waited for."""
    agenda = caught_up(house.agenda, house, house.now)
    dues = [agenda.first(Column.WAKES)] if agenda.has(Column.WAKES) else []
    waits = [hold_due_s(house, kept(house).at(place)) for place in agenda.earliest(Column.HOLDS)]
    waits += [each(house, agenda) for each in (queue_due_s, level_due_s, rules_due_s, referring_due_s)]
    return min([*dues, *(due for due in waits if due is not None)], default=None)


def _catch_up(turn: Turn, house: House) -> House:
    """Return the house, of which the turn then knows which shades want a look."""
    if turn.caught is not house:
        turn.agenda, turn.caught = caught_up(turn.agenda, house, turn.at), house
    return house


def _counted(turn: Turn, house: House) -> House:
    """Return the house with what the turn has counted up, at its time."""
    house = replace(
        house,
        now=turn.at,
        term=turn.term,
        next_request=turn.next_request,
        started_at_s=house.started_at_s if turn.started_at_s is None else turn.started_at_s,
        returned_at_s=house.returned_at_s if turn.returned_at_s is None else turn.returned_at_s,
    )
    agenda = caught_up(turn.agenda, house, turn.at)
    return replace(house, agenda=settled(agenda, house, turn.at, turn.left))


def _queue_served(turn: Turn, house: House) -> House:
    """Return the house after those that waited for amps, or for their turn, have been seen to."""
    for waiting in queue(house, turn.agenda_now.places(Column.TURNS, until=turn.now_s + ROUNDING_S)):
        turn.look(house)
        shade = pursue(turn, waiting)
        house = with_shade(house, shade)
        if shade is waiting:
            turn.left.append((Column.TURNS, shade))
    return house


def _group_asked(turn: Turn, event: GroupAsked) -> House:
    """Return the house after every member of a group has been asked the same."""
    house = turn.house
    group = next((each for each in house.spec.groups if each.id == event.group), None)
    if group is None:
        turn.note("group.name.unknown", Level.WARNING, text=f"there is no group {event.group}")
        return house
    to_mm = front_mm(house, group, event.want) if group.level else None
    front = None if to_mm is None else (group.id, to_mm)
    for member in group.members:
        asked = Asked(at=event.at, shade=member, want=event.want, rank=event.rank, source=event.source)
        house = _one(turn, house, member, partial(_asked, event=asked, front=front))
    target = target_of(event.want)
    if target is None or not any(note.name == "request.accepted" for note in turn.notes):
        return house
    return replace(house, group_targets={**house.group_targets, group.id: target})


def _asked(turn: Turn, shade: Shade, *, event: Asked, front: Front | None) -> Shade:
    return ask(turn, shade, event, front=front)


def _switched(turn: Turn, event: Switched) -> House:
    """Return the house after the pause or the lock was switched; locking stops what moves."""
    house = turn.house
    name = f"house.{event.switch.value}.switched"
    what = "the rules' pause" if event.switch is Switch.PAUSE else "the service lock"
    text = f"{what} was switched {'on' if event.on else 'off'} by {event.source}"
    turn.note(name, Level.INFO, text=text, on=event.on, source=event.source)
    if event.switch is Switch.PAUSE:
        return replace(house, paused=event.on)
    if event.on == house.locked:
        return house
    if event.on:
        house = _each(turn, house, lambda turn, shade: locked_up(turn, shade, event.source))
        return replace(house, locked=True)
    return _each(turn, replace(house, locked=False), pursue)


def _after(turn: Turn, event: Event) -> House:  # noqa: PLR0911, PLR0912, C901 - one line for each kind of event
    house = turn.house
    match event:
        case Started():
            return started(turn, event)
        case BrokerReached():
            reached = replace(house, broker_up=True, reached_at_s=turn.now_s)
            return _each(turn, reached, in_hearing)
        case BrokerLost():
            left = replace(house, broker_up=False, boards={}, reached_before=True)
            return _each(turn, left, out_of_hearing)
        case LinkHeard():
            return _link_heard(turn, event)
        case ReportHeard():
            return _report_heard(turn, event)
        case TargetHeard():
            return _one(turn, house, event.shade, lambda turn, shade: hear_target(turn, shade, event))
        case AliveHeard():
            return _alive_heard(turn, event)
        case ReadingHeard():
            return house
        case Asked():
            return _one(turn, house, event.shade, lambda turn, shade: ask(turn, shade, event))
        case GroupAsked():
            return _group_asked(turn, event)
        case TopicHeard():
            return replace(house, topics_heard={**house.topics_heard, event.topic: event.mark})
        case Switched():
            return _switched(turn, event)
        case Confirmed():
            return _one(turn, house, event.shade, lambda turn, shade: confirm(turn, shade, event))
        case ClaimHeard():
            return _claim_heard(turn, event)
        case MemoryHeard():
            if event.shade not in house.shades or not house.shades[event.shade].spec.in_service:
                return house
            return _one(turn, house, event.shade, lambda turn, shade: hear_memory(turn, shade, event.memory))
        case SettingsChanged():
            return house if event.spec == house.spec else _each(turn, changed(turn, event.spec), pursue)
        case Ticked():
            return _due_pursued(turn, house)
        case _:
            assert_never(event)


def _each(turn: Turn, house: House, act: Callable[[Turn, Shade], Shade]) -> House:
    """Return the house after `act` on every shade."""
    turn.look(house)
    return with_each(house, partial(act, turn))


def _due_pursued(turn: Turn, house: House) -> House:
    """Return the house after a look at those shades that the clock, or what has happened, may concern."""
    turn.look(house)
    agenda, until_s = turn.agenda_now, turn.now_s + ROUNDING_S
    places = {*agenda.places(Column.LOOKS, Column.TURNS, until=until_s)}
    places.update(agenda.places(Column.HOLDS, until=soon(turn.utc)))
    shades = [kept(house).at(place) for place in sorted(places)]
    after = [pursue(turn, shade) for shade in shades]
    turn.left += [(Column.LOOKS, shade) for shade, then in zip(shades, after, strict=True) if then is shade]
    return with_shades(house, after)


def _one(turn: Turn, house: House, name: ShadeId, act: Callable[[Turn, Shade], Shade]) -> House:
    """Return the house after `act` on one shade; a name that is not in the settings is noted."""
    turn.look(house)
    if name not in house.shades:
        turn.note("shade.name.unknown", Level.WARNING, text=f"there is no shade {name}")
        return house
    return with_shade(house, act(turn, house.shades[name]))


def _grew(before: House, after: House) -> bool:
    """Say whether some hem bar may now be where it could not be before."""
    for shade in touched(before, after):
        old = before.shades.get(shade.id)
        if old is None or not _covered(shade.knowledge, old.knowledge):
            return True
        if rests_elsewhere(old.reckoning, shade.reckoning):
            return True
    return False


def _covered(after: Knowledge, before: Knowledge) -> bool:
    """Say whether all that `before` allows covers all that `after` allows, now and from its count on."""
    if not before.hull.contains(after.hull):
        return False
    if before.base is None:
        return True
    return after.base is not None and after.boot == before.boot and before.base.contains(after.base)


def _link_heard(turn: Turn, event: LinkHeard) -> House:
    """Return the house after a board's link topic has spoken: every channel of the board is concerned."""
    house = turn.house
    mine = [house.shades[name] for name in house.spec.on_channel.get(event.board, {}).values()]
    known = house.boards.get(event.board, Board())
    trusted = any(shade.channel.answered for shade in mine)
    board = heard_board(known, event, trusted=trusted)
    boards: Mapping[BoardId, Board] = {**house.boards, event.board: board}
    turn.look(replace(house, boards=boards))
    if board.link is not event.link:
        return house
    changed = board != known
    return with_shades(turn.house, [hear_link(turn, shade, event, changed=changed) for shade in mine])


def _alive_heard(turn: Turn, event: AliveHeard) -> House:
    """Return the house after an alive topic has spoken: every shade whose board it stands for."""
    house = turn.house
    for name in house.spec.on_alive.get(event.topic, ()):
        house = _one(turn, house, name, lambda turn, shade: hear_alive(turn, shade, event))
    return house


def _report_heard(turn: Turn, event: ReportHeard) -> House:
    house = turn.house
    name = house.spec.on_channel.get(event.board, {}).get(event.channel)
    if name is not None:
        after = _one(turn, house, name, lambda turn, shade: hear_report(turn, shade, event))
        return _outdated_too(turn, after) if turn.term > house.term else after
    turn.note("board.channel.unknown", Level.DEBUG, board=event.board, channel=event.channel)
    return house


def _outdated_too(turn: Turn, house: House) -> House:
    """Return the house after a board has known a higher term: this journal is old for the unheard too."""
    why = "a board knows of another bridge, or of a newer journal of this one"

    def old(shade: Shade) -> Shade:
        known = shade.channel.answered or shade.memory is not None
        return shade if known else outdated(turn, shade, why)

    return with_each(house, old)


def _claim_heard(turn: Turn, event: ClaimHeard) -> House:
    """Return the house after another claim: one from before this run is outbid, a higher one is obeyed."""
    house = turn.house
    if house.stood_down:
        return house
    if event.retained and not house.reached_before:
        return _outbid(turn, event.term)
    if event.term < turn.term or (event.term == turn.term and not event.ahead):
        return house
    text = f"another bridge is in charge (term {event.term}); this one stands down and orders nothing"
    turn.note("house.charge.lost", Level.ERROR, text=text, term=event.term)
    house = replace(house, stood_down=True)
    return _each(turn, house, lambda turn, shade: ended(turn, shade, Fate.SUPERSEDED, text))


def _outbid(turn: Turn, term: int) -> House:
    """Return the house with a claim from before this run outbid.

    The journal's own last claim is lower than this run's: one as high was made by another bridge, or by a
    later life of this one whose journal is gone.
    """
    house = turn.house
    if term < turn.term:
        return house
    turn.term = term + 1
    why = f"another bridge, or a newer journal of this one, was in charge (term {term})"
    return _each(turn, house, lambda turn, shade: outdated(turn, shade, why))
