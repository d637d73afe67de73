"""Sensors, windows and [[rule]] tables: each read alone, then held against the shades and what is known.

The catalogues of rules and of sensors say what may be named here; a new file of either needs no edit.
"""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import time
from functools import cache
from typing import Any

from pydantic import ConfigDict, TypeAdapter, ValidationError, with_config
from pydantic_core import ErrorDetails

from bridge.adapters.sensors.catalogue import Kind, kinds
from bridge.adapters.sensors.source import Source
from bridge.core.errors import RequestError
from bridge.core.rules.catalogue import Rule, rules
from bridge.core.spec import Mounting, ShadeSpec
from bridge.core.sun.gain import Cloth, Glass
from bridge.core.sun.window import Facade, HorizonPoint, Opening, Overhang
from bridge.core.surroundings import Quiet, Restraint, RuleChoice, Sensor, SensorId, Window
from bridge.core.values import ShadeId
from bridge.settings.explain import read_part, read_table, sub_table
from bridge.settings.faults import Place, listed, number, quoted, shown, shown_key
from bridge.settings.fields import is_id
from bridge.settings.keys import refuse_unknown
from bridge.settings.rule_model import RestraintTable, RuleTable, SensorTable, WindowTable

TABLES_MAX = 500
# Wind of unknown age must not keep a shade down.
_NEVER_RETAINED = ("wind", "gust", "rain")


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorRead:
    """A sensor for the core and for the broker."""

    sensor: Sensor
    source: Source


def read_window(place: Place, raw: Mapping[str, object]) -> tuple[Window | None, bool]:
    """Return the window of a shade, None without one, and whether nothing is wrong with it."""
    if "window" not in raw:
        return None, True
    here = place.inside("window")
    table = read_table(place, raw, "window", WindowTable)
    if table is None:
        return None, False
    pairs = (
        ("overhang_depth_m", "overhang_height_m"),
        ("glass_g", "glass_u_wpm2k"),
        ("cloth_tau", "cloth_rho"),
    )
    for pair in pairs:
        given = [key for key in pair if getattr(table, key) is not None]
        if len(given) == 1:
            other = pair[1 - pair.index(given[0])]
            here.refuse(f"{given[0]} is given without {other}", "give both, or neither")
            return None, False
    try:
        return _core_window(table), True
    except RequestError as error:
        here.refuse(f"{error.where}: {error.problem}", error.remedy)
        return None, False


def _core_window(table: WindowTable) -> Window:
    overhang = glass = cloth = None
    if table.overhang_depth_m is not None and table.overhang_height_m is not None:
        overhang = Overhang(depth_m=table.overhang_depth_m, height_m=table.overhang_height_m)
    if table.glass_g is not None and table.glass_u_wpm2k is not None:
        glass = Glass(g=table.glass_g, u_wpm2k=table.glass_u_wpm2k)
    if table.cloth_tau is not None and table.cloth_rho is not None:
        cloth = Cloth(tau=table.cloth_tau, rho=table.cloth_rho)
    horizon = tuple(
        HorizonPoint(azimuth_deg=azimuth, elevation_deg=top) for azimuth, top in table.horizon_deg
    )
    return Window(
        facade=Facade(azimuth_deg=table.facade_azimuth_deg, horizon=horizon),
        opening=Opening(sill_m=table.sill_m, head_m=table.head_m, plane_m=table.plane_m, overhang=overhang),
        upper_m=table.head_m if table.upper_m is None else table.upper_m,
        glass=glass,
        cloth=cloth,
    )


def read_sensors(place: Place, raw: Mapping[str, object], shades: Sequence[str]) -> tuple[SensorRead, ...]:
    """Return the sensors, refusing everything that is wrong with them."""
    tables = sub_table(place, raw, "sensors")
    if tables is None:
        return ()
    here = place.inside("sensors")
    found = []
    for key in tables:
        table = sub_table(here, tables, key)
        sensor = None if table is None else _read_sensor(here.inside(key), key, table, shades)
        if sensor is not None:
            found.append(sensor)
    return tuple(found)


def _read_sensor(
    place: Place, key: str, raw: Mapping[str, object], shades: Sequence[str]
) -> SensorRead | None:
    if not is_id(key):
        place.refuse(f"{shown(key)} can't name a sensor", "an id has only a-z, 0-9 and inner hyphens")
    table = read_part(place, raw, SensorTable, excused=refuse_unknown(place, raw, SensorTable))
    if table is None:
        return None
    kind = kinds().get(table.kind)
    if kind is None:
        place.refuse(f"kind = {quoted(table.kind)}: there is no such kind", _near(table.kind, kinds()))
        return None
    if not (_unit_fits(place, table, kind) and _serves(place, table.shades, shades)):
        return None
    if table.retained and kind.name in _NEVER_RETAINED:
        place.refuse(
            f"retained = true, but a retained {kind.name} reading is of unknown age",
            "leave it out, and let the sensor speak at least twice within its age limit",
        )
        return None
    return SensorRead(sensor=_core_sensor(place, key, table, kind), source=_source(key, table, kind))


