"""What can be foreseen, and what can't."""

from __future__ import annotations

from datetime import UTC, datetime

from bridge.core.plan.ahead import foreseeable, foreseen, ranges_of, verdicts_ahead
from bridge.core.rules.view import Readings
from tests.scene import shade_spec
from tests.weather import AZORES, WINDOW, choice

AFTERNOON = datetime(2026, 6, 1, 15, tzinfo=UTC)
RULES = (choice("wind"), choice("rain"), choice("ice"), choice("doorway"), choice("heat"))


def test_weather_and_doors_are_not_foreseen_and_the_others_keep_their_numbers() -> None:
    left = [(number, each.rule) for number, each in enumerate(foreseeable(RULES)) if each.params is not None]
    assert left == [(4, "heat")]


def test_temperatures_and_presence_last_and_the_sky_is_cloudless() -> None:
    now = Readings(
        values={"outdoor-temperature": 27.0, "irradiance": 80.0, "gust": 22.0, "presence": 0.0},
        fitted=frozenset({"outdoor-temperature", "irradiance", "gust", "presence"}),
    )
    kept = foreseen(now)
    assert kept.values == {"outdoor-temperature": 27.0, "presence": 0.0}
    assert kept.ghi_wpm2 is None
    spec = shade_spec("landing", window=WINDOW, rules=RULES)
    (verdict,) = verdicts_ahead(AZORES, spec, begins=AFTERNOON, steps=1, readings=now)
    assert ranges_of([verdict]) == [(0.0, 0.0)]
    assert verdict.high_by is not None
    assert verdict.high_by.number == 4
    assert "under a clear sky" in verdict.high_by.demand.why


def test_what_is_yielded_to_a_lost_demand_is_no_promise() -> None:
    rules = (choice("heat"), choice("schedule", times=((datetime.min.time(), 90.0),)))
    spec = shade_spec("landing", window=WINDOW, rules=rules)
    warm = Readings(values={"outdoor-temperature": 27.0}, fitted=frozenset({"outdoor-temperature"}))
    found = verdicts_ahead(AZORES, spec, begins=AFTERNOON, steps=1, readings=warm)
    assert ranges_of(found) == [(0.0, 20.0)]
