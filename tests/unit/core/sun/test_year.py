import pytest

from bridge.core.errors import RequestError
from bridge.core.sun.sky import Place
from bridge.core.sun.window import Facade, Opening
from bridge.core.sun.year import sunlit_year

PLACE = Place(latitude_deg=10, longitude_deg=0)
OPENING = Opening(sill_m=0.9, head_m=2.1)


def test_every_hour_deeper_is_an_hour_of_sun_and_of_day() -> None:
    hours = sunlit_year(PLACE, Facade(azimuth_deg=90), OPENING, year=2024, depth_limit_m=1)
    assert 0 < hours.deeper_h < hours.direct_sun_h < hours.above_horizon_h
    # East and west share the day.
    west = sunlit_year(PLACE, Facade(azimuth_deg=270), OPENING, year=2024, depth_limit_m=1)
    assert hours.direct_sun_h + west.direct_sun_h == pytest.approx(hours.above_horizon_h, abs=0.5)


@pytest.mark.parametrize(
    ("year", "limit_m", "named"), [(1900, 1, "year"), (2100, 1, "year"), (2024, -1, "depth")]
)
def test_what_cannot_be_counted_is_refused(year: int, limit_m: float, named: str) -> None:
    with pytest.raises(RequestError, match=f"^{named}"):
        sunlit_year(PLACE, Facade(azimuth_deg=0), OPENING, year=year, depth_limit_m=limit_m)
