"""Keys that nobody knows: which one was meant, in which unit, or in which table it belongs."""

from __future__ import annotations

import difflib
import functools
import math
from collections.abc import Mapping

from pydantic import BaseModel

from bridge.settings import model, rule_model
from bridge.settings.broker_model import BrokerTable
from bridge.settings.faults import Place, listed, number, shown, shown_key
from bridge.settings.lift_model import LiftTable, MotorTable
from bridge.settings.page_model import PageTable

# More strange keys than this in one table are counted, not explained one by one.
EXPLAINED_MAX = 20
KEY_MAX = 60

_SECRETS = ("password", "passphrase", "secret", "token")

_MM, _S, _PCT, _DEG = "length", "time", "share", "angle"
_UNITS: dict[str, tuple[str, float]] = {
    "mm": (_MM, 1), "cm": (_MM, 10), "dm": (_MM, 100), "m": (_MM, 1000),
    "in": (_MM, 25.4), "inch": (_MM, 25.4), "inches": (_MM, 25.4), "ft": (_MM, 304.8), "feet": (_MM, 304.8),
    "ms": (_S, 0.001), "s": (_S, 1), "sec": (_S, 1), "min": (_S, 60), "h": (_S, 3600), "hours": (_S, 3600),
    "pct": (_PCT, 1), "percent": (_PCT, 1), "ppm": (_PCT, 0.0001),
    "deg": (_DEG, 1), "rad": (_DEG, 180 / math.pi),
    "pps": ("speed", 1), "hz": ("speed", 1), "rpm": ("turning", 1),
    "pps2": ("ramp", 1),
    "a": ("current", 1), "ma": ("current", 0.001), "amps": ("current", 1),
}  # fmt: skip
_TABLES: dict[str, type[BaseModel]] = {
    "site": model.SiteTable,
    "broker": BrokerTable,
    "boards": model.BoardsTable,
    "safety": model.SafetyTable,
    "tree": model.TreeTable,
    "service": model.ServiceTable,
    "page": PageTable,
    "[listen]": model.ListenTable,
    "shades.<id>": model.ShadeTable,
    "shades.<id>.drive": model.DriveTable,
    "shades.<id>.link": model.LinkTable,
    "shades.<id>.trust": model.TrustTable,
    "shades.<id>.unpowered": model.UnpoweredTable,
    "shades.<id>.references": model.ReferencesTable,
    "shades.<id>.power": model.PowerTable,
    "shades.<id>.lift": LiftTable,
    "shades.<id>.motor": MotorTable,
    "groups.<id>": model.GroupTable,
    "supplies.<id>": model.SupplyTable,
    "shades.<id>.window": rule_model.WindowTable,
    "sensors.<id>": rule_model.SensorTable,
    "restraint": rule_model.RestraintTable,
}


def refuse_unknown(place: Place, raw: Mapping[str, object], table: type[BaseModel]) -> frozenset[str]:
    """Refuse each key that `table` doesn't have; return the known keys that seem to have been meant."""
    unknown = [key for key in raw if key not in table.model_fields]
    meant = set()
    for key in unknown[:EXPLAINED_MAX]:
        remedy, known = _guess(key, raw[key], table)
        value = "" if _may_be_secret(key) or isinstance(raw[key], dict) else f" = {shown(raw[key])}"
        place.refuse(f"{shown_key(key)}{value} is not a known key", remedy)
        meant.add(known)
    if len(unknown) > EXPLAINED_MAX:
        place.refuse(
            f"{len(unknown) - EXPLAINED_MAX} further keys are not known",
            f"the keys here are {listed(list(table.model_fields))}",
        )
    return frozenset(meant)


def _guess(key: str, value: object, table: type[BaseModel]) -> tuple[str, str]:
    known = list(table.model_fields)
    near = difflib.get_close_matches(key.lower(), known, n=1, cutoff=0.6) if len(key) <= KEY_MAX else []
    if (
        _may_be_secret(key)
        and "password_file" in known
        and key.lower().replace("-", "_")[:10] != "password_f"
    ):
        return "keep a password in a file of its own that only the service reads, named by password_file", ""
    for name in known:
        if _stem(name) == _stem(key.lower()):
            return _other_unit(key, value, name), name
    homes = [name for name, other in _TABLES.items() if key in other.model_fields]
    if homes:
        return f"it belongs in {listed([f'[{home}]' for home in homes], 'or')}", ""
    if near:
        return f"did you mean {near[0]}?", near[0]
    return f"the keys here are {listed(known)}", ""


def _may_be_secret(key: str) -> bool:
    """Say whether a key reads like a password, whose value must not land in logs and on screens."""
    return any(difflib.SequenceMatcher(None, key[:KEY_MAX].lower(), word).ratio() > 0.7 for word in _SECRETS)


@functools.cache
def _unit(name: str) -> tuple[str, float] | None:
    return _UNITS.get(name.rpartition("_")[2]) if "_" in name else None


def _stem(name: str) -> str:
    return name.rpartition("_")[0] if _unit(name) else name


def _other_unit(key: str, value: object, name: str) -> str:
    """Name the key with its right unit, and the value in it where both units measure the same."""
    told, wanted = _unit(key.lower()), _unit(name)
    if told is None or wanted is None or told[0] != wanted[0] or not _is_number(value):
        return f"did you mean {name}?"
    assert isinstance(value, int | float)
    return f"write {name} = {number(value * told[1] / wanted[1])}"


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and -1e9 < value < 1e9