def _unit_fits(place: Place, table: SensorTable, kind: Kind) -> bool:
    if table.unit is None or table.unit in kind.units:
        return True
    units = listed([quoted(unit) for unit in kind.units], "or")
    place.refuse(f"unit = {quoted(table.unit)} is no unit of {kind.name}", f"write {units}")
    return False


def _serves(place: Place, named: Sequence[str], shades: Sequence[str]) -> bool:
    strange = [name for name in named if name not in shades]
    for name in strange:
        place.refuse(
            f"shades names {quoted(name)}: there is no such shade", f"name {listed(list(shades), 'or')}"
        )
    return not strange


def _core_sensor(place: Place, key: str, table: SensorTable, kind: Kind) -> Sensor:
    usual, scale = kind.usual, kind.units[_unit(table, kind)]
    low, high = usual.low, usual.high
    if table.plausible is not None:
        low, high = (scale.of(each) for each in table.plausible)
        if not usual.low - 1e-9 <= low < high <= usual.high + 1e-9:
            place.refuse(
                f"plausible = [{number(table.plausible[0])}, {number(table.plausible[1])}] goes beyond "
                f"{number(usual.low)} to {number(usual.high)} {next(iter(kind.units))}",
                "narrow it down; nothing beyond is believed of this kind",
            )
    rate = usual.rate_per_min if table.rate_per_minute is None else table.rate_per_minute * scale.factor
    stuck_h = usual.stuck_h if table.stuck_h is None else table.stuck_h
    return Sensor(
        id=SensorId(key),
        kind=kind.name,
        shades=tuple(ShadeId(name) for name in table.shades),
        stale_s=usual.stale_s if table.stale_s is None else table.stale_s,
        low=low,
        high=high,
        rate_per_min=rate,
        stuck_s=None if stuck_h is None else stuck_h * 3600,
        rests_at=usual.rests_at,
        grain=usual.grain,
    )


def _unit(table: SensorTable, kind: Kind) -> str:
    return next(iter(kind.units)) if table.unit is None else table.unit


def _source(key: str, table: SensorTable, kind: Kind) -> Source:
    return Source(
        id=SensorId(key),
        kind=kind.name,
        topic=table.topic,
        unit=_unit(table, kind),
        pointer=table.pointer,
        words={**kind.usual.words, **table.words},
        retained=table.retained,
        qos=table.qos,
    )


def read_restraint(place: Place, raw: Mapping[str, object]) -> Restraint | None:
    """Return how sparingly the rules move shades, or None after refusing what is wrong."""
    table = read_table(place, raw, "restraint", RestraintTable)
    if table is None:
        return None
    if (table.quiet_from is None) != (table.quiet_until is None):
        place.inside("restraint").refuse(
            "only one of quiet_from and quiet_until is given", "give both, or neither"
        )
        return None
    quiet = None
    if table.quiet_from is not None and table.quiet_until is not None:
        quiet = Quiet(begins=table.quiet_from, ends=table.quiet_until)
    return Restraint(
        every_s=table.look_every_min * 60.0,
        smallest_move_pct=table.smallest_move_pct,
        dwell_s=table.dwell_min * 60,
        moves_a_day=table.moves_a_day,
        quiet=quiet,
        resume_s=table.resume_s,
        move_worth_s=table.move_worth_min * 60,
    )


def with_rules(
    place: Place, raw: Mapping[str, object], shades: tuple[ShadeSpec, ...], sensors: Sequence[SensorRead]
) -> tuple[ShadeSpec, ...]:
    """Return the shades with their rules, refusing every [[rule]] table that is wrong or can't work."""
    tables = raw.get("rule", [])
    if not isinstance(tables, list) or not all(isinstance(each, dict) for each in tables):
        place.refuse(f"rule = {shown(tables)} must be tables", "write each as [[rule]]")
        return shades
    if len(tables) > TABLES_MAX:
        place.refuse(f"{len(tables)} [[rule]] tables", f"at most {TABLES_MAX} are read")
        return shades
    chosen: dict[str, list[RuleChoice]] = {shade.id: [] for shade in shades}
    for count, table in enumerate(tables, 1):
        here = place.item("rule", count)
        found = _read_rule(here, table, shades)
        for shade in found[1] if found is not None else ():
            assert found is not None
            _check_needs(here, rules()[found[0].rule], shade, sensors)
            chosen[shade.id].append(found[0])
    return tuple(replace(shade, rules=tuple(chosen[shade.id])) for shade in shades)


