"""What the sensors and the rules mean, in the owner's words, and how soon the wind rule has shades up."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields, replace
from datetime import time
from typing import TYPE_CHECKING

from bridge.core.command.supply import worst_raise_s
from bridge.core.spec import HouseSpec, Mounting, ShadeSpec
from bridge.core.surroundings import RuleChoice, Sensor
from bridge.settings.faults import number

if TYPE_CHECKING:
    from bridge.settings.plain import Settings

# The first order leaves no later than this after a message of a gust; a broker test holds the service to it.
FIRST_ORDER_S = 2.0
WIND = "wind"
_UNITS = {
    "m": " m", "mps": " m/s", "wpm2": " W/m²", "mmph": " mm/h", "c": " °C", "deg": "°", "pct": " %",
    "min": " min", "h": " h", "s": " s",
}  # fmt: skip


def sensor_in_words(sensor: Sensor) -> str:
    """Return one sensor as a sentence."""
    whom = ", ".join(sensor.shades) or "all shades"
    return f"{sensor.id}: {sensor.kind} for {whom}; lost after {number(sensor.stale_s)} s without a reading"


def rules_in_words(house: HouseSpec) -> tuple[str, ...]:
    """Return a sentence for each rule with its parameters, and the shades that it is for."""
    found: dict[str, list[str]] = {}
    for spec in house.shades:
        for choice in spec.rules:
            found.setdefault(_rule_in_words(choice), []).append(spec.id)
    return tuple(
        f"{words.partition(':')[0]} for {', '.join(dict.fromkeys(shades))}:{words.partition(':')[2]}"
        for words, shades in found.items()
    )


def _rule_in_words(choice: RuleChoice) -> str:
    if choice.params is None:
        return f"{choice.rule}: this version does not have it"
    params = ((each.name, getattr(choice.params, each.name)) for each in fields(choice.params))  # type: ignore[arg-type]  # each rule's own dataclass
    told = [_param_in_words(name, value) for name, value in params if value is not None]
    return f"{choice.rule}: {', '.join(told) or 'nothing to set'}"


def _param_in_words(name: str, value: object) -> str:
    words, _, suffix = name.rpartition("_")
    unit = _UNITS.get(suffix) if words else None
    said = name if unit is None else words
    return f"{said.replace('_', ' ')} {_value_in_words(value)}{unit or ''}"


def _value_in_words(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return number(value)
    if isinstance(value, time):
        return f"{value:%H:%M}"
    if isinstance(value, Iterable) and not isinstance(value, str):
        return " ".join(_value_in_words(each) for each in value)
    return str(value)


def has_wind_rule(spec: ShadeSpec) -> bool:
    """Return whether a wind rule raises the shade."""
    return any(each.rule == WIND for each in spec.rules)


def worst_retract_s(house: HouseSpec) -> float:
    """Return the longest time from a message of a gust until every shade with a wind rule is up, seconds.

    Zero without such shades. They queue for amps as in `worst_raise_s`, all from their lower limits.
    """
    asked = tuple(
        replace(spec, mounting=Mounting.EXTERIOR if has_wind_rule(spec) else Mounting.INTERIOR)
        for spec in house.shades
    )
    if not any(map(has_wind_rule, asked)):
        return 0.0
    return FIRST_ORDER_S + worst_raise_s(replace(house, shades=asked))


def retract_in_words(house: HouseSpec) -> str:
    """Return the worst case of a retract for wind; "" without a wind rule."""
    shades = [spec.id for spec in house.shades if has_wind_rule(spec)]
    if not shades:
        return ""
    return (
        f"the first order leaves within {number(FIRST_ORDER_S)} s of the message of a gust, and the last of "
        f"{', '.join(shades)} is up within {worst_retract_s(house):.1f} s of it, waiting for amps included"
    )


def wind_cautions(settings: Settings) -> tuple[str, ...]:
    """Return a caution for each exterior shade that neither a rule nor a contact raises in the wind."""
    return tuple(
        f"{spec.id} hangs outside, and neither a wind rule nor a wind contact raises it: add a [[rule]] with "
        f'rule = "wind" for it, and better a contact wired to its board'
        for spec in settings.house.shades
        if spec.mounting is Mounting.EXTERIOR
        and spec.id not in settings.wind_contacts
        and not has_wind_rule(spec)
    )
