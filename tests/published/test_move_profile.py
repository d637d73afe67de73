"""Move profiles against numeric integration of dt = ds/v(s); sources stand in values/build.json."""

import json
from pathlib import Path
from typing import Any

import pytest

from bridge.core.shade.profile import move_profile

ENTRIES: list[dict[str, Any]] = [
    entry
    for entry in json.loads((Path(__file__).parent / "values" / "build.json").read_text())["entries"]
    if entry["kind"] == "move_profile"
]


@pytest.mark.parametrize("entry", ENTRIES, ids=[entry["id"] for entry in ENTRIES])
def test_a_move_takes_as_long_as_numeric_integration_says(entry: dict[str, Any]) -> None:
    given, want, within = entry["inputs"], entry["expected"], entry["tolerance"]["relative"]
    profile = move_profile(
        steps=given["steps"],
        top_pps=given["max_steps_per_s"],
        ramp_pps2=given["accel_steps_per_s2"],
        start_pps=given["start_speed"],
    )
    assert profile.duration_s == pytest.approx(want["duration_s"], rel=within)
    assert profile.peak_pps == pytest.approx(want["peak_steps_per_s"], rel=within)
    assert profile.ramp_steps == pytest.approx(want["ramp_steps"], rel=within)
    assert profile.shape == want["shape"]
