"""When the rules look, what they make a shade do, and what holds them back.

All rules look on even parts of the hour; those for wind, rain, ice and doors also at once when a reading of
theirs brings news or fails to come. What a rule asks is its own file's business, how a request is served that
of `command/`.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from bridge.core.agenda import Agenda, Column, soon
from bridge.core.comfort import comforted
from bridge.core.command.guards import guards, open_pct
from bridge.core.events import Event, SettingsChanged, Started
from bridge.core.intending import next_look
from bridge.core.readings import Reading, serving, session_began, session_ended
from bridge.core.readings import due_s as reading_due_s
from bridge.core.replacing import replace
from bridge.core.retracting import enforced, sooner, unguarded
from bridge.core.rules.catalogue import Rule, rules
from bridge.core.rules.demand import Ruling
from bridge.core.rules.seeing import asked, view_of
from bridge.core.sensing import readings_after
from bridge.core.state import House, Shade, kept, with_each, with_shade
from bridge.core.turn import Turn
from bridge.core.values import ShadeId

# A union in the call would be made anew at every event.
_SETTINGS = (Started, SettingsChanged)


def ruled(turn: Turn, before: House, house: House, event: Event) -> House:
    """Return the house after the rules have answered an event, if it concerns them.

    Args:
        turn: What the event has led to so far.
        before: The house before the event.
        house: The house after everything else has answered it.
        event: What happened.
    """
    if isinstance(event, _SETTINGS):
        house = _settings_taken(turn, before, house, session=isinstance(event, SettingsChanged))
    if not house.spec.sensors and not house.spec.with_rules:
        return house
    house, news = readings_after(turn, house, event)
    full = _look_is_due(house, event.at.utc) or (before.paused and not house.paused)
    if full:
        house = replace(house, looked_at=event.at.utc)
    for name in house.spec.with_rules if full or news else _concerned(turn, house):
        turn.look(house)
        shade = house.shades[name]
        after = _shade_ruled(turn, shade, before.shades.get(name), news, full=full)
        house = with_shade(house, after)
        if after is shade:
            turn.left.append((Column.RULES, shade))
    turn.look(house)
    return house


def _concerned(turn: Turn, house: House) -> Iterator[ShadeId]:
    """Yield those that something has happened to, whose time has come, or whose turn it is to foresee."""
    agenda, shades = turn.agenda_now, kept(house)
    rules = set(agenda.places(Column.RULES, until=soon(turn.utc)))
    foresees = agenda.places(Column.FORESEES)
    for place in sorted({*rules, *foresees}) if foresees else sorted(rules):
        # What merely waits for its foresight is left alone once another one has had it in this turn.
        if place in rules or turn.may_foresee:
            yield shades.at(place).id


def due_s(house: House, agenda: Agenda) -> float | None:
    """Return the monotonic second at which the rules want `Ticked`; None without rules and sensors."""
    dues = [
        due
        for sensor in house.spec.sensors
        if (due := reading_due_s(sensor, house.readings.get(sensor.id, Reading()))) is not None
    ]
    if house.broker_up and not house.locked and not house.stood_down:
        again = (kept(house).at(place).ruling.again_at for place in agenda.earliest(Column.AGAIN))
        dues += [_mono_s(house, at) for at in again if at is not None]
    if agenda.has(Column.FORESEES):
        dues.append(house.now.mono_s)
    if house.looked_at is not None and house.spec.with_rules:
        dues.append(_mono_s(house, next_look(house.spec, house.looked_at)))
    return min(dues, default=None)


def awaits_foresight(shade: Shade) -> bool:
    """Say whether what the rules of a shade decide waits for what they will ask."""
    return shade.ruling.waits and shade.spec.in_service and bool(shade.spec.rules)


def _mono_s(house: House, at: datetime) -> float:
    return house.now.mono_s + (at - house.now.utc).total_seconds()


def _settings_taken(turn: Turn, before: House, house: House, *, session: bool) -> House:
    """Return the house with other settings: what rules asked stands unless the rules have changed.

    Args:
        turn: What the event has led to so far.
        before: The house before the event.
        house: The house with its new settings.
        session: The session with the broker goes on, and with it what sensors have said.
    """

    def taken(shade: Shade) -> Shade:
        old = before.shades.get(shade.id)
        same = old is not None and old.spec.rules == shade.spec.rules
        ruling = shade.ruling if same else Ruling(mine=shade.ruling.mine)
        ruling = replace(ruling, again_at=None, tries=0, tried_at=None, told="", foresight=None, waits=False)
        return shade if ruling == shade.ruling else replace(shade, ruling=ruling)

    house = with_each(house, taken)
    sensors = {sensor.id: sensor for sensor in before.spec.sensors}
    readings = {}
    for sensor in house.spec.sensors:
        held = house.readings.get(sensor.id, Reading())
        if not session:
            readings[sensor.id] = session_ended(held)
        elif house.broker_up and sensors.get(sensor.id) != sensor:
            readings[sensor.id] = session_began(Reading(), turn.now_s)
        else:
            readings[sensor.id] = held
    return replace(house, readings=readings, looked_at=None)


def _look_is_due(house: House, utc: datetime) -> bool:
    if house.looked_at is None:
        return True
    # A wall clock that was set back must not put the rules to sleep.
    return utc >= next_look(house.spec, house.looked_at) or utc < house.looked_at


def _shade_ruled(
    turn: Turn, shade: Shade, before: Shade | None, news: frozenset[str], *, full: bool
) -> Shade:
    if not shade.spec.rules or not shade.spec.in_service:
        return shade
    freed = before is not None and before.hold_until is not None and shade.hold_until is None
    answers = before is not None and shade.channel.answered and not before.channel.answered
    if full or freed or answers or shade.ruling.waits:
        looked = sooner(turn, before, _looked(turn, shade, frozenset(), full=True))
        return comforted(turn, enforced(turn, looked))
    if news:
        return enforced(turn, sooner(turn, before, _looked(turn, shade, news, full=False)))
    if any(True for _ in guards(shade)):
        return enforced(turn, sooner(turn, before, shade))
    return unguarded(shade) if shade.ruling.again_at is not None else shade


def _looked(turn: Turn, shade: Shade, news: frozenset[str], *, full: bool) -> Shade:
    """Return the shade with what its rules ask now: all of them, or those that answer such news at once."""

    def picked(rule: Rule) -> bool:
        return full or bool(rule.at_once & news)

    if not any(picked(rules()[each.rule]) for each in shade.spec.rules if each.rule in rules()):
        return shade
    house = turn.house
    view = view_of(
        house.spec.site,
        shade.spec,
        turn.utc,
        open_pct=open_pct(shade, now_s=turn.now_s),
        readings=serving(house.spec.sensors, house.readings, shade.id, turn.at),
    )
    standing = tuple(asked(view, shade.spec.rules, shade.ruling.standing, of=picked))
    if standing == shade.ruling.standing:
        return shade
    return replace(shade, ruling=replace(shade.ruling, standing=standing))
