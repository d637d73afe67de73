"""What is read of weather years against what others read of them.

Sources stand with each entry of values/weather.json: pvlib's readers, on the TMY3 file that its wheel carries
(National Renewable Energy Laboratory) and on an EPW file that the wheel of diyepw carries.
"""

import hashlib
import json
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

from bridge.simulate.weather_file import read_weather

Entry = dict[str, Any]
ENTRIES: list[Entry] = json.loads((Path(__file__).parent / "values" / "weather.json").read_text())["entries"]


def file_of(entry: Entry) -> Path:
    """Return the file, found in the package that carries it."""
    package = "diyepw" if "diyepw" in entry["inputs"]["package"] else "pvlib"
    spec = find_spec(package)
    if spec is None or spec.origin is None:
        pytest.skip(f"{package} is not installed")
    folder = Path(spec.origin).parent
    name = Path(entry["inputs"]["file"]).name
    path = folder / "data" / ("tmy_epw_files" if package == "diyepw" else "") / name
    assert hashlib.sha256(path.read_bytes()).hexdigest() == entry["inputs"]["sha256"]
    return path


@pytest.mark.parametrize("entry", ENTRIES, ids=[entry["id"] for entry in ENTRIES])
def test_a_weather_year_is_read_as_others_read_it(entry: Entry) -> None:
    pytest.importorskip("pvlib")
    year, want = read_weather(file_of(entry)), entry["expected"]
    assert year.told["hours"] == want["rows"]
    assert year.place.latitude_deg == pytest.approx(want["latitude"], abs=0.001)
    assert year.place.longitude_deg == pytest.approx(want["longitude"], abs=0.001)
    assert year.offset_h == want["utc_offset_h"]
    names = {
        "ghi_kwhpm2": "ghi_kWh_m2",
        "dni_kwhpm2": "dni_kWh_m2",
        "dhi_kwhpm2": "dhi_kWh_m2",
        "coldest_c": "temp_min_C",
        "warmest_c": "temp_max_C",
        "mean_c": "temp_mean_C",
        "strongest_wind_mps": "wind_max_m_s",
        "hours_wind_from_8_0_mps": "hours_wind_ge_8_0",
        "hours_wind_from_10_8_mps": "hours_wind_ge_10_8",
    }
    for ours, theirs in names.items():
        assert year.told[ours] == pytest.approx(want[theirs], rel=entry["tolerance"]["relative"]), ours
    # What the year is reckoned with, minute by minute, comes to the same.
    assert year.dni_wpm2.sum() / 60_000 == pytest.approx(want["dni_kWh_m2"], rel=1e-4)
    assert year.dhi_wpm2.sum() / 60_000 == pytest.approx(want["dhi_kWh_m2"], rel=1e-4)
    assert year.outdoor_c.mean() == pytest.approx(want["temp_mean_C"], rel=1e-3)
    assert year.wind_mps.max() == want["wind_max_m_s"]
