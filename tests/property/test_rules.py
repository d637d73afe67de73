"""Whatever the sun, the readings and the hour: rules give ranges, so do they together, wind only raises."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import isfinite
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.core.intending import wish
from bridge.core.rules.catalogue import rules
from bridge.core.rules.demand import Demand, Standing, Verdict, bounds, decided
from bridge.core.rules.seeing import demands_at, view_of
from bridge.core.rules.view import Peak, Readings, View
from bridge.core.sun.sky import Place
from bridge.core.surroundings import Site
from bridge.core.values import Rank
from bridge.settings.ruling import params_adapter
from tests.scene import shade_spec
from tests.weather import WINDOW, choice

SPANS = {
    "gust": (0, 114),
    "wind": (0, 60),
    "rain": (0, 500),
    "irradiance": (-10, 1800),
    "illuminance": (0, 200_000),
    "outdoor-temperature": (-90, 60),
    "indoor-temperature": (-30, 60),
    "presence": (0, 1),
    "contact": (0, 1),
}
REQUIRED: dict[str, dict[str, Any]] = {
    "schedule": {"times": [["07:30", 100], ["21:30", 0]]},
    "dawn-light": {"awake_at": "06:45"},
}
SPEC = shade_spec("landing", window=WINDOW)


@st.composite
def readings(draw: st.DrawFn) -> Readings:
    values, peaks = {}, {}
    lost, fitted = set(), set()
    for kind, (low, high) in SPANS.items():
        state = draw(st.sampled_from(["none", "good", "silent", "lost"]))
        if state == "none":
            continue
        fitted.add(kind)
        if state == "good":
            values[kind] = draw(st.floats(low, high))
        if state == "lost":
            lost.add(kind)
        ages = sorted(draw(st.lists(st.floats(0, 1e6), max_size=3)), reverse=True)
        peaks[kind] = tuple(Peak(age_s=age, value=draw(st.floats(low, high))) for age in ages)
    steady = {kind: draw(st.floats(0, 1e6)) for kind in values}
    return Readings(
        values=values, lost=frozenset(lost), fitted=frozenset(fitted), peaks=peaks, steady_s=steady
    )


@st.composite
def views(draw: st.DrawFn) -> View:
    place = Place(latitude_deg=draw(st.floats(-90, 90)), longitude_deg=draw(st.floats(-180, 180)))
    zone = draw(st.sampled_from(["UTC", "Atlantic/Azores", "Pacific/Apia", "Australia/Lord_Howe"]))
    began = datetime(2020, 1, 1, tzinfo=UTC)
    utc = began + timedelta(seconds=draw(st.floats(0, 16 * 365 * 86400)))
    pct = draw(st.none() | st.floats(0, 100))
    return view_of(Site(place=place, timezone=zone), SPEC, utc, open_pct=pct, readings=draw(readings()))


def params(rule: str) -> Any:
    return params_adapter(rules()[rule]).validate_json(json.dumps(REQUIRED.get(rule, {})))


@pytest.mark.parametrize("rule", list(rules()))
@given(view=views())
@settings(max_examples=60)
def test_a_rule_has_no_opinion_or_asks_for_a_range_and_says_why_without_a_number_that_is_none(
    rule: str, view: View
) -> None:
    demand = rules()[rule].demand(view, params(rule))
    if demand is None:
        return
    assert isfinite(demand.at_least_pct)
    assert isfinite(demand.at_most_pct)
    assert demand.why
    assert not any(bad in demand.why.lower() for bad in ("nan", "inf ", "none"))
    again = rules()[rule].demand(view, params(rule))
    assert again == demand


@st.composite
def demands(draw: st.DrawFn) -> Demand:
    low = draw(st.floats(0, 100))
    return Demand(
        why="a test",
        at_least_pct=low,
        at_most_pct=draw(st.floats(low, 100)),
        may_lower=draw(st.booleans()),
        may_raise=draw(st.booleans()),
        guard=draw(st.booleans()),
    )


@st.composite
def standings(draw: st.DrawFn) -> list[Standing]:
    ranks = st.sampled_from([Rank.BASE, Rank.RULE, Rank.RAIN, Rank.WIND, Rank.ICE])
    return [
        Standing(number=number, rule=f"rule-{number}", rank=draw(ranks), demand=draw(demands()))
        for number in range(draw(st.integers(0, 6)))
    ]


def overlaps(verdict: Verdict, standing: Standing, now_pct: float) -> bool:
    low, high = bounds(standing.demand, now_pct=now_pct)
    return low <= verdict.high_pct and verdict.low_pct <= high


@given(standings(), st.floats(0, 100))
def test_what_is_decided_is_one_range_within_0_and_100_and_no_winner_is_broken(
    standing: list[Standing], now_pct: float
) -> None:
    verdict = decided(standing, now_pct=now_pct)
    assert 0.0 <= verdict.firm_low_pct <= verdict.low_pct <= verdict.high_pct <= 100.0
    for each in standing:
        assert (each in verdict.lost) or overlaps(verdict, each, now_pct)
    if standing:
        first = min(standing, key=lambda each: (-each.rank, each.number))
        assert first not in verdict.lost


@given(standings(), st.floats(0, 100), st.booleans(), st.integers(1, 50))
def test_a_move_leads_into_what_was_decided_or_as_far_below_as_a_step(
    standing: list[Standing], now_pct: float, mine: bool, step_pct: int
) -> None:
    verdict = decided(standing, now_pct=now_pct)
    move = wish(verdict, now_pct=now_pct, mine=mine, step_pct=step_pct)
    if move is None:
        return
    assert 0 <= move.to_pct <= 100
    assert move.to_pct <= max(verdict.high_pct, verdict.firm_low_pct) + 1
    assert move.to_pct >= verdict.firm_low_pct - 1 or move.to_pct > verdict.high_pct - step_pct


@given(standings(), st.floats(0, 100), st.booleans(), st.integers(1, 50))
def test_wind_never_lowers(standing: list[Standing], now_pct: float, mine: bool, step_pct: int) -> None:
    wind = Demand(at_least_pct=100.0, guard=True, why="a gust")
    with_wind = [*standing, Standing(number=9, rule="wind", rank=Rank.WIND, demand=wind)]
    calm, windy = decided(standing, now_pct=now_pct), decided(with_wind, now_pct=now_pct)
    ice = [each for each in standing if each.rank >= Rank.WIND]
    if not ice:
        assert (windy.low_pct, windy.high_pct) == (100.0, 100.0)
        move = wish(windy, now_pct=now_pct, mine=mine, step_pct=step_pct)
        assert move is None or move.to_pct >= now_pct - 1
    assert windy.low_pct >= calm.low_pct or ice


@given(views(), st.floats(10, 100))
@settings(max_examples=100)
def test_more_wind_never_allows_more(view: View, gust: float) -> None:
    chosen = [choice("wind"), choice("rain"), choice("sun-depth"), choice("heat")]
    now_pct = 50.0 if view.open_pct is None else view.open_pct
    blown = Readings(
        values={**view.readings.values, "gust": gust},
        lost=view.readings.lost,
        fitted=view.readings.fitted | {"gust"},
        peaks=view.readings.peaks,
        steady_s=view.readings.steady_s,
    )
    windy = decided(demands_at(replace(view, readings=blown), chosen), now_pct=now_pct)
    assert windy.low_pct == 100.0
