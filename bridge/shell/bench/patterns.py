"""The three patterns, asked of every way in turn, so that a busy moment of the machine hits all alike."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import count

from bridge.shell.bench.lanes import Way
from bridge.shell.bench.meter import Meter

WINDOW = 8
GROUP = 8
SILENCE_S = 1.0
# The bridge sends one shade at most four orders a second.
APART_S = 0.3
PATTERNS = ("load", "lone", "group")


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """How much is measured."""

    lanes: int
    load_rounds: int
    groups: int
    lone: int
    idle_s: float
    starts: int


FULL = Size(lanes=100, load_rounds=25, groups=60, lone=40, idle_s=35.0, starts=5)
QUICK = Size(lanes=100, load_rounds=4, groups=8, lone=4, idle_s=4.0, starts=1)


@dataclass
class Found:
    """What one way took, in seconds.

    Attributes:
        load_s: Each request of the steady stream.
        lone_s: Each request after a second of silence.
        group_s: Each group, from its first request to its last answer.
        stream_s: Each round of the steady stream as a whole, per request.
        told_s: The same, until everything about it was shown to everybody.
    """

    load_s: list[float] = field(default_factory=list)
    lone_s: list[float] = field(default_factory=list)
    group_s: list[float] = field(default_factory=list)
    stream_s: list[float] = field(default_factory=list)
    told_s: list[float] = field(default_factory=list)


def measure(ways: Sequence[Way], meter: Meter, size: Size, between: Callable[[], None]) -> dict[str, Found]:
    """Ask every way in all three patterns; `between` is called once a round."""
    found = {way.name: Found() for way in ways}
    values = _values()
    for way in ways:  # once unmeasured: the first round pays for what is made when it is first needed
        _group(way, meter, range(size.lanes), next(values))
    for _ in range(size.load_rounds):
        meter.rest(APART_S)
        between()
        for way in ways:
            _stream(way, meter, size.lanes, next(values), found[way.name])
    for _ in range(size.groups):
        meter.rest(APART_S)
        for way in ways:
            found[way.name].group_s.append(_group(way, meter, range(GROUP), next(values)))
    for _ in range(size.lone):
        meter.rest(SILENCE_S)
        for way in ways:
            found[way.name].lone_s.append(_group(way, meter, range(1), next(values)))
    return found


def _values() -> Iterator[int]:
    """Percents of which no two of one way are alike one after the other."""
    return (20 + 7 * number % 61 for number in count())


def _group(way: Way, meter: Meter, lanes: range, value: int) -> float:
    way.answered.clear()
    began_s = min([way.ask(lane, value) for lane in lanes])
    meter.until(lambda: len(way.answered) == len(lanes), f"{way.name}: {len(lanes)} answers")
    took_s = max(way.answered.values()) - began_s
    way.settle()
    return took_s


def _stream(way: Way, meter: Meter, lanes: int, value: int, found: Found) -> None:
    """Ask lane after lane, with at most `WINDOW` requests not yet answered."""
    way.answered.clear()
    asked: dict[int, float] = {}
    for lane in range(lanes):
        meter.until(lambda: len(asked) - len(way.answered) < WINDOW, f"{way.name}: an answer")
        asked[lane] = way.ask(lane, value)
    meter.until(lambda: len(way.answered) == lanes, f"{way.name}: {lanes} answers")
    found.load_s += [way.answered[lane] - at_s for lane, at_s in asked.items()]
    found.stream_s.append((max(way.answered.values()) - asked[0]) / lanes)
    way.fence()
    found.told_s.append((time.perf_counter() - asked[0]) / lanes)
    way.settle()
