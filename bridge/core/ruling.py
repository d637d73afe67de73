"""When the rules look, what they make a shade do, and what holds them back.

All rules look on even parts of the hour; those for wind, rain, ice and doors also at once when a reading of
theirs brings news or fails to come. What a rule asks is its own file's business, how a request is served that
of `command/`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from math import ceil, floor

from bridge.core.asking import ask
from bridge.core.command.guards import allows, guards, needed, open_pct
from bridge.core.command.requests import Fate, ended
from bridge.core.events import (
    Asked,
    BrokerLost,
    BrokerReached,
    Button,
    Event,
    Percent,
    Press,
    ReadingHeard,
    SettingsChanged,
    Started,
)
from bridge.core.outcome import Level
from bridge.core.readings import Reading, aged, heard, serving, session_began, session_ended
from bridge.core.readings import due_s as reading_due_s
from bridge.core.rules.catalogue import Rule
from bridge.core.rules.clock import hhmm, within
from bridge.core.rules.demand import Ruling, Standing, Verdict, decided
from bridge.core.rules.seeing import asked, view_of, zone_of
from bridge.core.spec import ContractLink, HouseSpec
from bridge.core.state import House, Shade
from bridge.core.surroundings import SensorId
from bridge.core.turn import Turn
from bridge.core.values import Rank

# Nearer than this is there.
THERE_PCT = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """Where the rules want a shade.

    Attributes:
        to_pct: Percent open, 0 to 100.
        by: Whose demand leads there; None when no rule wants it lowered any more.
    """

    to_pct: int
    by: Standing | None

    @property
    def why(self) -> str:
        """The reason for people."""
        return "no rule wants it lower any more" if self.by is None else self.by.demand.why

    @property
    def source(self) -> str:
        """Who asks."""
        return "the rules" if self.by is None else f"the {self.by.rule} rule"


def ruled(turn: Turn, before: House, house: House, event: Event) -> House:
    """Return the house after the rules have answered an event, if it concerns them.

    Args:
        turn: What the event has led to so far.
        before: The house before the event.
        house: The house after everything else has answered it.
        event: What happened.
    """
    if isinstance(event, Started | SettingsChanged):
        house = _settings_taken(turn, before, house, session=isinstance(event, SettingsChanged))
    if not house.spec.sensors and not any(shade.spec.rules for shade in house.shades.values()):
        return house
    house, news = _readings_after(turn, house, event)
    full = _look_is_due(house, event.at.utc) or (before.paused and not house.paused)
    if full:
        house = replace(house, looked_at=event.at.utc)
    for name, shade in house.shades.items():
        turn.look(house)
        after = _shade_ruled(turn, shade, before.shades.get(name), news, full=full)
        if after is not shade:
            house = replace(house, shades={**house.shades, name: after})
    return house


def due_s(house: House) -> float | None:
    """Return the monotonic second at which the rules want `Ticked`; None without rules and sensors."""
    dues = [
        due
        for sensor in house.spec.sensors
        if (due := reading_due_s(sensor, house.readings.get(sensor.id, Reading()))) is not None
    ]
    dues += [
        _mono_s(house, shade.ruling.again_at)
        for shade in house.shades.values()
        if shade.ruling.again_at is not None and house.broker_up and not house.locked and not house.stood_down
    ]
    if house.looked_at is not None and any(shade.spec.rules for shade in house.shades.values()):
        dues.append(_mono_s(house, next_look(house.spec, house.looked_at)))
    return min(dues, default=None)


def next_look(spec: HouseSpec, after: datetime) -> datetime:
    """Return the first instant after `after` at which all rules look, on even parts of the hour, UTC."""
    every_s = spec.restraint.every_s
    looks = after.timestamp() // every_s + 1
    return datetime.fromtimestamp(looks * every_s, tz=UTC)


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
    shades = {}
    for name, shade in house.shades.items():
        old = before.shades.get(name)
        same = old is not None and old.spec.rules == shade.spec.rules
        ruling = replace(shade.ruling, again_at=None, told="") if same else Ruling(mine=shade.ruling.mine)
        shades[name] = shade if ruling == shade.ruling else replace(shade, ruling=ruling)
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
    return replace(house, shades=shades, readings=readings, looked_at=None)


def _look_is_due(house: House, utc: datetime) -> bool:
    if house.looked_at is None:
        return True
    # A wall clock that was set back must not put the rules to sleep.
    return utc >= next_look(house.spec, house.looked_at) or utc < house.looked_at


def _readings_after(turn: Turn, house: House, event: Event) -> tuple[House, frozenset[str]]:
    """Return the house with its readings after an event, and the kinds of which there is news."""
    found: dict[SensorId, Reading] = {}
    for sensor in house.spec.sensors:
        was = house.readings.get(sensor.id, Reading())
        now = was
        if isinstance(event, BrokerReached):
            now = session_began(was, turn.now_s)
        elif isinstance(event, BrokerLost):
            now = session_ended(was)
        elif isinstance(event, ReadingHeard) and event.sensor == sensor.id:
            now = heard(sensor, was, event.value, event.problem, event.at)
        now = aged(sensor, now, turn.now_s)
        if now is not was:
            found[sensor.id] = now
            _tell_reading(turn, sensor.id, was, now)
    if not found:
        return house, frozenset()
    readings: Mapping[SensorId, Reading] = {**house.readings, **found}
    news = frozenset(sensor.kind for sensor in house.spec.sensors if sensor.id in found)
    return replace(house, readings=readings), news


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


def _shade_ruled(
    turn: Turn, shade: Shade, before: Shade | None, news: frozenset[str], *, full: bool
) -> Shade:
    if not shade.spec.rules:
        return shade
    freed = before is not None and before.hold_until is not None and shade.hold_until is None
    answers = before is not None and shade.channel.answered and not before.channel.answered
    if full or freed or answers:
        shade = _comforted(turn, _enforced(turn, _looked(turn, shade, frozenset(), full=True)))
    elif news:
        shade = _enforced(turn, _looked(turn, shade, news, full=False))
    elif any(True for _ in guards(shade)):
        shade = _enforced(turn, shade)
    return shade


def _looked(turn: Turn, shade: Shade, news: frozenset[str], *, full: bool) -> Shade:
    """Return the shade with what its rules ask now: all of them, or those that answer such news at once."""
    house = turn.house
    view = view_of(
        house.spec.site,
        shade.spec,
        turn.utc,
        open_pct=open_pct(shade, now_s=turn.now_s),
        readings=serving(house.spec.sensors, house.readings, shade.id, turn.at),
    )

    def picked(rule: Rule) -> bool:
        return full or bool(rule.at_once & news)

    standing = tuple(asked(view, shade.spec.rules, shade.ruling.standing, of=picked))
    if standing == shade.ruling.standing:
        return shade
    return replace(shade, ruling=replace(shade.ruling, standing=standing))


def _enforced(turn: Turn, shade: Shade) -> Shade:
    """Return the shade after its guards have had their way, as far as orders can leave."""
    if not turn.may_order:
        return shade
    shade = _turned_back(turn, shade)
    wanted = needed(turn, shade)
    if wanted is None:
        return _ruling(shade, again_at=None)
    if shade.ruling.again_at is not None and turn.utc < shade.ruling.again_at:
        return shade
    low, by = wanted
    want = Press(button=Button.UP) if low >= 100 else Percent(open_pct=low)
    move = Move(to_pct=low, by=by)
    event = Asked(at=turn.at, shade=shade.id, want=want, rank=by.rank, source=move.source)
    after = ask(turn, shade, event)
    taken = after is not shade
    pause = timedelta(seconds=turn.house.spec.restraint.resume_s)
    after = _ruling(after, again_at=turn.utc + pause, mine=True)
    lost = decided(after.ruling.standing, now_pct=float(low)).lost
    if not taken:
        text = f"it can't be raised though it must be: {by.demand.why}; raise it by hand"
        turn.note("shade.retract.refused", Level.ERROR, shade=shade.id, text=text, rule=by.rule)
        return replace(after, trouble=text)
    after = _tell(turn, after, f"moved to {low} %", by=by, lost=lost, loud=True)
    return replace(after, reason=f"Raised to {low} %: {by.demand.why}")


def _turned_back(turn: Turn, shade: Shade) -> Shade:
    """Return the shade without a request that a guard forbids: stopped if it is under way, else ended."""
    request = shade.request
    if request is None or request.target_pct is None:
        return shade
    now_pct = open_pct(shade, now_s=turn.now_s)
    for each in guards(shade):
        if each.rank <= request.rank or allows(each.demand, request.target_pct, now_pct):
            continue
        why = f"the {each.rule} rule forbids it: {each.demand.why}"
        if not _begun(shade, request.id):
            return ended(turn, shade, Fate.FAILED, why)
        if each.demand.may_raise:
            stop = Press(button=Button.STOP)
            source = f"the {each.rule} rule"
            event = Asked(at=turn.at, shade=shade.id, want=stop, rank=each.rank, source=source)
            return replace(ask(turn, shade, event), reason=f"Stopped: {each.demand.why}")
    return shade


def _begun(shade: Shade, request: int) -> bool:
    pending, run = shade.outstanding, shade.reckoning.run
    return (pending is not None and pending.request == request) or (
        run is not None and run.request == request
    )


def _ruling(shade: Shade, *, again_at: datetime | None, mine: bool | None = None) -> Shade:
    mine = shade.ruling.mine if mine is None else mine
    ruling = replace(shade.ruling, again_at=again_at, mine=mine)
    return shade if ruling == shade.ruling else replace(shade, ruling=ruling)


def _comforted(turn: Turn, shade: Shade) -> Shade:
    """Return the shade after the rules for comfort have had their say, within their restraint."""
    now_pct = open_pct(shade, now_s=turn.now_s)
    shade = _without_strangers_place(shade)
    if now_pct is None:
        return shade
    verdict = decided(shade.ruling.standing, now_pct=now_pct)
    step_pct = turn.house.spec.restraint.smallest_move_pct
    if shade.hold_until is None and verdict.high_by is not None and now_pct >= verdict.high_pct - step_pct:
        # A person has put it where a rule wants it, so the rules may also take it back up.
        shade = _ruling(shade, again_at=shade.ruling.again_at, mine=True)
    move = wish(verdict, now_pct=now_pct, mine=shade.ruling.mine, step_pct=step_pct)
    if move is None or (move.by is not None and move.by.demand.guard):
        by = verdict.high_by or verdict.low_by
        return _tell(turn, shade, f"left at {now_pct:.0f} %", by=by, lost=verdict.lost)
    kept = _kept_by(turn, shade)
    if kept:
        return _tell(turn, shade, f"would go to {move.to_pct} %, but {kept}", by=move.by, lost=verdict.lost)
    return _moved(turn, shade, move, verdict, now_pct=now_pct)


def wish(verdict: Verdict, *, now_pct: float, mine: bool, step_pct: int) -> Move | None:
    """Return where the rules want a shade; None when it may stay.

    The hem bar goes no further than the range asks, except that a lower place is rounded down to whole steps
    and that a place which a rule had asked for is left again, upward, once that gains a whole step.

    Args:
        verdict: The range.
        now_pct: Where the hem bar is.
        mine: A rule has put it there.
        step_pct: The smallest move.
    """
    low = ceil(verdict.firm_low_pct - THERE_PCT)
    high = max(low, floor(verdict.high_pct + 1e-9))
    best = high if high == 100 else max(low, high // step_pct * step_pct)
    if now_pct > verdict.high_pct + THERE_PCT:
        return Move(to_pct=best, by=verdict.high_by)
    if now_pct < verdict.firm_low_pct - THERE_PCT:
        return Move(to_pct=low, by=verdict.low_by)
    wanted_up = mine or now_pct < verdict.low_pct - THERE_PCT
    if wanted_up and best - now_pct >= min(step_pct, 100 - now_pct) and best - now_pct > THERE_PCT:
        return Move(to_pct=best, by=verdict.high_by)
    return None


def _without_strangers_place(shade: Shade) -> Shade:
    """Return the shade with `mine` cleared once a person has put it elsewhere."""
    if shade.hold_until is None:
        return shade
    return _ruling(shade, again_at=shade.ruling.again_at, mine=False)


def _kept_by(turn: Turn, shade: Shade) -> str:
    """Return what keeps the rules for comfort from moving a shade now; "" when nothing does."""
    house, ruling = turn.house, shade.ruling
    restraint = house.spec.restraint
    checks = (
        (not turn.may_order, "no order may leave now"),
        (house.paused, "the rules are paused"),
        (shade.hold_until is not None, f"a person's request holds it until {_hold_ends(turn, shade)}"),
        (shade.request is not None and shade.request.rank > Rank.RULE, "somebody's request is under way"),
        (_unheard(shade), "its board does not answer"),
        (any(not each.demand.may_raise for each in guards(shade)), "ice may hold it"),
        (_is_quiet(turn), "these are quiet hours"),
        (
            ruling.moved_at is not None and _since_s(turn.utc, ruling.moved_at) < restraint.dwell_s,
            f"it was moved less than {restraint.dwell_s / 60:.0f} min ago",
        ),
        (
            _moves_today(turn, ruling) >= restraint.moves_a_day,
            f"{restraint.moves_a_day} moves a day are enough",
        ),
    )
    return next((why for holds, why in checks if holds), "")


def _since_s(utc: datetime, moved_at: datetime) -> float:
    # After the wall clock was set back a move of the future is as good as none.
    since = (utc - moved_at).total_seconds()
    return since if since >= 0 else float("inf")


def _unheard(shade: Shade) -> bool:
    return isinstance(shade.spec.link, ContractLink) and not shade.channel.answered


def _local(turn: Turn, at: datetime) -> datetime:
    site = turn.house.spec.site
    return at if site is None else at.astimezone(zone_of(site.timezone))


def _hold_ends(turn: Turn, shade: Shade) -> str:
    return "" if shade.hold_until is None else hhmm(_local(turn, shade.hold_until).time())


def _is_quiet(turn: Turn) -> bool:
    quiet = turn.house.spec.restraint.quiet
    return quiet is not None and within(_local(turn, turn.utc).time(), quiet.begins, quiet.ends)


def _today(turn: Turn) -> str:
    return _local(turn, turn.utc).date().isoformat()


def _moves_today(turn: Turn, ruling: Ruling) -> int:
    return ruling.moves if ruling.day == _today(turn) else 0


def _moved(turn: Turn, shade: Shade, move: Move, verdict: Verdict, *, now_pct: float) -> Shade:
    if shade.request is not None and shade.request.target_pct == move.to_pct:
        return shade
    rank = Rank.RULE if move.by is None else move.by.rank
    want = Percent(open_pct=move.to_pct)
    after = ask(turn, shade, Asked(at=turn.at, shade=shade.id, want=want, rank=rank, source=move.source))
    if after is shade:
        return _tell(turn, shade, f"could not go to {move.to_pct} %", by=move.by, lost=verdict.lost)
    ruling = replace(
        after.ruling,
        mine=True,
        moved_at=turn.utc,
        day=_today(turn),
        moves=_moves_today(turn, shade.ruling) + 1,
    )
    direction = "Lowered" if move.to_pct < now_pct else "Raised"
    after = replace(after, ruling=ruling, reason=f"{direction} to {move.to_pct} %: {move.why}")
    return _tell(turn, after, f"moved to {move.to_pct} %", by=move.by, lost=verdict.lost, loud=True)


def _tell(
    turn: Turn,
    shade: Shade,
    did: str,
    *,
    by: Standing | None,
    lost: tuple[Standing, ...],
    loud: bool = False,
) -> Shade:
    """Write down what was decided, by whom and over whom, unless that is what was said last."""
    key = "|".join((did, "" if by is None else by.rule, *(each.rule for each in lost)))
    if key == shade.ruling.told and not loud:
        return shade
    turn.note(
        "rule.shade.decided",
        Level.DEBUG,
        shade=shade.id,
        text=did,
        rule="" if by is None else by.rule,
        why="no rule asks for anything" if by is None and not loud else Move(to_pct=0, by=by).why,
        lost="\n".join(f"{each.rule}: {each.demand.why}" for each in lost),
        also="\n".join(_others(shade, by, lost)),
        next_look=next_look(turn.house.spec, turn.utc).isoformat(),
        every_s=turn.house.spec.restraint.every_s,
    )
    return replace(shade, ruling=replace(shade.ruling, told=key))


def _others(shade: Shade, by: Standing | None, lost: tuple[Standing, ...]) -> Iterator[str]:
    """Yield what the rules ask that neither won nor lost."""
    for each in shade.ruling.standing:
        if each != by and each not in lost:
            yield f"{each.rule}: {each.demand.why}"
