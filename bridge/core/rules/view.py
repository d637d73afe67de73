"""What a rule sees: the time, the sun at the window, fresh readings, the shade. No board and no request.

A reading that is missing, stale, stuck or absurd is None here, never a number.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, time
from enum import StrEnum
from types import MappingProxyType

from bridge.core.rules.demand import Demand
from bridge.core.spec import Mounting
from bridge.core.surroundings import Window

# Luminous efficacy of daylight, 105 to 120 lm/W (common practice): an outdoor light meter stands in for a
# missing irradiance sensor, no better than 10 %.
LUX_PER_WPM2 = 110.0


class Season(StrEnum):
    """Of three whole months each, December to February being winter in the north."""

    WINTER = "winter"
    SPRING = "spring"
    SUMMER = "summer"
    AUTUMN = "autumn"


@dataclass(frozen=True, slots=True, kw_only=True)
class SunAtWindow:
    """The sun as the window has it.

    Attributes:
        elevation_deg: Of its centre, without refraction.
        azimuth_deg: Clockwise from true north.
        profile_deg: Profile angle at the facade; None without direct sun.
        direct: The centre of the sun shines on the wall.
        beam_wpm2: Direct sunlight on the glass.
        on_glass_wpm2: All sunlight on the glass.
        measured: The watts come from a sensor; otherwise they are those of a cloudless sky.
    """

    elevation_deg: float
    azimuth_deg: float
    profile_deg: float | None
    direct: bool
    beam_wpm2: float
    on_glass_wpm2: float
    measured: bool

    @property
    def in_words(self) -> str:
        """Where it stands."""
        return f"sun at {self.azimuth_deg:.0f}°, {self.elevation_deg:.0f}° high"


@dataclass(frozen=True, slots=True, kw_only=True)
class Peak:
    """The highest reading since some time ago.

    Attributes:
        age_s: How long ago, 0 or more.
        value: In the unit of its kind.
    """

    age_s: float
    value: float


_NONE: Mapping[str, float] = MappingProxyType({})
_NO_PEAKS: Mapping[str, tuple[Peak, ...]] = MappingProxyType({})


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """What the sensors that serve this shade say.

    Attributes:
        values: By kind; only what is fresh and plausible.
        lost: Kinds of which some sensor has had no good reading for longer than it may.
        fitted: Kinds for which there is a sensor at all.
        peaks: By kind; from old to new, each higher than all after it.
        steady_s: By kind; for how long its readings have been good without a break.
    """

    values: Mapping[str, float] = field(default_factory=lambda: _NONE)
    lost: frozenset[str] = frozenset()
    fitted: frozenset[str] = frozenset()
    peaks: Mapping[str, tuple[Peak, ...]] = field(default_factory=lambda: _NO_PEAKS)
    steady_s: Mapping[str, float] = field(default_factory=lambda: _NONE)

    def of(self, kind: str) -> float | None:
        """Return the reading of a kind; None when it is missing or stale."""
        return self.values.get(kind)

    def yes(self, kind: str) -> bool | None:
        """Return a reading that is 0 or 1; None when it is missing or stale."""
        value = self.values.get(kind)
        return None if value is None else value > 0

    def highest(self, kind: str, within_s: float) -> float | None:
        """Return the highest reading of the last `within_s` seconds; None when there was none."""
        recent = [peak.value for peak in self.peaks.get(kind, ()) if peak.age_s <= within_s]
        now = self.values.get(kind)
        return max([*recent, *(() if now is None else (now,))], default=None)

    @property
    def ghi_wpm2(self) -> float | None:
        """Global irradiance on level ground, from a light meter outdoors when there is no better."""
        lux = self.values.get("illuminance")
        watts = self.values.get("irradiance", None if lux is None else lux / LUX_PER_WPM2)
        # Sensors read a few watts below zero in the dark.
        return None if watts is None else max(0.0, watts)


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """What a rule sees of one shade at one instant.

    Attributes:
        utc: Aware UTC.
        local: The same on the clocks of the house, aware.
        season: Of the house's hemisphere.
        sun: None where the settings tell no place or no window.
        window: Heights for the hem bar; None when not told.
        mounting: Interior or exterior.
        drop_m: From the upper to the lower limit.
        open_pct: Where the hem bar is taken to be; None when unknown.
        readings: Of the sensors that serve the shade.
        stood: What this rule asked at its last look; None when it had no opinion.
    """

    utc: datetime
    local: datetime
    season: Season
    sun: SunAtWindow | None
    window: Window | None
    mounting: Mounting
    drop_m: float
    open_pct: float | None
    readings: Readings
    stood: Demand | None = None

    @property
    def stands(self) -> bool:
        """This rule asked something at its last look."""
        return self.stood is not None

    def open_pct_for_hem(self, hem_m: float) -> float:
        """Return the percent open that puts the hem bar at a height above the floor.

        0 where the shade does not reach so far down, 100 where it begins lower.
        """
        assert self.window is not None, "heights need a window"
        lowered = (self.window.upper_m - hem_m) / self.drop_m
        return 100.0 * (1.0 - min(max(lowered, 0.0), 1.0))

    def hem_m(self, open_pct: float) -> float:
        """Return the height of the hem bar above the floor at a percent open."""
        assert self.window is not None, "heights need a window"
        return self.window.upper_m - (1.0 - open_pct / 100.0) * self.drop_m

    @property
    def clock(self) -> time:
        """What the clocks of the house show."""
        return self.local.time()


_SEASONS = tuple(Season)


def season_at(local: datetime, latitude_deg: float) -> Season:
    """Return the season of a local date: three whole months each, turned round south of the equator.

    Source:
        Meteorological seasons, as climate services count them.
    """
    north = local.month % 12 // 3
    return _SEASONS[north if latitude_deg >= 0 else (north + 2) % 4]
