"""What a value of the settings file may be: ids, lines, topics, gears, ranges; and what a table is."""

from __future__ import annotations

import itertools
import re
from fractions import Fraction
from typing import Annotated, Any, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, PlainValidator, WithJsonSchema

from bridge.core.errors import RequestError
from bridge.core.shade.cable import parse_awg
from bridge.settings.faults import RefusedValueError
from bridge.settings.gear import read_gear

ID_PATTERN = r"^[a-z0-9]+(-+[a-z0-9]+)*$"
ID_MAX = 40
# Where the unpowered motor holds the cloth is reckoned from the lift and motor tables.
COMPUTED = "computed"
_ID = re.compile(r"[a-z0-9]+(?:-+[a-z0-9]+)*")
_CLIENT = re.compile(r"[A-Za-z0-9_-]{1,40}")


def is_id(text: str) -> bool:
    """Say whether a text may name a shade, a board or a device: a-z, 0-9 and inner hyphens."""
    return len(text) <= ID_MAX and _ID.fullmatch(text) is not None


def _id(value: str) -> str:
    if not is_id(value):
        raise RefusedValueError(
            "an id has only a-z, 0-9 and inner hyphens, at most 40 of them", f"write it like {_as_id(value)}"
        )
    return value


def _as_id(text: str) -> str:
    words = re.findall(r"[a-z0-9]+", text[:ID_MAX].lower())
    return f'"{"-".join(words) or "attic-board"}"'


def _line(value: str) -> str:
    if not value.strip() or not value.isprintable():
        raise RefusedValueError(
            "it must be one line of visible text", "write it in quotes without line breaks"
        )
    return value


def _topic(value: str) -> str:
    levels = value.split("/")
    if not value.isprintable() or any(c in value for c in "#+ ") or value.startswith("$") or "" in levels:
        raise RefusedValueError(
            "it must be a topic without wildcards, blanks, empty levels or a leading $",
            'write one or more words joined by /, such as "house/shades"',
        )
    return value


def _client(value: str) -> str:
    if not _CLIENT.fullmatch(value):
        raise RefusedValueError(
            "it may have only letters, digits, hyphens and underscores, at most 40", 'write it like "hembar"'
        )
    return value


def read_holds(value: object) -> tuple[tuple[float, float], ...] | None:
    """Return rising, separate ranges of percent open from words or a list of pairs; None for "computed"."""
    if value == COMPUTED:
        return None
    if value == "everywhere":
        return ((0.0, 100.0),)
    if value == "nowhere":
        return ()
    if not isinstance(value, list) or not value or not all(_is_range(pair) for pair in value):
        raise RefusedValueError(
            'it must be "everywhere", "nowhere", "computed" or ranges of percent open within 0 to 100',
            "write ranges as [[from, to], ...], such as [[80, 100]] for the top fifth; try it with the motor "
            "unplugged and the cloth supported",
        )
    ranges = sorted((float(low), float(high)) for low, high in value)
    if any(later[0] <= earlier[1] for earlier, later in itertools.pairwise(ranges)):
        raise RefusedValueError("its ranges touch or overlap", "join the ones that meet")
    return tuple(ranges)


def read_gauge(value: object) -> int:
    """Return an American wire gauge from 18, `"18"` or `"00"`; the numbers of 00 to 0000 are -1 to -3."""
    whole = isinstance(value, int) and not isinstance(value, bool)
    try:
        return parse_awg(str(value) if whole or isinstance(value, str) else "")
    except RequestError as error:
        raise RefusedValueError("it must be a wire gauge from 0000 to 40", error.remedy) from error


def _is_range(pair: object) -> bool:
    return (
        isinstance(pair, list)
        and len(pair) == 2
        and all(isinstance(end, int | float) and not isinstance(end, bool) for end in pair)
        and 0 <= pair[0] < pair[1] <= 100
    )


Id = Annotated[
    str, AfterValidator(_id), Field(json_schema_extra={"pattern": ID_PATTERN, "maxLength": ID_MAX})
]
Line = Annotated[str, Field(min_length=1, max_length=80), AfterValidator(_line)]
Topic = Annotated[str, Field(min_length=1, max_length=120), AfterValidator(_topic)]
Client = Annotated[str, AfterValidator(_client)]
FilePath = Annotated[str, Field(min_length=1, max_length=400), AfterValidator(_line)]
Gear = Annotated[
    Fraction,
    PlainValidator(read_gear),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "string", "pattern": "^[0-9]{1,9}(/[0-9]{1,9})?$"},
                {"type": "integer", "minimum": 1, "maximum": 5000},
            ]
        }
    ),
]
_PERCENT: dict[str, Any] = {"type": "number", "minimum": 0, "maximum": 100}
Gauge = Annotated[
    int,
    PlainValidator(read_gauge),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "string", "pattern": "^(0{2,4}|[0-9]{1,2})$"},
                {"type": "integer", "minimum": 0, "maximum": 40},
            ]
        }
    ),
]
Holds = Annotated[
    tuple[tuple[float, float], ...] | None,
    PlainValidator(read_holds),
    WithJsonSchema(
        {
            "anyOf": [
                {"enum": ["everywhere", "nowhere", COMPUTED]},
                {
                    "type": "array",
                    "minItems": 1,
                    "items": {"type": "array", "minItems": 2, "maxItems": 2, "items": _PERCENT},
                },
            ]
        }
    ),
]


class Table(BaseModel):
    """A table of the file: exact types, known keys, finite numbers."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


TableT = TypeVar("TableT", bound=Table)
