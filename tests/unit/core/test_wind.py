import math

import pytest

from bridge.core.errors import RequestError
from bridge.core.wind import beaufort, resistance_class, velocity_pressure_npm2

LIMITS_MPS = (0.3, 1.6, 3.4, 5.5, 8.0, 10.8, 13.9, 17.2, 20.8, 24.5, 28.5, 32.7)


@pytest.mark.parametrize("force", range(1, 13))
def test_each_force_begins_at_its_limit(force: int) -> None:
    limit = LIMITS_MPS[force - 1]
    assert beaufort(limit).force == force
    assert beaufort(limit - 0.01).force == force - 1


@pytest.mark.parametrize("limit", LIMITS_MPS)
def test_kilometres_per_hour_meet_the_same_limits(limit: float) -> None:
    assert beaufort(round(limit * 3.6, 6) / 3.6) == beaufort(limit)


@pytest.mark.parametrize(("pressure", "number"), [(0, 0), (40, 1), (70, 2), (110, 3), (1000, 3)])
def test_each_class_begins_at_its_pressure(pressure: float, number: int) -> None:
    assert resistance_class(pressure) == number
    assert resistance_class(velocity_pressure_npm2(math.sqrt(pressure / 0.625))) == number


@pytest.mark.parametrize("wind_mps", [-0.1, 151, float("nan"), float("inf")])
def test_a_wind_that_never_blew_is_refused(wind_mps: float) -> None:
    for question in (beaufort, velocity_pressure_npm2):
        with pytest.raises(RequestError, match=r"^wind: .* give a speed of 0 or more"):
            question(wind_mps)
