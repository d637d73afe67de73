"""What becomes of a sensor's readings over time: plausible, stuck, silent, lost.

A reading counts only while it is fresh and plausible; what does not is None with a sentence for people, never
a number. Ages are told by the events' own times. What a reading is used for is not known here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import isfinite

from bridge.core.replacing import replace
from bridge.core.rules.view import Peak, Readings
from bridge.core.surroundings import Sensor, SensorId
from bridge.core.values import Moment, ShadeId

# A reading without news is written down again this many times within its age limit.
REFRESHES = 4
PEAKS_MAX = 32
# Longer than any rule looks back.
PEAKS_KEPT = timedelta(hours=72)
# A jump is judged over a minute at least: sensors speak more often than their noise allows.
JUDGED_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """The highest reading since `at`."""

    at: datetime
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What is held of one sensor.

    Attributes:
        value: The last good reading; None before the first in this session and while something is wrong.
        good_s: When that came, monotonic; None before the first in this session.
        since_s: Since when this session has waited for good readings, or had them without a break; None
            while there is no session.
        last: The last number that came, good or not; None before the first.
        last_s: When it came.
        changed_s: When the number last changed.
        fault: What is wrong, for people; "" when nothing.
        lost: Nothing good has come for longer than it may.
        marks: The highest readings, from old to new, each higher than all after it.
    """

    value: float | None = None
    good_s: float | None = None
    since_s: float | None = None
    last: float | None = None
    last_s: float = 0.0
    changed_s: float = 0.0
    fault: str = ""
    lost: bool = False
    marks: tuple[Mark, ...] = ()


def session_began(reading: Reading, now_s: float) -> Reading:
    """Return the reading at the start of a session: what was heard before is of unknown age."""
    return Reading(since_s=now_s, changed_s=now_s, marks=reading.marks)


def session_ended(reading: Reading) -> Reading:
    """Return the reading once nothing can be heard; only the past is kept."""
    return Reading(marks=reading.marks)


def clock_set(reading: Reading, by: timedelta, now: datetime) -> Reading:
    """Return the reading after the wall clock was set: what has been is as long ago as before.

    Args:
        reading: So far.
        by: How far the clock was set on; negative when it was set back, 0 when nobody can tell.
        now: What it says now; nothing has been later.
    """
    marks = tuple(replace(mark, at=min(mark.at + by, now)) for mark in reading.marks)
    return reading if marks == reading.marks else replace(reading, marks=marks)


def heard(sensor: Sensor, reading: Reading, value: float | None, problem: str, at: Moment) -> Reading:
    """Return the reading after a message; `reading` itself when it was no news.

    Args:
        sensor: Whose.
        reading: So far.
        value: In the kind's unit; None when the message held none.
        problem: Why there is none.
        at: When.
    """
    if value is None or not isfinite(value):
        return _faulty(reading, problem or "it is not a number")
    if not sensor.low <= value <= sensor.high:
        return _faulty(reading, f"{value:g} is not plausible: {sensor.low:g} to {sensor.high:g} are")
    changed_s = at.mono_s if value != reading.last else reading.changed_s
    jump = _jump(sensor, reading, value, at.mono_s)
    if jump:
        # A second message from there is believed: then it was no slip of the sensor.
        return replace(_faulty(reading, jump), last=value, last_s=at.mono_s, changed_s=changed_s)
    if _is_stuck(sensor, value, at.mono_s - changed_s):
        return aged(sensor, reading, at.mono_s)
    if _is_no_news(sensor, reading, value, at.mono_s):
        return reading
    unbroken = reading.good_s is not None and not reading.lost
    return replace(
        reading,
        value=value,
        good_s=at.mono_s,
        since_s=reading.since_s if unbroken else at.mono_s,
        last=value,
        last_s=at.mono_s,
        changed_s=changed_s,
        fault="",
        lost=False,
        marks=_marked(reading.marks, Mark(at=at.utc, value=value)),
    )


def aged(sensor: Sensor, reading: Reading, now_s: float) -> Reading:
    """Return the reading as time has left it; `reading` itself when it is none the worse."""
    if reading.since_s is None or reading.lost:
        return reading
    if reading.value is not None and _is_stuck(sensor, reading.value, now_s - reading.changed_s):
        hours = (now_s - reading.changed_s) / 3600
        fault = f"it has said exactly {reading.value:g} for {hours:.0f} h, so it is stuck"
        return replace(reading, value=None, fault=fault, lost=True)
    heard_s = reading.since_s if reading.good_s is None else reading.good_s
    if now_s - heard_s < sensor.stale_s:
        return reading
    fault = reading.fault or f"nothing came from it for {sensor.stale_s:.0f} s"
    return replace(reading, value=None, fault=fault, lost=True)


