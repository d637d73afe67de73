"""Where one sensor speaks and how it is read: a number or a word, bare or in a JSON document, in its unit.

Whatever is no number of the sensor's becomes None with a sentence that says why. Whether a number is
plausible is the core's to judge.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import isfinite
from types import MappingProxyType
from typing import Final

from bridge.adapters.broker.listen import AbsentError, is_number, pointed, spelt
from bridge.adapters.doors import bounded, read_json, refuse, shown
from bridge.core.errors import LinkError
from bridge.core.events import ReadingHeard
from bridge.core.surroundings import SensorId
from bridge.core.values import Moment

TEXT_BYTES_MAX = 256


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """From a unit to the kind's own: times `factor`, plus `zero`."""

    factor: float = 1.0
    zero: float = 0.0

    def of(self, value: float) -> float:
        return value * self.factor + self.zero


# NIST SP 811, 2008, appendix B.8; the same degrees by two spellings each.
CELSIUS: Final = MappingProxyType(
    {
        "°C": Scale(),
        "C": Scale(),
        "°F": Scale(factor=5 / 9, zero=-160 / 9),
        "F": Scale(factor=5 / 9, zero=-160 / 9),
        "K": Scale(zero=-273.15),
    }
)
# NIST SP 811, 2008, appendix B.8: mile per hour and knot.
METRES_A_SECOND: Final = MappingProxyType(
    {
        "m/s": Scale(),
        "km/h": Scale(factor=1 / 3.6),
        "mph": Scale(factor=0.44704),
        "kn": Scale(factor=1852 / 3600),
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Usual:
    """What is taken where the owner says nothing, in the kind's own unit.

    Attributes:
        low: The least plausible reading.
        high: The greatest plausible reading.
        stale_s: Without a good reading for so long it counts as lost.
        grain: Smaller changes are no news.
        rate_per_min: The fastest plausible change in a minute; None when any is.
        stuck_h: So long at exactly one number means that it is stuck; None when that is ordinary.
        rests_at: A number at which it may stay for ever; None without one.
        words: Words that are taken without being listed.
    """

    low: float
    high: float
    stale_s: float
    grain: float = 0.0
    rate_per_min: float | None = None
    stuck_h: float | None = None
    rests_at: float | None = None
    words: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One sensor on the broker.

    Attributes:
        id: Its name in the settings.
        kind: What it measures.
        topic: Where it speaks.
        unit: In which its numbers are.
        pointer: Where in a JSON document the number or word is (RFC 6901); None when the message is bare.
        words: Words and what each means, in the kind's own unit.
        retained: A message that the broker hands back counts as fresh.
        qos: Asked of the broker, 0 to 2.
    """

    id: SensorId
    kind: str
    topic: str
    unit: str
    pointer: str | None
    words: Mapping[str, float]
    retained: bool
    qos: int


def read(source: Source, payload: bytes, at: Moment, units: Mapping[str, Scale]) -> ReadingHeard | None:
    """Return what a message says; None when its document has nothing at the pointer, so it is about else."""
    try:
        return ReadingHeard(at=at, sensor=source.id, value=_value(source, payload, units))
    except AbsentError:
        return None
    except LinkError as error:
        return ReadingHeard(at=at, sensor=source.id, value=None, problem=error.problem)


def _value(source: Source, payload: bytes, units: Mapping[str, Scale]) -> float:
    text = _text(source, payload)
    if text in source.words:
        return source.words[text]
    if not is_number(text):
        known = f" and none of {', '.join(source.words)}" if source.words else ""
        raise refuse(source.topic, f"{_shown(text)} is not a number{known}")
    value = units[source.unit].of(float(text))
    if not isfinite(value):
        raise refuse(source.topic, f"{_shown(text)} is not a finite number")
    return value


def _text(source: Source, payload: bytes) -> str:
    where = source.topic
    if source.pointer is not None:
        value = pointed(read_json(payload, where=where), source.pointer, where=where)
        if value is None or isinstance(value, dict | list):
            raise refuse(where, f"at {source.pointer!a} is no number or word")
        return spelt(value)
    bounded(payload, where=where, limit=TEXT_BYTES_MAX)
    try:
        return payload.decode("utf-8").strip(" \t\r\n")
    except UnicodeDecodeError as error:
        raise refuse(where, f"{shown(payload)} is not UTF-8 text") from error


def _shown(text: str) -> str:
    return shown(text.encode("utf-8", "surrogatepass"))
