"""Every rule against its named cases, and against its example in config/rules.toml."""

import json
import tomllib
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from bridge.adapters.sensors.catalogue import kinds
from bridge.core.rules.catalogue import rules
from bridge.core.rules.demand import Demand
from bridge.core.rules.view import Peak, Readings, Season, SunAtWindow, View
from bridge.core.spec import Mounting
from bridge.core.sun.sky import SunPosition
from bridge.core.sun.window import angles
from bridge.settings.faults import ConfigFaults
from bridge.settings.load import load_text
from bridge.settings.ruling import params_adapter
from tests.weather import WINDOW

CASES = Path(__file__).parent / "cases"
CONFIG = Path(__file__).parents[4] / "config"
FILES = Path(__file__).parents[4] / "bridge" / "core" / "rules"


def cases() -> list[Any]:
    return [
        pytest.param(path.stem, case, id=f"{path.stem}: {case['name']}")
        for path in sorted(CASES.glob("*.toml"))
        for case in tomllib.loads(path.read_text(encoding="utf-8"))["case"]
    ]


def sun_of(given: dict[str, Any]) -> SunAtWindow:
    seen = angles(
        WINDOW.facade, SunPosition(elevation_deg=given["elevation_deg"], azimuth_deg=given["azimuth_deg"])
    )
    return SunAtWindow(
        elevation_deg=given["elevation_deg"],
        azimuth_deg=given["azimuth_deg"],
        profile_deg=seen.profile_angle_deg,
        direct=seen.direct_sun,
        beam_wpm2=given.get("beam_wpm2", 0.0),
        on_glass_wpm2=given.get("on_glass_wpm2", given.get("beam_wpm2", 0.0)),
        measured=given.get("measured", False),
    )


def view_of(given: dict[str, Any]) -> View:
    local = datetime.fromisoformat(given.get("local", "2026-06-20T15:00:00+00:00"))
    values = given.get("readings", {})
    peaks = {
        kind: tuple(Peak(age_s=60.0 * age, value=value) for age, value in some)
        for kind, some in given.get("peaks_min", {}).items()
    }
    fitted = frozenset([*values, *given.get("silent", []), *given.get("lost", [])])
    stood = given.get("stood")
    return View(
        utc=local,
        local=local,
        season=Season(given.get("season", "summer")),
        sun=sun_of(given["sun"]) if "sun" in given else None,
        window=WINDOW,
        mounting=Mounting.EXTERIOR,
        drop_m=1.5,
        open_pct=given.get("open_pct", 60.0),
        readings=Readings(
            values=values,
            lost=frozenset(given.get("lost", [])),
            fitted=fitted,
            peaks=peaks,
            steady_s={kind: 60.0 * given.get("steady_min", 1e6) for kind in values},
        ),
        stood=None if stood is None else Demand(**{"why": "before", **stood}),
    )


@pytest.mark.parametrize(("name", "case"), cases())
def test_a_case_comes_out_as_it_says(name: str, case: dict[str, Any]) -> None:
    rule = rules()[name]
    given, expect = case["given"], case["expect"]
    params = params_adapter(rule).validate_json(json.dumps(given.get("params", {})))
    demand = rule.demand(view_of(given), params)
    if expect.get("none"):
        assert demand is None
        return
    assert demand is not None
    for key, value in expect.items():
        if key == "says":
            assert value in demand.why
        else:
            assert getattr(demand, key) == pytest.approx(value, abs=1e-9), demand
    told = {"at_least_pct": 0.0, "at_most_pct": 100.0, "may_lower": True, "may_raise": True, "guard": False}
    for key, value in told.items():
        assert key in expect or getattr(demand, key) == value, demand


@pytest.mark.parametrize("rule", list(rules()))
def test_every_rule_has_cases_one_of_them_without_an_opinion(rule: str) -> None:
    found = tomllib.loads((CASES / f"{rule}.toml").read_text(encoding="utf-8"))["case"]
    assert len(found) >= 3
    assert len({case["name"] for case in found}) == len(found)
    assert rule == "schedule" or any(case["expect"].get("none") for case in found)


