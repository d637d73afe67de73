"""Finds the kinds of sensors: every file of this folder that has `NAME`, `UNITS`, `USUAL` and `decode`."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from types import ModuleType

import bridge.adapters.sensors
from bridge.adapters.sensors.source import Scale, Source, Usual
from bridge.core.events import ReadingHeard
from bridge.core.found import found_in
from bridge.core.values import Moment


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of sensor.

    Attributes:
        name: As the settings call it.
        units: By name, the first being the kind's own.
        usual: What is taken where the owner says nothing.
        decode: From a message to what it says.
    """

    name: str
    units: Mapping[str, Scale]
    usual: Usual
    decode: Callable[[Source, bytes, Moment], ReadingHeard | None]


@cache
def kinds() -> Mapping[str, Kind]:
    """Return every kind by its name, in the order of the file names."""
    return found_in(bridge.adapters.sensors, _kind)


def _kind(module: ModuleType) -> Kind:
    return Kind(name=module.NAME, units=module.UNITS, usual=module.USUAL, decode=module.decode)
