"""A look at every shade, as plainly as it can be written: what the agenda must come to without one.

`handled` is `handle` in a house that has forgotten its agenda, so that it looks at everything; `due_s` asks
every shade, and whatever waits, by itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from bridge.core.command import supply
from bridge.core.command.level import READY_S
from bridge.core.command.supply import ORDER_EVERY_S, RESTLESS_S
from bridge.core.dues import hold_due_s, shade_due_s
from bridge.core.events import Event
from bridge.core.house import handle
from bridge.core.intending import next_look
from bridge.core.outcome import Decisions
from bridge.core.readings import Reading
from bridge.core.readings import due_s as reading_due_s
from bridge.core.referring import AGAIN_AFTER, _quiet_until, wants_reference
from bridge.core.replacing import replace
from bridge.core.state import House, Request, Shade


def handled(house: House | None, event: Event) -> tuple[House, Decisions]:
    """Return what `handle` does when every shade is looked at."""
    forgetful = None if house is None else replace(house, agenda=None)
    after, decisions = handle(forgetful, event)
    return (house if house is not None and after is forgetful else after), decisions


def due_s(house: House) -> float | None:
    """Return the monotonic second at which `Ticked` is wanted; None when nothing is waited for."""
    return min(_dues(house), default=None)


def _dues(house: House) -> Iterator[float]:
    shades = house.shades.values()
    yield from (due for shade in shades if (due := shade_due_s(house, shade)) is not None)
    yield from (due for shade in shades if (due := hold_due_s(house, shade)) is not None)
    later = [*_queue(house), *(due for shade in shades for due in _level(shade))]
    yield from (due for due in later if due > house.now.mono_s)
    yield from _rules(house)
    for shade in shades:
        if shade.spec.refers_by_itself and wants_reference(shade):
            at = max(_barred_until(house, shade), _quiet_until(house, house.now.utc))
            if at > house.now.utc:
                yield _mono_s(house, at)


def _mono_s(house: House, at: datetime) -> float:
    return house.now.mono_s + (at - house.now.utc).total_seconds()


def _queue(house: House) -> Iterator[float]:
    shades = house.shades.values()
    waiting = [shade for shade in shades if shade.request is not None and shade.request.queued]
    if not waiting:
        return
    yield from (shade.ordered_at_s + ORDER_EVERY_S for shade in waiting if shade.ordered_at_s is not None)
    for shade in shades:
        over_s = None if shade.channel.answered else supply.surely_over_s(shade)
        if over_s is not None:
            yield over_s
    if house.returned_at_s is not None and house.started_at_s is not None:
        yield min(house.started_at_s + house.spec.stagger_s, house.returned_at_s + RESTLESS_S)


def _level(shade: Shade) -> Iterator[float]:
    request = shade.request
    if request is None or request.level is None:
        return
    pace = request.level.pace
    if pace is None:
        yield request.asked_at.mono_s + READY_S
        if shade.ordered_at_s is not None:
            yield shade.ordered_at_s + ORDER_EVERY_S
    elif not _serves(shade, request):
        yield pace.begins_s
    elif pace.looks_at_s is not None:
        yield pace.looks_at_s


def _serves(shade: Shade, request: Request) -> bool:
    return shade.outstanding is not None and shade.outstanding.request == request.id


def _rules(house: House) -> Iterator[float]:
    for sensor in house.spec.sensors:
        due = reading_due_s(sensor, house.readings.get(sensor.id, Reading()))
        if due is not None:
            yield due
    shades = [shade for shade in house.shades.values() if shade.spec.rules]
    for shade in shades:
        again_at = shade.ruling.again_at
        if again_at is not None and house.broker_up and not house.locked and not house.stood_down:
            yield _mono_s(house, again_at)
        if shade.ruling.waits and shade.spec.in_service:
            yield house.now.mono_s
    if shades and house.looked_at is not None:
        yield _mono_s(house, next_look(house.spec, house.looked_at))


def _barred_until(house: House, shade: Shade) -> datetime:
    met = shade.knowledge.meetings[-1].utc if shade.knowledge.meetings else None
    if shade.referred_at is None or (met is not None and met >= shade.referred_at):
        return house.now.utc
    return shade.referred_at + AGAIN_AFTER
