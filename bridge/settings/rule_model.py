"""The form of what the rules need: windows, sensors, restraint, and the [[rule]] tables themselves.

A rule's own keys are its file's `Params`, so they are not listed here.
"""

from __future__ import annotations

from datetime import time
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, PlainValidator, WithJsonSchema

from bridge.settings.faults import RefusedValueError, quoted
from bridge.settings.fields import Id, Table
from bridge.settings.listen_fields import HeardTopic, Pointer

_NUMBER = {"type": "number"}
_PAIR: dict[str, Any] = {"type": "array", "minItems": 2, "maxItems": 2, "items": _NUMBER}
CLOCK = {"type": "string", "pattern": "^[0-2][0-9]:[0-5][0-9]$"}


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e9


def _pair(value: object) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2 or not all(_is_number(each) for each in value):
        raise RefusedValueError("it must be two numbers", "write it like [0, 50]")
    if value[0] >= value[1]:
        raise RefusedValueError("its first number is not the lesser", "write the lesser one first")
    return float(value[0]), float(value[1])


def _profile(value: object) -> tuple[tuple[float, float], ...]:
    if not isinstance(value, list) or not all(
        isinstance(pair, list) and len(pair) == 2 and all(_is_number(each) for each in pair) for pair in value
    ):
        raise RefusedValueError(
            "it must be pairs of azimuth and elevation in degrees",
            "write it like [[150, 0], [160, 25], [200, 25], [201, 0]], by rising azimuth",
        )
    return tuple((float(azimuth), float(elevation)) for azimuth, elevation in value)


def _meanings(value: object) -> dict[str, float]:
    if not isinstance(value, dict) or not 0 < len(value) <= 50:
        raise RefusedValueError("it must be a table of 1 to 50 words", "write it like { open = 1, shut = 0 }")
    for word, number in value.items():
        if not word or not word.isprintable() or len(word) > 60 or not _is_number(number):
            raise RefusedValueError(
                f"{quoted(word)} must mean a number", "write it like { open = 1, shut = 0 }"
            )
    return {word: float(number) for word, number in value.items()}


def read_clock(value: object) -> object:
    """Return a clock time from "07:30" or a TOML time; refuse anything else."""
    if isinstance(value, time):
        return value
    if isinstance(value, str) and len(value) == 5:
        try:
            return time.fromisoformat(value)
        except ValueError:
            pass
    raise RefusedValueError("it must be a clock time", 'write it in quotes, like "07:30"')


Pair = Annotated[tuple[float, float], PlainValidator(_pair), WithJsonSchema(_PAIR)]
Profile = Annotated[
    tuple[tuple[float, float], ...],
    PlainValidator(_profile),
    WithJsonSchema({"type": "array", "items": _PAIR}),
]
Meanings = Annotated[
    dict[str, float],
    PlainValidator(_meanings),
    WithJsonSchema({"type": "object", "minProperties": 1, "additionalProperties": _NUMBER}),
]
Clock = Annotated[time, BeforeValidator(read_clock), WithJsonSchema(CLOCK)]


class WindowTable(Table):
    """The window that a shade hangs at, for the sun; heights are above the floor."""

    facade_azimuth_deg: float = Field(
        ge=0,
        le=360,
        description="Where the wall looks to, in degrees clockwise from true north; south is 180.",
    )
    sill_m: float = Field(ge=0, le=100, description="Lower edge of the glass in m.")
    head_m: float = Field(gt=0, le=100, description="Upper edge of the glass in m.")
    upper_m: float | None = Field(
        default=None,
        gt=0,
        le=100,
        description="The hem bar in m when the shade is at its upper limit; the head by default.",
    )
    plane_m: float = Field(
        default=0.0,
        ge=0,
        le=100,
        description="Height in m of the plane on which depth is measured, 0 the floor.",
    )
    overhang_depth_m: float | None = Field(
        default=None, ge=0, le=100, description="How far in m a slab above the window stands out."
    )
    overhang_height_m: float | None = Field(
        default=None, gt=0, le=100, description="Underside of that slab in m."
    )
    horizon_deg: Profile = Field(
        default=(),
        description="What hides the sky: pairs of azimuth and elevation in degrees, by rising azimuth.",
    )
    glass_g: float | None = Field(
        default=None, gt=0, le=1, description="Total solar energy transmittance g of the pane."
    )
    glass_u_wpm2k: float | None = Field(
        default=None, gt=0, le=10, description="Thermal transmittance U of the pane in W/(m2 K)."
    )
    cloth_tau: float | None = Field(
        default=None, ge=0, le=1, description="Solar transmittance of the cloth, as a share of 1."
    )
    cloth_rho: float | None = Field(
        default=None, ge=0, le=1, description="Solar reflectance of the cloth's sunny side, as a share of 1."
    )


