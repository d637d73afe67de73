"""Every kind of sensor against its named cases: what strangers publish becomes a number, or none."""

import math
import tomllib
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.adapters.sensors.catalogue import kinds
from bridge.adapters.sensors.source import Source
from bridge.core.surroundings import SensorId
from bridge.core.values import Moment

CASES = Path(__file__).parent / "cases"
AT = Moment(utc=datetime(2026, 6, 1, tzinfo=UTC), mono_s=5.0)


def cases() -> list[Any]:
    return [
        pytest.param(path.stem, case, id=f"{path.stem}: {case['name']}")
        for path in sorted(CASES.glob("*.toml"))
        for case in tomllib.loads(path.read_text(encoding="utf-8"))["case"]
    ]


def source(kind: str, **more: Any) -> Source:
    usual = kinds()[kind]
    return Source(
        id=SensorId("a-sensor"),
        kind=kind,
        topic="weather/roof",
        unit=more.get("unit", next(iter(usual.units))),
        pointer=more.get("pointer"),
        words={**usual.usual.words, **more.get("words", {})},
        retained=False,
        qos=0,
    )


@pytest.mark.parametrize(("kind", "case"), cases())
def test_a_message_is_read_as_its_case_says(kind: str, case: dict[str, Any]) -> None:
    heard = kinds()[kind].decode(source(kind, **case.get("sensor", {})), case["payload"].encode(), AT)
    expect = case["expect"]
    if expect.get("ignored"):
        assert heard is None
        return
    assert heard is not None
    if "value" in expect:
        assert heard.value == pytest.approx(expect["value"], abs=1e-6), heard
        assert heard.problem == ""
    else:
        assert heard.value is None
        assert expect["problem"] in heard.problem


@pytest.mark.parametrize("kind", list(kinds()))
def test_every_kind_has_cases_of_its_units_and_of_a_refusal(kind: str) -> None:
    found = tomllib.loads((CASES / f"{kind}.toml").read_text(encoding="utf-8"))["case"]
    shown = {case.get("sensor", {}).get("unit") for case in found}
    assert set(list(kinds()[kind].units)[1:]) <= shown
    assert any("problem" in case["expect"] for case in found)


@pytest.mark.parametrize("kind", list(kinds()))
@given(
    payload=st.binary(max_size=300) | st.sampled_from([b"NaN", b"Infinity", b"1e999", b"-0", b"1_0", b"[1]"])
)
def test_whatever_is_published_is_a_finite_number_or_none_with_a_reason(kind: str, payload: bytes) -> None:
    for each in (source(kind), source(kind, pointer="/a")):
        heard = kinds()[kind].decode(each, payload, AT)
        if heard is not None:
            assert (heard.value is not None and math.isfinite(heard.value)) or heard.problem


@pytest.mark.parametrize("kind", list(kinds()))
def test_what_is_usual_is_a_range(kind: str) -> None:
    usual = kinds()[kind].usual
    assert usual.low < usual.high
    assert usual.stale_s > 0
    assert next(iter(kinds()[kind].units.values())).of(7.0) == 7.0
