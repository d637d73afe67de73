"""One local day of a shade under a cloudless sky: the sun, what the rules will ask, the plan; a year of them.

Brings numpy: import it where it is used.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from bridge.core.plan.ahead import foreseeable
from bridge.core.plan.course import OPEN_PCT, course, in_steps, runs_of, with_view
from bridge.core.plan.series import Asked, Flags, Floats, Seen, asked_series, seen_series
from bridge.core.plan.strategy import VIEW_MIN, followed
from bridge.core.rules.seeing import zone_of
from bridge.core.spec import ShadeSpec
from bridge.core.sun.daylight import LocalDay
from bridge.core.sun.series import far_series
from bridge.core.surroundings import Restraint, Site

# As the rule for the depth of the sun has it by itself.
USUAL_LIMIT_M = 1.0
MAP_STEP_S = 600.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShadeDay:
    """A day, minute by minute; arrays of shape (n,).

    Attributes:
        seen: What the rules will see.
        asked: What they will ask.
        planned: Percent open of the plan.
        followed: The same when the rules are followed look by look.
        far_up_m: How deep the sun would come with the shade up.
        far_m: How deep it will come with the plan.
        limit_m: How deep it may come; None where no rule says.
    """

    seen: Seen
    asked: Asked
    planned: Floats
    followed: Floats
    far_up_m: Floats
    far_m: Floats
    limit_m: float | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SunMap:
    """A year by local date and clock; arrays of shape (clock, date), 10 minutes a row, NaN where none is.

    Attributes:
        up: The sun's centre is above the horizon; 1 or 0.
        far_m: How deep the sun comes with the shade up; 0 without sun on the window.
        lit: The sun shines on the window; 1 or 0.
        open_pct: How far open the rules let it be.
        limit_m: How deep the sun may come, or what is usual.
    """

    up: Floats
    far_m: Floats
    lit: Floats
    open_pct: Floats
    limit_m: float


def depth_limit_m(spec: ShadeSpec) -> float | None:
    """Return the depth limit of the shade's own rule; None when it has none."""
    found = (getattr(each.params, "depth_limit_m", None) for each in spec.rules)
    return next((float(each) for each in found if each is not None), None)


def shade_day(
    site: Site, spec: ShadeSpec, restraint: Restraint, day: LocalDay, *, outdoor_c: float | None = None
) -> ShadeDay:
    """Return the day of a shade with a window.

    Args:
        site: Where the house stands.
        spec: The shade.
        restraint: For the smallest move and the looks.
        day: The local day.
        outdoor_c: Temperature outdoors all day; None when it is not known.
    """
    times = np.arange(day.start_utc.timestamp(), day.end_utc.timestamp(), 60.0)
    seen, asked = _asked(site, spec, times, outdoor_c)
    cut = [in_steps(each, restraint.smallest_move_pct) for each in _ranges(asked)]
    worth = restraint.move_worth_s / 60 * OPEN_PCT
    plan = np.array(course(with_view(runs_of(cut), free_steps=VIEW_MIN), move_worth=worth).places())
    assert spec.window is not None
    return ShadeDay(
        seen=seen,
        asked=asked,
        planned=plan,
        followed=followed(asked, restraint, start_pct=float(plan[0])),
        far_up_m=far_series(spec.window.opening, seen.wall),
        far_m=depth_with(spec, seen, plan),
        limit_m=depth_limit_m(spec),
    )


def depth_with(spec: ShadeSpec, seen: Seen, open_pct: Floats) -> Floats:
    """Return how deep the sun comes in metres with the shade at these places, both of shape (n,)."""
    assert spec.window is not None, "the sun needs a window"
    hem_m = spec.window.upper_m - (1.0 - open_pct / 100.0) * spec.travel.roll.drop_mm / 1000
    return far_series(spec.window.opening, seen.wall, hem_m=hem_m)


def sun_map(site: Site, spec: ShadeSpec, year: int, *, outdoor_c: float | None = None) -> SunMap:
    """Return a year of a shade with a window, under a cloudless sky.

    Args:
        site: Where the house stands.
        spec: The shade.
        year: 1902 to 2098.
        outdoor_c: Temperature outdoors all year; None when it is not known.
    """
    zone = zone_of(site.timezone)
    first_s, last_s = (datetime(at, 1, 1, tzinfo=zone).timestamp() for at in (year, year + 1))
    times = np.arange(first_s, last_s, MAP_STEP_S)
    seen, asked = _asked(site, spec, times, outdoor_c)
    assert spec.window is not None
    clocks = [datetime.fromtimestamp(each, tz=UTC).astimezone(zone) for each in times.tolist()]
    rows = [clock.hour * 6 + clock.minute // 10 for clock in clocks]
    columns = [clock.timetuple().tm_yday - 1 for clock in clocks]
    limit_m = depth_limit_m(spec)
    size = (144, max(columns) + 1)

    def laid_out(values: Floats | Flags) -> Floats:
        grid: NDArray[np.float64] = np.full(size, np.nan)
        grid[rows, columns] = values
        return grid

    return SunMap(
        up=laid_out(seen.sun.up > 0),
        far_m=laid_out(far_series(spec.window.opening, seen.wall)),
        lit=laid_out(seen.wall.direct_sun),
        open_pct=laid_out(asked.high_pct),
        limit_m=USUAL_LIMIT_M if limit_m is None else limit_m,
    )


def _asked(site: Site, spec: ShadeSpec, times: Floats, outdoor_c: float | None) -> tuple[Seen, Asked]:
    # NaN is a reading that is missing.
    all_day_c = np.full(times.shape, np.nan if outdoor_c is None else outdoor_c)
    seen = seen_series(site, spec, times, outdoor_c=all_day_c)
    return seen, asked_series(seen, foreseeable(spec.rules))


def _ranges(asked: Asked) -> Sequence[tuple[float, float]]:
    return list(zip(asked.low_pct.tolist(), asked.high_pct.tolist(), strict=True))
