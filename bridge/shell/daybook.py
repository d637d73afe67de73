"""A day of the house: what rules and plan have in mind, and what really happened, from the journal alone.

`python -m bridge.shell.daybook JOURNAL DATE` prints it as JSON: numpy and a whole replay are brought into a
process that ends, never into the service.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bridge.adapters.journal.reading import read_content
from bridge.adapters.journal.replay import from_newest, from_oldest
from bridge.core.command.guards import open_pct
from bridge.core.errors import BridgeError, LinkError
from bridge.core.house import handle
from bridge.core.readings import serving
from bridge.core.rules.seeing import zone_of
from bridge.core.sun.daylight import LocalDay, local_day

if TYPE_CHECKING:
    from bridge.adapters.journal.rows import Content
    from bridge.core.events import Event
    from bridge.core.outcome import Decisions
    from bridge.core.plan.day import ShadeDay
    from bridge.core.spec import ShadeSpec
    from bridge.core.state import House
    from bridge.core.values import ShadeId

STEP_MIN = 5
FARTHEST_M = 20.0
REST_S = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Happened:
    """What the journal knew at an instant.

    Attributes:
        utc: When.
        open_pct: Where the hem bar was taken to be; None when unknown.
        held: A person's request held it.
        gust_mps: The strongest wind that was read; None without a reading.
    """

    utc: datetime
    open_pct: float | None
    held: bool
    gust_mps: float | None


def happened(content: Content, shades: Sequence[ShadeId], span: LocalDay) -> dict[ShadeId, list[Happened]]:
    """Return what the journal says of shades on that day, by deriving their states again."""
    found: dict[ShadeId, list[Happened]] = {name: [] for name in shades}

    def watched(house: House | None, event: Event) -> tuple[House, Decisions]:
        after, decisions = handle(house, event)
        if span.start_utc <= event.at.utc < span.end_utc:
            for name, seen in found.items():
                _see(seen, after, name, event)
        return after, decisions

    from_oldest(content, watched)
    return found


def _see(seen: list[Happened], house: House, name: ShadeId, event: Event) -> None:
    shade = house.shades.get(name)
    if shade is None:
        return
    gusts = serving(house.spec.sensors, house.readings, name, event.at)
    seen.append(
        Happened(
            utc=event.at.utc,
            open_pct=open_pct(shade, now_s=event.at.mono_s),
            held=shade.hold_until is not None,
            gust_mps=gusts.of("gust"),
        )
    )


def document(journal: Path, on: date) -> dict[str, Any]:
    """Return the day as JSON values.

    Raises:
        LinkError: the journal can't be read, or knows no place for the house.
    """
    from bridge.core.plan.day import shade_day  # noqa: PLC0415  numpy
    from bridge.shell.written_plan import as_written, moves, since, written  # noqa: PLC0415  numpy

    content = read_content(journal)
    house = from_newest(content, handle).house
    if house is None or house.spec.site is None:
        raise LinkError(where=f"journal {journal}", problem="no house with a place is in it",
                        remedy="run `hembar replay` to see why")  # fmt: skip
    site = house.spec.site
    span = local_day(on, zone_of(site.timezone))
    specs = [spec for spec in house.spec.shades if spec.window is not None]
    today = span.start_utc <= house.now.utc < span.end_utc
    noted = written(content, [spec.id for spec in specs], span)
    found: dict[str, ShadeDay] = {}
    for spec in specs:
        readings = serving(house.spec.sensors, house.readings, spec.id, house.now)
        outdoor_c = readings.of("outdoor-temperature") if today else None
        reckoned = shade_day(site, spec, house.spec.restraint, span, outdoor_c=outdoor_c)
        found[spec.id] = as_written(reckoned, spec, noted[spec.id])
    real = happened(content, [spec.id for spec in specs], span)
    some = next(iter(found.values()), None)
    return {
        "date": on.isoformat(),
        "timezone": site.timezone,
        "begins": span.start_utc.isoformat(),
        "ends": span.end_utc.isoformat(),
        "step_s": STEP_MIN * 60,
        "utc_s": [] if some is None else [round(each) for each in some.seen.sun.utc_s[::STEP_MIN].tolist()],
        "sun_elevation_deg": [] if some is None else _thinned(some.seen.sun.elevation_deg, 2),
        "sun_azimuth_deg": [] if some is None else _thinned(some.seen.sun.azimuth_deg, 2),
        "shades": {
            spec.id: {
                **_shade(spec, found[spec.id], real[spec.id]),
                "planned_since": _iso(since(noted[spec.id], span)),
                "moves": [_move(*each) for each in moves(found[spec.id], noted[spec.id], span)],
            }
            for spec in specs
        },
    }


def _shade(spec: ShadeSpec, day: ShadeDay, real: list[Happened]) -> dict[str, Any]:
    import numpy as np  # noqa: PLC0415

    return {
        "name": spec.name,
        "limit_m": day.limit_m,
        "lit": day.seen.wall.direct_sun[::STEP_MIN].tolist(),
        "far_up_m": _thinned(np.minimum(day.far_up_m, FARTHEST_M), 2),
        "far_m": _thinned(np.minimum(day.far_m, FARTHEST_M), 2),
        "planned_pct": _thinned(day.planned, 1),
        "rules_pct": _thinned(day.followed, 1),
        "happened": [_real(each) for each in _differing(real)],
    }


def _iso(at: datetime | None) -> str | None:
    return None if at is None else at.isoformat()


def _thinned(values: Any, digits: int) -> list[float]:
    return [round(float(each), digits) for each in values[::STEP_MIN]]


def _move(at: datetime, one: float, other: float) -> dict[str, Any]:
    return {"utc": at.isoformat(), "from_pct": one, "to_pct": other}


def _differing(real: list[Happened]) -> list[Happened]:
    """Return only what differs from what came before it."""
    kept: list[Happened] = []
    for each in real:
        said = (_whole(each.open_pct), each.held, each.gust_mps)
        if not kept or said != (_whole(kept[-1].open_pct), kept[-1].held, kept[-1].gust_mps):
            kept.append(each)
    return kept


def rests(real: Sequence[Happened]) -> list[Happened]:
    """Return where it came to rest, without what it passed on the way; only what differs from before."""
    ended = [
        each
        for at, each in enumerate(real)
        if at + 1 == len(real) or (real[at + 1].utc - each.utc).total_seconds() > REST_S
    ]
    return [
        each
        for at, each in enumerate(ended)
        if at == 0
        or (_whole(each.open_pct), each.held) != (_whole(ended[at - 1].open_pct), ended[at - 1].held)
    ]


def _whole(pct: float | None) -> int | None:
    return None if pct is None else round(pct)


def _real(each: Happened) -> dict[str, Any]:
    return {
        "utc": each.utc.isoformat(),
        "open_pct": None if each.open_pct is None else round(each.open_pct, 1),
        "held": each.held,
        "gust_mps": each.gust_mps,
    }


def main(words: Sequence[str]) -> int:
    """Print the day that is asked for; return 69 when the journal can't tell it."""
    try:
        said = document(Path(words[0]), date.fromisoformat(words[1]))
    except BridgeError as error:
        sys.stderr.write(f"{error.where}: {error.problem}")
        return 69
    sys.stdout.write(json.dumps(said, allow_nan=False))
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
