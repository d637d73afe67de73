"""One process with thousands of shades: what each costs it, beside a small house.

The broker, the bridge and its journal are real; the boards are pretended by this process, a hundred to a
client. All shades hang outside and are raised by one gust, four of the eight on each supply at a time.
"""

from __future__ import annotations

import json
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path

from bridge.adapters.broker.embedded import Embedded
from bridge.shell.bench import machine
from bridge.shell.bench.crowd import TRAVEL_S, Crowd, gathered
from bridge.shell.bench.house import Running, bridge, places, settings_text

SIZES, QUICK = (50, 500, 5000), (50, 500)
ON_A_SUPPLY, AT_ONCE = 8, 4
NAME = "bench-scale"
# In the steady state each shade reports, and is asked, once in so many seconds.
REPORT_EVERY_S, ASK_EVERY_S = 10.0, 100.0
QUIET_S = 5.0
# So many are lowered at a time before the gust: people do not lower a whole building at once.
UNDER_WAY = 200
# By itself Mosquitto lets 1,000 messages wait for a client; a large house has more to say at once.
OPTIONS = "max_queued_messages 0\n"

_WIND = """
[sensors.roof-gust]
kind = "gust"
topic = "{name}/gust"
stale_s = 3600

[[rule]]
rule = "wind"
shades = "exterior"
gust_limit_mps = 10.0
calm_min = 1
"""

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """What one part of the story took.

    Attributes:
        took_s: By the clock.
        cpu_s: Of the bridge's processor time.
    """

    took_s: float
    cpu_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Scaled:
    """What a house of one size took.

    Attributes:
        shades: How many.
        ready: From the start of the process to READY.
        met: From READY until every board, up already, had answered, and all of it was decided.
        idle_share: Of a processor, while nothing happens.
        reports: How many, spread over the steady state.
        report_cpu_s: Processor time a report, without what idling takes.
        asks: Requests, spread like them.
        ask_cpu_s: The same of a request, its order and the two reports that follow.
        first_s: From the gust to the first order.
        ordered_s: From the gust to the last one.
        gust: From the gust until all were up and all of it was decided.
        again: From the broker's end until every board had answered again, and all of it was decided.
        memory_mb: Resident, at the end.
    """

    shades: int
    ready: Part
    met: Part
    idle_share: float
    reports: int
    report_cpu_s: float
    asks: int
    ask_cpu_s: float
    first_s: float
    ordered_s: float
    gust: Part
    again: Part
    memory_mb: float


class _Watch:
    """Clock and processor time of a bridge since a moment."""

    def __init__(self, pid: int) -> None:
        self._pid, self._began_s, self._cpu_s = pid, time.perf_counter(), machine.cpu_s(pid)

    def part(self) -> Part:
        return Part(took_s=time.perf_counter() - self._began_s, cpu_s=machine.cpu_s(self._pid) - self._cpu_s)


def run(sizes: tuple[int, ...], seconds: float, say: Say) -> list[Scaled]:
    """Measure a house of each size, the steady state for so many seconds.

    Raises:
        LinkError: no Mosquitto, or something did not answer.
    """
    found = []
    for size in sizes:
        found.append(_measured(size, seconds, say))
        say(json.dumps(asdict(found[-1])))
    return found


def _measured(shades: int, seconds: float, say: Say) -> Scaled:
    say(f"{shades} shades: start")
    with (
        tempfile.TemporaryDirectory(prefix="hembar-scale-") as place,
        Embedded("mosquitto", options=OPTIONS) as broker,
        gathered(broker.host, broker.port, NAME, places(shades)) as crowd,
    ):
        crowd.come(powered=True)
        folder, host, port = Path(place), broker.host, broker.port
        with bridge(
            NAME, shades, folder, state=folder / "state", host=host, port=port, text=_settings
        ) as running:
            ready = Part(took_s=running.ready_s, cpu_s=machine.cpu_s(running.pid))
            met = _met(crowd, running)
            _confirmed(crowd, running)
            say(f"{shades} shades: steady state")
            idle_share = _idle(crowd, running)
            report_cpu_s, reports = _steadily(crowd, running, seconds, idle_share, REPORT_EVERY_S, _report)
            ask_cpu_s, asks = _steadily(crowd, running, seconds, idle_share, ASK_EVERY_S, _ask)
            say(f"{shades} shades: a gust")
            first_s, ordered_s, gust = _gust(crowd, running)
            say(f"{shades} shades: the broker starts anew")
            watch = _Watch(running.pid)
            crowd.leave()
            broker.restart()
            crowd.come(powered=False)
            _met(crowd, running)
            return Scaled(
                shades=shades,
                ready=ready,
                met=met,
                idle_share=idle_share,
                reports=reports,
                report_cpu_s=report_cpu_s,
                asks=asks,
                ask_cpu_s=ask_cpu_s,
                first_s=first_s,
                ordered_s=ordered_s,
                gust=gust,
                again=watch.part(),
                memory_mb=machine.resident_mb(running.pid),
            )