def _read_rule(
    place: Place, raw: Mapping[str, object], shades: tuple[ShadeSpec, ...]
) -> tuple[RuleChoice, list[ShadeSpec]] | None:
    table = read_part(place, raw, RuleTable)
    if table is None:
        return None
    rule = rules().get(table.rule)
    if rule is None:
        place.refuse(f"rule = {quoted(table.rule)}: there is no such rule", _near(table.rule, rules()))
        return None
    params = read_params(place, rule, {key: raw[key] for key in raw if key not in RuleTable.model_fields})
    meant = _meant(place, table, shades)
    return None if params is None or meant is None else (RuleChoice(rule=rule.name, params=params), meant)


def _meant(place: Place, table: RuleTable, shades: tuple[ShadeSpec, ...]) -> list[ShadeSpec] | None:
    if isinstance(table.shades, str):
        wanted = table.shades
        meant = [shade for shade in shades if wanted == "all" or shade.mounting is Mounting(wanted)]
        if not meant:
            place.refuse(
                f"shades = {quoted(wanted)}: there is no such shade", "name shades, or leave the rule out"
            )
        return meant or None
    names = [shade.id for shade in shades]
    if not _serves(place, table.shades, names):
        return None
    return [shade for shade in shades if shade.id in table.shades]


@cache
def params_adapter(rule: Rule) -> TypeAdapter[Any]:
    """Return what reads a rule's parameters: exact types, no other keys, finite numbers."""
    config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)
    # A bare adapter would drop misspelt keys in silence.
    return TypeAdapter(with_config(config)(rule.params))


def read_params(place: Place, rule: Rule, raw: Mapping[str, object]) -> object | None:
    """Return a rule's parameters, or None after refusing what is wrong with them."""
    try:
        text = json.dumps(raw, default=_clock_as_text, allow_nan=False)
    except (TypeError, ValueError):
        place.refuse("a value is no number, text, truth value or list of these", "see config/rules.toml")
        return None
    try:
        params: object = params_adapter(rule).validate_json(text)
    except ValidationError as error:
        for fault in error.errors(include_url=False):
            _refuse_param(place, rule, fault, raw)
        return None
    if any(each.tzinfo is not None for each in _clocks(params)):
        place.refuse(
            "a clock time has an offset", 'write the time that clocks in the house show, like "07:30"'
        )
        return None
    return params


def _clocks(params: object) -> Iterator[time]:
    """Yield the clock times among parameters."""
    values = [getattr(params, each.name) for each in fields(params)] if is_dataclass(params) else params
    for value in values if isinstance(values, list | tuple) else ():
        if isinstance(value, time):
            yield value
        elif isinstance(value, tuple):
            yield from _clocks(value)


def _clock_as_text(value: object) -> str:
    if isinstance(value, time):
        return value.isoformat()
    raise TypeError


def _refuse_param(place: Place, rule: Rule, fault: ErrorDetails, raw: Mapping[str, object]) -> None:
    keys = [each.name for each in fields(rule.params)]
    key = str(fault["loc"][0]) if fault["loc"] else ""
    match fault["type"]:
        case "missing":
            place.refuse(f"{key} is missing", f"add {key}; config/rules.toml shows it")
        case "unexpected_keyword_argument" | "extra_forbidden":
            place.refuse(f"{shown_key(key)} is not a known key of the {rule.name} rule", _near(key, keys))
        case _:
            reason = fault["msg"].removeprefix("Value error, ")
            value = f"{key} = {shown(raw[key])}: " if key in raw else ""
            place.refuse(f"{value}{reason}", f"mend it; the keys here are {listed(keys)}")


def _check_needs(place: Place, rule: Rule, shade: ShadeSpec, sensors: Sequence[SensorRead]) -> None:
    """Refuse a rule that could only ever do harm, or nothing, for want of what it looks at."""
    there = {each.sensor.kind for each in sensors if not each.sensor.shades or shade.id in each.sensor.shades}
    if shade.window is not None:
        there.add("window")
    for needed in rule.needs:
        if there.isdisjoint(needed):
            what = f"{listed(needed, 'or')} sensor"
            remedy = f'add [sensors.<id>] with kind = "{needed[0]}"'
            if needed == ("window",):
                what, remedy = "window", f"add [shades.{shade.id}.window]"
            place.refuse(f"the {rule.name} rule needs a {what}, and shade {shade.id} has none", remedy)


def _near(word: str, known: Mapping[str, object] | Sequence[str]) -> str:
    near = difflib.get_close_matches(word[:60], list(known), n=1, cutoff=0.6)
    return f"did you mean {near[0]}?" if near else f"write {listed(list(known), 'or')}"