def due_s(sensor: Sensor, reading: Reading) -> float | None:
    """Return the monotonic second at which it is lost if nothing comes; None when nothing is waited for."""
    if reading.since_s is None or reading.lost:
        return None
    due = (reading.since_s if reading.good_s is None else reading.good_s) + sensor.stale_s
    if sensor.stuck_s is not None and reading.value is not None and reading.value != sensor.rests_at:
        due = min(due, reading.changed_s + sensor.stuck_s)
    return due


def serving(
    sensors: Iterable[Sensor], held: Mapping[SensorId, Reading], shade: ShadeId, at: Moment
) -> Readings:
    """Return what the rules of a shade see of the sensors that serve it.

    Of several sensors of a kind those that name the shade go before those that serve all. Of equals the
    highest reading counts, and one that is lost makes the kind lost.
    """
    values: dict[str, float] = {}
    steady: dict[str, float] = {}
    marks: dict[str, tuple[Mark, ...]] = {}
    lost: set[str] = set()
    unsure: set[str] = set()
    mine = _of_shade(sensors, shade)
    for sensor in mine:
        reading = held.get(sensor.id, Reading())
        if reading.lost:
            lost.add(sensor.kind)
        for mark in reading.marks:
            marks[sensor.kind] = _marked(marks.get(sensor.kind, ()), mark, keep_order=True)
        if reading.value is None or reading.good_s is None or reading.since_s is None:
            unsure.add(sensor.kind)
            continue
        values[sensor.kind] = max(values.get(sensor.kind, reading.value), reading.value)
        age_s = at.mono_s - reading.since_s
        steady[sensor.kind] = min(steady.get(sensor.kind, age_s), age_s)
    return Readings(
        values={kind: value for kind, value in values.items() if kind not in unsure},
        lost=frozenset(lost),
        fitted=frozenset(sensor.kind for sensor in mine),
        peaks={kind: _ages(some, at.utc) for kind, some in marks.items()},
        steady_s={kind: each for kind, each in steady.items() if kind not in unsure},
    )


def _of_shade(sensors: Iterable[Sensor], shade: ShadeId) -> list[Sensor]:
    fitting = [sensor for sensor in sensors if not sensor.shades or shade in sensor.shades]
    own = {sensor.kind for sensor in fitting if sensor.shades}
    return [sensor for sensor in fitting if sensor.shades or sensor.kind not in own]


def _ages(marks: Iterable[Mark], now: datetime) -> tuple[Peak, ...]:
    # A wall clock that was set back makes no reading of the future.
    return tuple(Peak(age_s=max(0.0, (now - mark.at).total_seconds()), value=mark.value) for mark in marks)


def _faulty(reading: Reading, fault: str) -> Reading:
    if reading.value is None and reading.fault == fault:
        return reading
    return replace(reading, value=None, fault=fault)


def _jump(sensor: Sensor, reading: Reading, value: float, now_s: float) -> str:
    if sensor.rate_per_min is None or reading.last is None:
        return ""
    minutes = max(now_s - reading.last_s, JUDGED_S) / 60
    jump = abs(value - reading.last)
    if jump <= sensor.grain + sensor.rate_per_min * minutes:
        return ""
    return f"it jumped from {reading.last:g} to {value:g}; {sensor.rate_per_min:g} a minute are plausible"


def _is_stuck(sensor: Sensor, value: float, same_s: float) -> bool:
    return sensor.stuck_s is not None and value != sensor.rests_at and same_s >= sensor.stuck_s


def _is_no_news(sensor: Sensor, reading: Reading, value: float, now_s: float) -> bool:
    if reading.value is None or reading.good_s is None or reading.lost or reading.fault:
        return False
    return abs(value - reading.value) < sensor.grain and now_s - reading.good_s < sensor.stale_s / REFRESHES


def _marked(marks: tuple[Mark, ...], new: Mark, *, keep_order: bool = False) -> tuple[Mark, ...]:
    """Return the marks with a new one: bounded, and never lower or shorter than what has been."""
    ordered = sorted((*marks, new), key=lambda mark: mark.at) if keep_order else (*marks, new)
    found: list[Mark] = []
    for mark in ordered:
        while found and found[-1].value <= mark.value:
            found.pop()
        found.append(mark)
    newest = ordered[-1].at
    found = [mark for mark in found if newest - mark.at <= PEAKS_KEPT]
    while len(found) > PEAKS_MAX:
        near = min(range(len(found) - 1), key=lambda at: found[at + 1].at - found[at].at)
        found[near : near + 2] = [replace(found[near + 1], value=found[near].value)]
    return tuple(found)
