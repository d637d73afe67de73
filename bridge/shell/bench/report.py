"""The table, with the goals beside what was measured, and the same as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Any

from bridge.shell.bench.patterns import PATTERNS, Found

TITLES = {
    "load": "steady stream",
    "lone": "alone after 1 s of silence",
    "group": "group of 8, to its last order",
}
ECHO, OWN_ECHO, ALONE = "bare echo", "echo, our client", "broker alone"
MEMORY, DISK = "hembar", "hembar, on disk"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """Everything of one run; times in seconds."""

    broker: str
    disk: str
    apart: bool
    found: dict[str, Found]
    bare_flush_s: Sequence[float]
    report_s: Sequence[float]
    idle_mb: float
    idle_cpu: float
    idle_shades: int
    ready_s: Sequence[float]
    ready_shades: int
    status_s: Sequence[float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Goal:
    """A figure beside what it should be; the second bound is where it should get in the end."""

    what: str
    value: float
    unit: str
    within: float
    later: float
    at_least: bool = False

    def verdict(self) -> str:
        """Say which bound holds."""
        sign = -1 if self.at_least else 1
        if sign * self.value <= sign * self.later:
            return "both hold"
        return "first holds" if sign * self.value <= sign * self.within else "MISSED"


def at(share: float, values: Sequence[float]) -> float:
    """Return a percentile, nearest rank: `at(0.99, …)` of fewer than 100 values is the greatest."""
    ordered = sorted(values)
    return ordered[max(0, ceil(share * len(ordered)) - 1)]


def goals(measured: Measured) -> list[Goal]:
    """Return every goal with its figure."""
    echo, ours = measured.found[ECHO], measured.found[MEMORY]
    each = [
        Goal(
            what=f"p99, {TITLES[pattern]}",
            value=at(0.99, _of(ours, pattern)) / at(0.99, _of(echo, pattern)),
            unit="x echo",
            within=2.0,
            later=1.5,
        )
        for pattern in PATTERNS
    ]
    through = at(0.5, echo.stream_s) / at(0.5, ours.stream_s)
    return [
        *each,
        Goal(what="throughput", value=through, unit="x echo", within=0.5, later=0.7, at_least=True),
        Goal(
            what=f"memory, idle, {measured.idle_shades} shades",
            value=measured.idle_mb,
            unit="MB",
            within=60,
            later=45,
        ),
        Goal(
            what=f"processor, idle, {measured.idle_shades} shades",
            value=100 * measured.idle_cpu,
            unit="% of a core",
            within=1.0,
            later=0.3,
        ),
        Goal(
            what=f"start to READY, {measured.ready_shades} shades",
            value=at(0.5, measured.ready_s),
            unit="s",
            within=2.0,
            later=1.0,
        ),
        Goal(what="hembar status", value=at(0.5, measured.status_s), unit="s", within=1.0, later=0.4),
    ]


def document(measured: Measured) -> dict[str, Any]:
    """Return the run as one JSON object; milliseconds, a second, MB."""
    return {
        "broker": measured.broker,
        "disk": measured.disk,
        "without_flush": measured.apart,
        "ways": {name: _way(found) for name, found in measured.found.items()},
        "bare_flush_ms": _pair(measured.bare_flush_s),
        "report_ms": _pair(measured.report_s),
        "goals": [
            {
                "what": goal.what,
                "value": round(goal.value, 3),
                "unit": goal.unit,
                "goal": goal.within,
                "later": goal.later,
                "verdict": goal.verdict(),
            }
            for goal in goals(measured)
        ],
    }


def table(measured: Measured) -> str:
    """Return the run for people."""
    lines = [f"broker: {measured.broker}, untouched defaults; times in ms from request to answer", ""]
    lines.append(
        f"{'':<18}"
        + "".join(f"{TITLES[pattern]:>32}" for pattern in PATTERNS)
        + f"{'a second':>12}{'all told':>12}"
    )
    lines.append(f"{'':<18}" + f"{'p50':>22}{'p99':>10}" * len(PATTERNS))
    for name, found in measured.found.items():
        cells = "".join(
            f"{1e3 * at(0.5, _of(found, pattern)):>22.2f}{1e3 * at(0.99, _of(found, pattern)):>10.2f}"
            for pattern in PATTERNS
        )
        lines.append(
            f"{name:<18}{cells}{1 / at(0.5, found.stream_s):>12.0f}{1 / at(0.5, found.told_s):>12.0f}"
        )
    lines += ["", f"`{ECHO}`: aiomqtt, tuned; `{OWN_ECHO}`: on the connections that hembar uses"]
    lines += [*_flushes(measured), *_goal_lines(measured)]
    return "\n".join(lines)


def _flushes(measured: Measured) -> list[str]:
    p50, p99 = (1e3 * at(share, measured.bare_flush_s) for share in (0.5, 0.99))
    ours, on_disk = measured.found[MEMORY], measured.found[DISK]
    added = 1e3 * (at(0.5, on_disk.lone_s) - at(0.5, ours.lone_s))
    where = (
        "in memory" if measured.apart else f"on {measured.disk} too: this machine has no memory file system"
    )
    return [
        f"journal of `{MEMORY}`: {where}; of `{DISK}`: on {measured.disk}",
        f"bare flush of 12 KiB on {measured.disk}: p50 {p50:.2f} ms, p99 {p99:.2f} ms",
        f"the disk adds {added:.2f} ms to a request alone (p50)",
        f"a report of a board, taken in and shown: {1e3 * at(0.5, measured.report_s):.2f} ms in a stream",
        "",
    ]


def _goal_lines(measured: Measured) -> list[str]:
    lines = [f"{'':<40}{'measured':>10}{'goal':>10}{'later':>10}"]
    for goal in goals(measured):
        sign = ">=" if goal.at_least else "<="
        bounds = f"{sign + f' {goal.within:g}':>10}{sign + f' {goal.later:g}':>10}"
        lines.append(f"{goal.what:<40}{goal.value:>10.2f}{bounds}  {goal.unit:<12} {goal.verdict()}")
    return lines


def _way(found: Found) -> dict[str, Any]:
    return {
        **{f"{pattern}_ms": _pair(_of(found, pattern)) for pattern in PATTERNS},
        "a_second": round(1 / at(0.5, found.stream_s)),
        "a_second_all_told": round(1 / at(0.5, found.told_s)),
    }


def _pair(values: Sequence[float]) -> dict[str, float]:
    return {"p50": round(1e3 * at(0.5, values), 3), "p99": round(1e3 * at(0.99, values), 3)}


def _of(found: Found, pattern: str) -> Sequence[float]:
    return {"load": found.load_s, "lone": found.lone_s, "group": found.group_s}[pattern]