@pytest.mark.parametrize("rule", list(rules()))
def test_every_rule_that_looks_at_readings_says_what_happens_without_them(rule: str) -> None:
    source = (FILES / f"{rule.replace('-', '_')}.py").read_text(encoding="utf-8")
    found = tomllib.loads((CASES / f"{rule}.toml").read_text(encoding="utf-8"))["case"]
    without = [case for case in found if not case["given"].get("readings")]
    assert "readings" not in source or without


def example() -> str:
    return "".join((CONFIG / name).read_text(encoding="utf-8") for name in ("hembar.toml", "rules.toml"))


@pytest.mark.parametrize("rule", list(rules()))
def test_every_rule_has_an_example_that_shows_all_its_keys(rule: str) -> None:
    text = (CONFIG / "rules.toml").read_text(encoding="utf-8")
    tables = [part for part in text.split("[[rule]]")[1:] if f'rule = "{rule}"' in part]
    assert len(tables) == 1
    keys = params_adapter(rules()[rule]).json_schema()["properties"]
    missing = [key for key in keys if f"\n{key} = " not in tables[0] and f"\n# {key} = " not in tables[0]]
    assert missing == []


def test_the_examples_are_taken_as_they_stand_and_with_every_default_written_out() -> None:
    as_it_stands = load_text(example(), origin="rules.toml")
    assert {each.rule for shade in as_it_stands.house.shades for each in shade.rules} == set(rules())
    head, sep, tail = example().partition("# --- rules ---")
    written = sep + "\n".join(
        line[2:] if line.startswith("# ") and " = " in line and not line.startswith("# ---") else line
        for line in tail.splitlines()[1:]
    )
    full = load_text(head + "\n" + written.removeprefix(sep), origin="rules.toml")
    assert full.house.shades == as_it_stands.house.shades


def test_the_examples_show_every_kind_of_sensor_or_name_it() -> None:
    text = (CONFIG / "rules.toml").read_text(encoding="utf-8")
    assert [kind for kind in kinds() if f'"{kind}"' not in text] == []


@pytest.mark.parametrize("rule", list(rules()))
def test_a_misspelt_key_is_refused_with_the_right_one(rule: str) -> None:
    key = next(iter(params_adapter(rules()[rule]).json_schema()["properties"]))
    wrong = f"{key[:-1]}z"
    text = f'\n[[rule]]\nrule = "{rule}"\nshades = ["landing"]\n{wrong} = 1\n'
    with pytest.raises(ConfigFaults) as caught:
        load_text(example() + text, origin="rules.toml")
    told = str(caught.value)
    assert f"{wrong} is not a known key of the {rule} rule; did you mean {key}?" in told


@pytest.mark.parametrize("rule", list(rules()))
def test_a_number_that_is_none_is_refused(rule: str) -> None:
    schema = params_adapter(rules()[rule]).json_schema()["properties"]
    key = next((key for key, each in schema.items() if each.get("type") == "number"), None)
    if key is None:
        pytest.skip("it has no numbers")
    text = f'\n[[rule]]\nrule = "{rule}"\nshades = ["landing"]\n{key} = nan\n'
    with pytest.raises(ConfigFaults):
        load_text(example() + text, origin="rules.toml")


@pytest.mark.parametrize("rule", list(rules()))
def test_numbers_beyond_their_range_are_refused(rule: str) -> None:
    schema = params_adapter(rules()[rule]).json_schema()
    for key, each in schema["properties"].items():
        if each.get("type") not in ("number", "integer"):
            continue
        given = {name: "07:00" for name in schema.get("required", []) if name == "awake_at"}
        with pytest.raises(ValueError, match=key):
            params_adapter(rules()[rule]).validate_json(json.dumps({**given, key: 1_000_000}))
