"""Hours of sun on a wall over a year, for a window without a shade and a sky without clouds."""

from dataclasses import dataclass
from datetime import UTC, datetime

from bridge.core.sun.checked import within
from bridge.core.sun.sky import FIRST_YEAR, LAST_YEAR, Place
from bridge.core.sun.window import Facade, Opening


@dataclass(frozen=True, slots=True, kw_only=True)
class SunlitYear:
    """Hours of one calendar year of UTC, counted in steps of one minute.

    Args:
        above_horizon_h: Sun's centre above 0 degrees.
        direct_sun_h: And shining on the wall.
        deeper_h: And reaching deeper than the limit.
    """

    above_horizon_h: float
    direct_sun_h: float
    deeper_h: float


def sunlit_year(
    place: Place, facade: Facade, opening: Opening, *, year: int, depth_limit_m: float
) -> SunlitYear:
    """Count a year of minutes; the shade is fully up.

    Args:
        place: The house.
        facade: The wall and its view.
        opening: The glass and the plane on which the depth counts.
        year: 1901 to 2099.
        depth_limit_m: From the facade, 0 or more.

    Raises:
        RequestError: the year or the limit is outside its range.
    """
    # Heavy, and of no use to the daemon.
    import numpy as np  # noqa: PLC0415

    from bridge.core.sun.series import far_series, sun_series, wall_series  # noqa: PLC0415

    within(year, where="year", low=FIRST_YEAR, high=LAST_YEAR, unit="", remedy="ask for a year in between")
    within(depth_limit_m, where="depth limit", low=0, high=1000, unit="m",
           remedy="give metres into the room, square to the facade")  # fmt: skip
    start_s = datetime(year, 1, 1, tzinfo=UTC).timestamp()
    end_s = datetime(year + 1, 1, 1, tzinfo=UTC).timestamp()
    sun = sun_series(place, np.arange(start_s, end_s, 60.0))
    wall = wall_series(sun, facade)
    counts = (sun.up > 0, wall.direct_sun, far_series(opening, wall) > depth_limit_m)
    above_h, direct_h, deeper_h = (float(np.count_nonzero(count)) / 60.0 for count in counts)
    return SunlitYear(above_horizon_h=above_h, direct_sun_h=direct_h, deeper_h=deeper_h)
