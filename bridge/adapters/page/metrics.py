"""What can be measured, in the text format that Prometheus scrapes (version 0.0.4).

Names by its conventions: base units, `_total` for what only grows, `_ratio` for 0 to 1.
Source: Prometheus documentation, "Exposition formats" and "Metric and label naming".
"""

from __future__ import annotations

import os
import resource
import time
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from bridge import __version__
from bridge.adapters.page.home import Home
from bridge.core.outlook import BoardState, ShadeOutlook, shade_outlook
from bridge.core.overview import bridge_outlook
from bridge.core.position.estimate import Grade
from bridge.core.state import House
from bridge.core.values import ShadeId

Labels = Mapping[str, str]
Samples = Iterable[tuple[Labels, float]]
_NO_LABELS: Labels = {}


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What the page's server has counted of itself.

    Attributes:
        answered: Answers by status.
        refused: Refusals by word.
        connections: Open now.
        turned_away: Closed at once because there were too many.
        too_slow: Ended because they were too slow.
        malformed: Answered because they sent no HTTP.
        streams: Event streams that are open.
    """

    answered: Mapping[int, int]
    refused: Mapping[str, int]
    connections: int
    turned_away: int
    too_slow: int
    malformed: int
    streams: int


def metrics_text(home: Home, page: Measured) -> str:
    """Return every metric."""
    house, lines = home.house(), _Lines()
    lines.gauge("hembar_info", "The bridge that runs.", [({"version": __version__}, 1)])
    _house(lines, house)
    _shades(lines, [shade_outlook(house, each) for each in house.shades.values()], house)
    _counted(lines, home.counted())
    _page(lines, page)
    _process(lines)
    return lines.text()


class _Lines:
    def __init__(self) -> None:
        self._lines: list[str] = []

    def gauge(self, name: str, told: str, samples: Samples) -> None:
        self._add(name, "gauge", told, samples)

    def counter(self, name: str, told: str, samples: Samples) -> None:
        self._add(name, "counter", told, samples)

    def text(self) -> str:
        return "\n".join(self._lines) + "\n"

    def _add(self, name: str, kind: str, told: str, samples: Samples) -> None:
        self._lines += [f"# HELP {name} {told}", f"# TYPE {name} {kind}"]
        for labels, value in samples:
            pairs = ",".join(f'{key}="{_escaped(said)}"' for key, said in labels.items())
            self._lines.append(f"{name}{{{pairs}}} {value!r}" if pairs else f"{name} {value!r}")


def _escaped(text: str) -> str:
    return text.replace("\\", r"\\").replace('"', r"\"").replace("\n", r"\n")


def _house(lines: _Lines, house: House) -> None:
    outlook = bridge_outlook(house)
    flags = {
        "hembar_broker_up": ("The session with the broker stands.", house.broker_up),
        "hembar_rules_paused": ("The rules rest until somebody ends that.", outlook.paused),
        "hembar_service_locked": ("The service lock is on: no order leaves.", outlook.locked),
        "hembar_in_charge": ("No other bridge has claimed the house.", outlook.in_charge),
    }
    for name, (told, value) in flags.items():
        lines.gauge(name, told, [(_NO_LABELS, int(value))])
    lines.gauge("hembar_alerts", "Alerts of the bridge itself.", [(_NO_LABELS, len(outlook.alerts))])


def _shades(lines: _Lines, outlooks: list[ShadeOutlook], house: House) -> None:
    def each(value: Mapping[ShadeId, float] | Mapping[ShadeId, int]) -> Samples:
        return [({"shade": name}, said) for name, said in value.items()]

    known = {one.id: one.position_pct / 100 for one in outlooks if one.position_pct is not None}
    lines.gauge("hembar_shade_open_ratio", "How far a shade is open, 1 at the upper limit.", each(known))
    targets = {one.id: one.target_pct / 100 for one in outlooks if one.target_pct is not None}
    lines.gauge("hembar_shade_target_ratio", "The last target accepted.", each(targets))
    widths = {one.id: one.width_mm / 1000 for one in outlooks}
    lines.gauge("hembar_shade_width_meters", "To what the place of a hem bar is known.", each(widths))
    lines.gauge(
        "hembar_shade_grade",
        "How well a shade's position is known; 1 for the grade that it has.",
        [
            ({"shade": one.id, "grade": grade.value}, int(one.grade is grade))
            for one in outlooks
            for grade in Grade
        ],
    )
    up = {one.id: int(one.board is BoardState.UP) for one in outlooks}
    lines.gauge("hembar_shade_board_up", "The shade's board answers.", each(up))
    moving = {one.id: int(one.motion.value != "still") for one in outlooks}
    lines.gauge("hembar_shade_moving", "The shade moves.", each(moving))
    held = {one.id: int(one.until is not None) for one in outlooks}
    lines.gauge("hembar_shade_held", "A person's request holds the shade.", each(held))
    alerts = {one.id: len(one.alerts) for one in outlooks}
    lines.gauge("hembar_shade_alerts", "What a person must do about the shade.", each(alerts))
    moves = {name: shade.knowledge.moves for name, shade in house.shades.items()}
    lines.counter("hembar_shade_moves_total", "Moves in the life of the shade.", each(moves))


def _counted(lines: _Lines, counted: Mapping[str, Mapping[str, int]]) -> None:
    told = {
        "events": ("hembar_events_total", "Events decided upon in this run.", "kind"),
        "orders": ("hembar_orders_total", "Orders sent in this run.", "do"),
        "requests": ("hembar_requests_total", "Requests that have ended in this run.", "fate"),
    }
    for what, (name, text, label) in told.items():
        lines.counter(name, text, [({label: kind}, n) for kind, n in sorted(counted.get(what, {}).items())])


def _page(lines: _Lines, page: Measured) -> None:
    lines.counter(
        "hembar_page_answers_total",
        "Answers of the page's server.",
        [({"status": str(status)}, n) for status, n in sorted(page.answered.items())],
    )
    lines.counter(
        "hembar_page_refusals_total",
        "Requests that the page's server has refused.",
        [({"error": word}, n) for word, n in sorted(page.refused.items())],
    )
    lines.gauge("hembar_page_connections", "Connections that are open.", [(_NO_LABELS, page.connections)])
    lines.gauge("hembar_page_streams", "Event streams that are open.", [(_NO_LABELS, page.streams)])
    ended = {"too-many": page.turned_away, "too-slow": page.too_slow, "malformed": page.malformed}
    lines.counter(
        "hembar_page_connections_ended_total",
        "Connections that the page's server has ended.",
        [({"why": why}, n) for why, n in ended.items()],
    )


def _process(lines: _Lines) -> None:
    """Add what every process tells by convention, where this system shows it."""
    lines.counter("process_cpu_seconds_total", "Processor time.", [(_NO_LABELS, time.process_time())])
    with suppress(OSError, ValueError, IndexError):
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
        resident = pages * resource.getpagesize()
        lines.gauge("process_resident_memory_bytes", "Resident memory.", [(_NO_LABELS, resident)])
    with suppress(OSError):
        lines.gauge("process_open_fds", "Open files.", [(_NO_LABELS, len(os.listdir("/proc/self/fd")))])  # noqa: PTH208  counting only
    most = resource.getrlimit(resource.RLIMIT_NOFILE)[0]
    lines.gauge("process_max_fds", "Files that may be open.", [(_NO_LABELS, most)])
