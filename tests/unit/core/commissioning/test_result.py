"""What is written: holding ranges, trims, and nothing that was not learnt."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import pytest

from bridge.core.commissioning.holding import computed, holds_at, map_in_words, proven
from bridge.core.commissioning.result import edits, sheet_rows, trimmed
from bridge.core.commissioning.state import Weight
from bridge.core.errors import RequestError
from tests.unit.core.commissioning.bench import FACTS, Bench, with_facts


@pytest.mark.parametrize(
    ("tried", "holds"),
    [
        ((), ((0.0, 100.0),)),
        (((90, 0), (70, 0), (50, 0), (30, 0), (10, 0)), ((0.0, 100.0),)),
        (((90, 0), (70, 0), (50, 40), (30, 0), (10, 0)), ((0.0, 30.0), (70.0, 100.0))),
        (((90, 0), (70, 3), (50, 40), (30, 9), (10, 5)), ((90.0, 100.0),)),
        (((90, 5), (70, 5)), ()),
        (((70, 0), (50, 0)), ((50.0, 70.0),)),
    ],
)
def test_between_two_heights_that_held_the_map_stands_and_elsewhere_nothing(
    tried: tuple[tuple[float, float], ...], holds: object
) -> None:
    assert proven(FACTS, tried) == holds


def test_where_the_map_says_that_it_falls_two_heights_that_held_prove_nothing_between() -> None:
    facts = with_facts(holds=((0.0, 20.0), (60.0, 100.0)))
    tried = tuple((height, 0.0) for height in (90.0, 70.0, 50.0, 30.0, 10.0))
    assert proven(facts, tried) == ((0.0, 20.0), (60.0, 100.0))


def test_with_weight_and_detent_the_map_is_computed_and_says_so() -> None:
    facts = with_facts(weight=Weight(width_mm=1000, cloth_kgpm2=0.3, hem_bar_kg=0.3, detent_nm=0.03))
    assert computed(FACTS) is None
    assert map_in_words(FACTS).startswith("The settings say")
    assert map_in_words(facts).startswith("Computed, with a margin,")
    strong = replace(facts, weight=Weight(width_mm=1000, cloth_kgpm2=0.3, hem_bar_kg=0.3, detent_nm=0.3))
    weak = replace(facts, weight=Weight(width_mm=1000, cloth_kgpm2=0.3, hem_bar_kg=0.3, detent_nm=0.0))
    assert holds_at(strong, 50)
    assert not holds_at(weak, 50)
    assert map_in_words(weak).endswith("nowhere.")


def test_a_trim_moves_limits_and_keeps_the_cloth() -> None:
    found = {each.path: each.value for each in trimmed(FACTS, upper_mm=6.0, lower_mm=-4.0)}
    assert found["drop_mm",] == FACTS.drop_mm - 10
    assert found["references", "upper_switch_mm"] == -10
    assert found["trust", "overrun_mm"] == 16
    wraps = found["wraps_left",]
    assert isinstance(wraps, float)
    assert (wraps - FACTS.wraps_left) * pi * 39.6 == pytest.approx(4.0, abs=0.1)


def test_a_trim_of_the_lower_limit_alone_touches_nothing_above() -> None:
    paths = {each.path for each in trimmed(FACTS, upper_mm=0, lower_mm=3)}
    assert paths == {("drop_mm",), ("turns",), ("wraps_left",)}


@pytest.mark.parametrize(("upper", "lower"), [(101, 0), (0, -150), (0, 90)])
def test_what_is_no_trim_is_refused(upper: float, lower: float) -> None:
    with pytest.raises(RequestError):
        trimmed(FACTS, upper_mm=upper, lower_mm=lower)


def test_every_edit_of_a_whole_commissioning_is_something_learnt_and_it_ends_in_service() -> None:
    bench = Bench()
    bench.run()
    found = {each.path: each.value for each in edits(bench.state, FACTS)}
    assert found["in_service",] is None
    assert found["drive", "confirmed"] is True
    assert ("drive", "gear") not in found
    assert ("unpowered", "holds") not in found
    assert found["drop_mm",] == 1320


def test_a_switch_further_up_than_the_settings_let_it_be_raises_that_bound() -> None:
    bench = Bench()
    bench.run()
    low = replace(bench.state, facts=replace(bench.state.facts, overrun_mm=4.0))
    found = {each.path: each.value for each in edits(low, FACTS)}
    overrun, switch = found["trust", "overrun_mm"], found["references", "upper_switch_mm"]
    assert isinstance(overrun, float)
    assert isinstance(switch, float)
    assert overrun > -switch


def test_the_sheet_has_every_number_and_what_the_settings_said_before() -> None:
    bench = Bench()
    bench.run()
    rows = sheet_rows(bench.state, bench.facts)
    text = " ".join(part for lines in rows.values() for line in lines for part in line)
    for word in ("1320 mm", "57/11", "asleep at 50 % open stayed", "(the settings said 0.5)"):
        assert word in text
