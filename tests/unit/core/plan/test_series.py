"""Many instants at once give what the rules say one by one."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time

import numpy as np
import pytest

from bridge.core.errors import RequestError
from bridge.core.plan.ahead import ranges_of, verdicts_ahead
from bridge.core.plan.outside import measured, outside_series
from bridge.core.plan.series import SERIES, asked_series, seen_of, seen_series, seen_under
from bridge.core.rules.catalogue import rules
from bridge.core.rules.clock import Day
from bridge.core.rules.demand import Standing, decided
from bridge.core.rules.seeing import demands_at, view_of
from bridge.core.rules.view import Peak, Readings
from bridge.core.spec import ShadeSpec
from bridge.core.sun.sky import utc_of
from bridge.core.surroundings import RuleChoice
from tests.core_house import LANDING, demo_spec
from tests.weather import AZORES, WINDOW, choice

CHOICES = (
    choice("wind"),
    choice("rain", dry_min=30.0),
    choice("dawn-light", awake_at=time(6, 45), days=(Day.MON, Day.THU, Day.SUN)),
    choice("night", until=time(7, 30)),
    choice("sun-depth", depth_limit_m=0.8),
    choice("heat", outdoor_c=19.0),
    choice("warmth", outdoor_c=16.0),
    choice("schedule", times=((time(8), 70.0), (time(21, 30), 10.0)), days=(Day.TUE, Day.SAT)),
)


def shade(*chosen: RuleChoice) -> ShadeSpec:
    (bare,) = (each for each in demo_spec().shades if each.id == LANDING)
    return replace(bare, window=WINDOW, rules=chosen or CHOICES)


def minutes(begins: datetime, days: float) -> np.ndarray:
    return begins.timestamp() + np.arange(round(days * 1440)) * 60.0


@pytest.mark.parametrize("month", [1, 3, 6, 10])
@pytest.mark.parametrize("chosen", [*((each,) for each in CHOICES[2:]), CHOICES[2:]], ids=lambda c: c[0].rule)
def test_a_cloudless_day_ahead_is_the_same_one_by_one(month: int, chosen: tuple[RuleChoice, ...]) -> None:
    # The last Saturday of March and October, so that the clocks change within.
    begins = datetime(2026, month, {1: 10, 3: 28, 6: 20, 10: 24}[month], 18, tzinfo=UTC)
    times, spec = minutes(begins, 1), shade(*chosen)
    readings = Readings(values={"outdoor-temperature": 18.2}, fitted=frozenset({"outdoor-temperature"}))
    slow = ranges_of(verdicts_ahead(AZORES, spec, begins=begins, steps=times.size, readings=readings))
    seen = seen_series(AZORES, spec, times, outdoor_c=np.full(times.shape, 18.2))
    fast = asked_series(seen, spec.rules)
    assert list(zip(fast.low_pct.tolist(), fast.high_pct.tolist(), strict=True)) == slow


def test_weather_is_answered_the_same_one_by_one() -> None:
    times, spec = minutes(datetime(2026, 5, 2, tzinfo=UTC), 2), shade()
    turn = np.arange(times.size)
    told = {
        "ghi_wpm2": np.round(np.maximum(0.0, 700 * np.sin((turn - 400) / 1440 * 2 * np.pi))),
        "outdoor_c": 17 + 6 * np.sin(turn / 300),
        "wind_mps": 4 + 3 * np.sin(turn / 90),
        "gust_mps": 6 + 4 * np.sin(turn / 70),
        "rain_mmph": np.where(turn % 700 < 40, 0.5, 0.0),
    }
    fast = asked_series(seen_series(AZORES, spec, times, **told), spec.rules)
    slow, ups = _one_by_one(spec, times, told)
    assert list(zip(fast.low_pct.tolist(), fast.high_pct.tolist(), strict=True)) == slow
    assert fast.up.tolist() == ups
    assert {True, False} == set(ups)


KINDS = {
    "irradiance": "ghi_wpm2",
    "outdoor-temperature": "outdoor_c",
    "wind": "wind_mps",
    "gust": "gust_mps",
    "rain": "rain_mmph",
}


def _one_by_one(
    spec: ShadeSpec, times: np.ndarray, told: dict[str, np.ndarray]
) -> tuple[list[tuple[float, float]], list[bool]]:
    standing: list[Standing] = []
    ranges, ups = [], []
    for at, utc_s in enumerate(times.tolist()):
        peaks = {
            kind: tuple(
                Peak(age_s=60.0 * (at - i), value=float(told[name][i])) for i in range(max(0, at - 40), at)
            )
            for kind, name in KINDS.items()
        }
        readings = Readings(
            values={kind: float(told[name][at]) for kind, name in KINDS.items()},
            fitted=frozenset(KINDS),
            peaks=peaks,
            steady_s=dict.fromkeys(KINDS, 1e6),
        )
        view = view_of(AZORES, spec, utc_of(utc_s), open_pct=None, readings=readings)
        standing = demands_at(view, spec.rules, standing)
        verdict = decided(standing, now_pct=100.0)
        ranges.append((verdict.firm_low_pct, verdict.high_pct))
        ups.append(any(each.demand.guard for each in standing))
    return ranges, ups


def test_what_was_asked_in_one_weather_does_not_show_in_another() -> None:
    times, spec = minutes(datetime(2026, 5, 2, tzinfo=UTC), 0.1), shade(choice("wind"))
    calm = outside_series(AZORES, times, gust_mps=np.full(times.shape, 1.0))
    seen = seen_of(calm, spec)
    gale = seen_under(seen, measured(calm, gust_mps=np.full(times.shape, 20.0)))
    ups = [asked_series(each, spec.rules).up for each in (seen, gale, seen)]
    assert [up.all() for up in ups] == [False, True, False]
    assert not ups[0].any()


def test_ice_lets_nothing_start_until_it_is_warmer_again() -> None:
    times, spec = minutes(datetime(2026, 1, 2, tzinfo=UTC), 0.01), shade(choice("ice"))
    outdoor = np.array([5.0, 2.0, 3.5, 4.1, 3.5, *[5.0] * 9])
    seen = seen_series(AZORES, spec, times, outdoor_c=outdoor)
    assert asked_series(seen, spec.rules).still.tolist()[:5] == [False, True, True, False, False]


def test_every_rule_can_be_reckoned_over_a_year() -> None:
    assert set(SERIES) == set(rules())


def test_a_rule_that_is_not_known_is_refused() -> None:
    times, spec = minutes(datetime(2026, 1, 2, tzinfo=UTC), 0.01), shade()
    with pytest.raises(RequestError, match="it can't be reckoned over many instants"):
        asked_series(seen_series(AZORES, spec, times), [RuleChoice(rule="moon", params=object())])