class SensorTable(Table):
    """One sensor and its topic."""

    kind: str = Field(description='What it measures, such as "gust" or "outdoor-temperature".')
    topic: HeardTopic = Field(description="The topic on which it speaks, without wildcards.")
    unit: str | None = Field(
        default=None, description='Unit of its numbers, such as "km/h"; its kind\'s own.'
    )
    pointer: Pointer | None = Field(
        default=None, description='JSON pointer (RFC 6901) to the number, such as "/wind/gust".'
    )
    words: Meanings = Field(
        default_factory=dict, description="Words that it says, and the number that each means."
    )
    shades: list[Id] = Field(
        default_factory=list, description="Ids of the shades that it serves; all of them by default."
    )
    stale_s: float | None = Field(
        default=None,
        ge=1,
        le=30 * 86400,
        description="Age limit in seconds: without a good reading for so long it counts as lost.",
    )
    plausible: Pair | None = Field(
        default=None, description="The least and greatest plausible reading, in its unit."
    )
    rate_per_minute: float | None = Field(
        default=None, gt=0, le=1e6, description="The fastest plausible change in a minute, in its unit."
    )
    stuck_h: float | None = Field(
        default=None,
        gt=0,
        le=24 * 60,
        description="So many hours at exactly one number mean that it is stuck.",
    )
    retained: bool = Field(
        default=False,
        description="Take what the broker hands back as fresh; never for wind, whose age must be known.",
    )
    qos: int = Field(default=0, ge=0, le=2, description="Quality of service asked of the broker.")


class RestraintTable(Table):
    """How sparingly the rules move shades; wind, rain, ice and open doors do not wait for any of this."""

    look_every_min: Literal[1, 2, 3, 4, 5, 6, 10, 12, 15, 20, 30, 60] = Field(
        default=10, description="The rules look again this often, in minutes that divide the hour."
    )
    smallest_move_pct: int = Field(
        default=5, ge=1, le=50, description="A shade is not moved by less, in percent of its drop."
    )
    dwell_min: float = Field(
        default=15.0, ge=0, le=1440, description="Least time in minutes between two moves by rules."
    )
    moves_a_day: int = Field(default=40, ge=1, le=500, description="Most moves by rules a day and shade.")
    quiet_from: Clock | None = Field(default=None, description="From this clock time on the rules rest.")
    quiet_until: Clock | None = Field(default=None, description="Until this clock time the rules rest.")
    resume_s: float = Field(
        default=60.0,
        ge=10,
        le=3600,
        description="How many seconds after a person's stop a retract for wind or rain goes on.",
    )
    move_worth_min: float = Field(
        default=20.0,
        ge=0,
        le=1440,
        description="A move that no rule needs must give so many minutes of open window; 1440 for the "
        "fewest moves, less for more view.",
    )


class RuleTable(Table):
    """One rule and the shades that it is for; its other keys are its own."""

    rule: str = Field(description='Name of the rule, such as "wind" or "sun-depth".')
    shades: list[Id] | Literal["all", "interior", "exterior"] = Field(
        description='Ids of its shades, or "all", "interior" or "exterior".'
    )
