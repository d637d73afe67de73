"""Readings of the whole house after an event: heard, aged, and told of once when they fail or are back."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta

from bridge.core.events import BrokerLost, BrokerReached, Event, ReadingHeard, Started
from bridge.core.outcome import Level
from bridge.core.readings import Reading, aged, clock_set, heard, session_began, session_ended
from bridge.core.replacing import replace
from bridge.core.state import House
from bridge.core.surroundings import SensorId
from bridge.core.turn import Turn
from bridge.core.values import Moment

# A clock that is only kept right is set by less.
SLEWED = timedelta(seconds=2)


def readings_after(turn: Turn, house: House, event: Event) -> tuple[House, frozenset[str]]:
    """Return the house with its readings after an event, and the kinds of which there is news."""
    found: dict[SensorId, Reading] = {}
    step = _clock_step(house.now, event)
    for sensor in house.spec.sensors:
        was = house.readings.get(sensor.id, Reading())
        now = was if step is None else clock_set(was, step, event.at.utc)
        if isinstance(event, BrokerReached):
            now = session_began(now, turn.now_s)
        elif isinstance(event, BrokerLost):
            now = session_ended(now)
        elif isinstance(event, ReadingHeard) and event.sensor == sensor.id:
            now = heard(sensor, now, event.value, event.problem, event.at)
        now = aged(sensor, now, turn.now_s)
        if now is not was:
            found[sensor.id] = now
            _tell_reading(turn, sensor.id, was, now)
    if not found:
        return house, frozenset()
    readings: Mapping[SensorId, Reading] = {**house.readings, **found}
    news = frozenset(sensor.kind for sensor in house.spec.sensors if sensor.id in found)
    return replace(house, readings=readings), news


def _clock_step(last: Moment, event: Event) -> timedelta | None:
    """Return how far the wall clock was set since the last event, None if it was not.

    Monotonic time has no meaning across runs: there only what would lie ahead is set right.
    """
    if isinstance(event, Started):
        return timedelta(0)
    by = event.at.utc - last.utc - timedelta(seconds=event.at.mono_s - last.mono_s)
    return by if abs(by) > SLEWED else None


def _tell_reading(turn: Turn, sensor: SensorId, was: Reading, now: Reading) -> None:
    if now.fault and now.fault != was.fault:
        level = Level.ERROR if now.lost else Level.WARNING
        text = f"sensor {sensor}: {now.fault}"
        turn.note("sensor.reading.failed", level, text=text, sensor=sensor, lost=now.lost)
    elif now.lost and not was.lost:
        text = f"sensor {sensor} is lost: {now.fault}; check its battery, its cable and its topic"
        turn.note("sensor.reading.failed", Level.ERROR, text=text, sensor=sensor, lost=True)
    elif was.fault and now.value is not None:
        turn.note("sensor.reading.restored", Level.INFO, text=f"sensor {sensor} is back", sensor=sensor)
