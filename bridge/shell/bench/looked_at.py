"""What it costs a request that twenty browsers look at fifty windows, and how soon they see a report.

Two bridges with a page on one broker, asked the same in turn; only at the page of the second somebody looks.
"""

from __future__ import annotations

import contextlib
import json
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bridge.adapters.broker.embedded import Embedded
from bridge.core.errors import LinkError
from bridge.shell.bench import browsers, meter
from bridge.shell.bench.house import bridge, places
from bridge.shell.bench.lanes import Bridged
from bridge.shell.bench.meter import Meter
from bridge.shell.bench.patterns import PATTERNS, Found, Size, measure
from bridge.shell.bench.report import TITLES, at

WINDOWS, BROWSERS = 50, 20
NOBODY, LOOKED_AT = "nobody looks", f"{BROWSERS} browsers look"
# Of each turn; in every second one the bridge that is looked at is asked first.
FULL = Size(lanes=WINDOWS, load_rounds=8, groups=40, lone=5, idle_s=0, starts=0)
QUICK = Size(lanes=WINDOWS, load_rounds=2, groups=10, lone=1, idle_s=0, starts=0)
TURNS = 6
# Above all that the patterns ask for: to stay where it is a shade needs no order.
ELSEWHERE = 85
REPORTS, QUIET_S, PUSHED_WITHIN_S = 20, 0.4, 0.4
SETTLED_S = 3.0
BOUND = 1.5
_WINDOW = """
[shades.{shade}.window]
facade_azimuth_deg = {azimuth}
sill_m = 0.8
head_m = 2.4
"""

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """Everything of one run; times in seconds."""

    found: dict[str, Found]
    push_s: list[float]


def run(*, quick: bool, say: Say) -> Looked:
    """Measure.

    Raises:
        LinkError: no broker, or something did not answer.
    """
    with (
        tempfile.TemporaryDirectory(prefix="hembar-bench-") as name,
        Embedded() as broker,
        meter.opened(broker.host, broker.port) as client,
    ):
        say(f"broker: {broker.name}; {WINDOWS} windows, {BROWSERS} browsers")
        folder, ports = Path(name), (_free_port(), _free_port())
        with contextlib.ExitStack() as stack:
            ways = []
            for number, (title, port) in enumerate(zip((NOBODY, LOOKED_AT), ports, strict=True)):
                named = f"bench-p{number}"
                running = stack.enter_context(
                    bridge(
                        named, WINDOWS, folder, state=folder / named, host=broker.host, port=broker.port,
                        more=_page(port),
                    )
                )  # fmt: skip
                ways.append(Bridged(title, client, running))
                ways[-1].power_up()
            with _looking(ports[1]) as process:
                client.rest(SETTLED_S)
                say("requests")
                found = _in_turns(ways, client, QUICK if quick else FULL)
                say("pushes")
                reported = [_report(ways[1], client, lane) for lane in range(REPORTS)]
                client.rest(QUIET_S)
                seen = _seen(process)
        return Looked(found=found, push_s=_pushes(reported, seen))


def _in_turns(ways: list[Bridged], client: Meter, size: Size) -> dict[str, Found]:
    """Measure with either first in turn: who is asked second finds the machine busy with the first."""
    found = {way.name: Found() for way in ways}
    for turn in range(TURNS):
        for name, each in measure(ways if turn % 2 else ways[::-1], client, size, lambda: None).items():
            found[name].load_s += each.load_s
            found[name].lone_s += each.lone_s
            found[name].group_s += each.group_s
    return found


def _page(port: int) -> str:
    windows = (
        _WINDOW.format(shade=each.shade, azimuth=7 * number) for number, each in enumerate(places(WINDOWS))
    )
    return f"[page]\nport = {port}\n" + "".join(windows)


def _report(way: Bridged, client: Meter, lane: int) -> float:
    """Let one board report in a quiet moment; return when the report left."""
    way.answered.clear()
    way.ask(lane, ELSEWHERE + lane % 10)
    client.until(lambda: lane in way.answered, "an order")
    way.fence()
    client.rest(QUIET_S)
    left_s = time.perf_counter()
    way.arrive()
    return left_s


def _pushes(reported: list[float], seen: list[tuple[float, int]]) -> list[float]:
    """Return for each report how long it took to each browser."""
    found: list[float] = []
    for left_s in reported:
        first: dict[int, float] = {}
        for at_s, number in seen:
            if left_s <= at_s <= left_s + PUSHED_WITHIN_S:
                first.setdefault(number, at_s - left_s)
        if len(first) < BROWSERS:
            raise LinkError(
                where="bench",
                problem=f"a report came to {len(first)} of {BROWSERS} browsers",
                remedy="run the bench again on a calmer machine",
            )
        found += first.values()
    return found


@contextlib.contextmanager
def _looking(port: int) -> Iterator[subprocess.Popen[str]]:
    words = [sys.executable, "-m", browsers.__name__, str(port), str(BROWSERS)]
    process = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)  # noqa: S603  our own words
    try:
        assert process.stdout is not None
        if process.stdout.readline() != "ready\n":
            raise LinkError(where="bench", problem="the page did not open", remedy="try `hembar demo` first")
        yield process
    finally:
        process.kill()
        process.wait()


def _seen(process: subprocess.Popen[str]) -> list[tuple[float, int]]:
    said, _ = process.communicate(timeout=10)
    return [(at_s, number) for at_s, number in json.loads(said)]


def _free_port() -> int:
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        return int(trial.getsockname()[1])


def document(looked: Looked) -> dict[str, Any]:
    """Return the figures as JSON values, times in milliseconds."""
    rows = {
        pattern: {name: _figures(getattr(found, f"{pattern}_s")) for name, found in looked.found.items()}
        for pattern in PATTERNS
    }
    ratios = {pattern: _ratio(looked, pattern) for pattern in PATTERNS}
    return {"requests": rows, "p99_ratio": ratios, "bound": BOUND, "push": _figures(looked.push_s)}


def table(looked: Looked) -> str:
    """Return the figures for people."""
    lines = [f"from a request to its order, ms{'':11}p50{'':6}p99{'':4}requests"]
    for pattern in PATTERNS:
        lines.append(f"  {TITLES[pattern]}")
        for name, found in looked.found.items():
            said = _figures(getattr(found, f"{pattern}_s"))
            lines.append(f"    {name:<26}{said['p50_ms']:>9.2f}{said['p99_ms']:>9.2f}{said['of']:>12}")
        ratio = _ratio(looked, pattern)
        if ratio is not None:
            lines.append(f"    {'p99 beside':<26}{'':>9}{ratio:>9.2f}  (at most {BOUND})")
    push = _figures(looked.push_s)
    lines.append(f"from a report to a browser, ms: p50 {push['p50_ms']:.1f}, p99 {push['p99_ms']:.1f}")
    return "\n".join(lines)


def _ratio(looked: Looked, pattern: str) -> float | None:
    """Return p99 beside p99; None where too few requests were made for one that is not the greatest."""
    without, beside = (getattr(looked.found[name], f"{pattern}_s") for name in (NOBODY, LOOKED_AT))
    if len(without) < 100:
        return None
    return round(at(0.99, beside) / at(0.99, without), 3)


def _figures(values: list[float]) -> dict[str, float]:
    return {
        "p50_ms": round(at(0.5, values) * 1000, 3),
        "p99_ms": round(at(0.99, values) * 1000, 3),
        "of": len(values),
    }