def _settings(name: str, shades: int, *, host: str, port: int) -> str:
    """Return the settings of a house whose shades hang outside, eight to a supply, and mind the wind."""
    text = settings_text(name, shades, host=host, port=port).replace('"interior"', '"exterior"')
    for number, place in enumerate(places(shades)):
        text += f'\n[shades.{place.shade}.power]\nsupply = "p{number // ON_A_SUPPLY}"\nmoving_a = 1.0\n'
    supplies = range(-(-shades // ON_A_SUPPLY))
    text += "".join(f"\n[supplies.p{number}]\namps = {AT_ONCE}.0\n" for number in supplies)
    return text + _WIND.format(name=name)


def _met(crowd: Crowd, running: Running) -> Part:
    watch = _Watch(running.pid)
    crowd.until(lambda: len(crowd.told) == running.shades, "every board to be asked")
    crowd.fence()
    return watch.part()


def _confirmed(crowd: Crowd, running: Running) -> None:
    """Confirm every shade at its upper limit, then have it lowered to half while the wind is calm."""
    crowd.say(f"{NAME}/gust", b"3.0")
    for each in places(running.shades):
        crowd.say(_topic(each.shade, "knowledge/confirm"), b"upper")
    crowd.until(lambda: len(crowd.known) == running.shades, "every position to be known")
    crowd.fence()


def _idle(crowd: Crowd, running: Running) -> float:
    crowd.live(QUIET_S)
    watch = _Watch(running.pid)
    crowd.live(QUIET_S)
    part = watch.part()
    return part.cpu_s / part.took_s


def _steadily(
    crowd: Crowd,
    running: Running,
    seconds: float,
    idle_share: float,
    every_s: float,
    act: Callable[[Crowd, int, int], None],
) -> tuple[float, int]:
    """Let every shade act once in `every_s`, evenly spread; return processor time an act, and how many."""
    count = max(1, round(running.shades * seconds / every_s))
    watch, began_s = _Watch(running.pid), time.perf_counter()
    for number in range(count):
        crowd.live(max(0.0, began_s + number * seconds / count - time.perf_counter()))
        act(crowd, number % running.shades, number)
    crowd.live(TRAVEL_S + 0.5)
    crowd.fence()
    part = watch.part()
    return (part.cpu_s - idle_share * part.took_s) / count, count


def _report(crowd: Crowd, shade: int, _number: int) -> None:
    crowd.report(shade)


def _ask(crowd: Crowd, shade: int, number: int) -> None:
    # Another place than that of the last round, if there is one.
    percent = 40 + 20 * (number // len(crowd.channels) % 2)
    crowd.say(_topic(places(shade + 1)[-1].shade, "opening/position"), b"%d" % percent)


def _gust(crowd: Crowd, running: Running) -> tuple[float, float, Part]:
    """Lower everything, then let a gust come; return first order, last order, and all of it."""
    before = crowd.arrived
    for number, each in enumerate(places(running.shades)):
        crowd.until(partial(_is_past, crowd, before + number - UNDER_WAY), "shades to be lowered")
        crowd.say(_topic(each.shade, "opening/position"), b"50")
    crowd.until(lambda: crowd.arrived - before >= running.shades, "every shade to be lowered")
    crowd.fence()
    crowd.going.clear()
    watch, before = _Watch(running.pid), crowd.arrived
    began_s = crowd.say(f"{NAME}/gust", b"20.0")
    crowd.until(lambda: crowd.arrived - before >= running.shades, "every shade to be raised")
    crowd.fence()
    ordered = crowd.going.values()
    return min(ordered) - began_s, max(ordered) - began_s, watch.part()


def _is_past(crowd: Crowd, arrived: int) -> bool:
    """Say whether more than so many have arrived."""
    return crowd.arrived > arrived


def _topic(shade: str, levels: str) -> str:
    return f"homie/5/{NAME}-{shade}/{levels}/set"


def document(found: list[Scaled]) -> list[dict[str, object]]:
    """Return the figures for programs."""
    return [asdict(each) for each in found]


# What each row is called, its unit, what it is of a house, and whether it is shared out among the shades.
_ROWS: tuple[tuple[str, str, Callable[[Scaled], float], bool], ...] = (
    ("start to READY, by the clock", "s", lambda each: each.ready.took_s, False),
    ("start to READY, processor a shade", "ms", lambda each: 1e3 * each.ready.cpu_s, True),
    ("READY to all boards met, by the clock", "s", lambda each: each.met.took_s, False),
    ("READY to all boards met, processor a shade", "ms", lambda each: 1e3 * each.met.cpu_s, True),
    ("idle, share of a processor", "%", lambda each: 100 * each.idle_share, False),
    ("a report, processor", "ms", lambda each: 1e3 * each.report_cpu_s, False),
    ("a request and its move, processor", "ms", lambda each: 1e3 * each.ask_cpu_s, False),
    ("gust to first order", "s", lambda each: each.first_s, False),
    ("gust to last order, two moves of 2 s each", "s", lambda each: each.ordered_s, False),
    ("gust to all up, by the clock", "s", lambda each: each.gust.took_s, False),
    ("gust to all up, processor a shade", "ms", lambda each: 1e3 * each.gust.cpu_s, True),
    ("broker restart to all met, by the clock", "s", lambda each: each.again.took_s, False),
    ("broker restart to all met, processor a shade", "ms", lambda each: 1e3 * each.again.cpu_s, True),
    ("memory", "MB", lambda each: each.memory_mb, False),
)


def table(found: list[Scaled]) -> str:
    """Return the figures for people: one column for each size, and the last beside the first."""
    sizes = "".join(f"{each.shades:>10}" for each in found)
    lines = [f"{'shades':<52}{sizes}{'ratio':>9}"]
    for title, unit, of, shared in _ROWS:
        values = [of(each) / (each.shades if shared else 1) for each in found]
        said = "".join(f"{value:>10.3f}" for value in values)
        lines.append(f"{title + ', ' + unit:<52}{said}{values[-1] / values[0]:>9.2f}")
    return "\n".join(lines)
