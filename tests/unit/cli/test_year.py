"""`hembar year` on the weather year that pvlib's wheel carries, and on files that are none."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from bridge.cli.main import main
from bridge.core.errors import RequestError
from bridge.simulate.weather_file import _each_hour, read_weather

ROOT = Path(__file__).parents[3]
DATA = Path(pytest.importorskip("pvlib").__file__).parent / "data"
# Greensboro, North Carolina: TMY3 of the National Renewable Energy Laboratory.
TMY3 = DATA / "723170TYA.CSV"
# Of the study in config/hembar.toml.
WIDTH_M = 1.0


@pytest.fixture
def settings(tmp_path: Path) -> Path:
    path = tmp_path / "house.toml"
    parts = (ROOT / "config" / name for name in ("hembar.toml", "rules.toml"))
    path.write_text("\n".join(part.read_text() for part in parts))
    return path


def test_the_file_is_read_as_its_makers_mean_it() -> None:
    year = read_weather(TMY3)
    assert (year.place.latitude_deg, year.place.longitude_deg, year.offset_h) == (36.1, -79.95, -5.0)
    # The sums over the file's own columns, kWh/m²: 8760 hourly means.
    lines = [line.split(",") for line in TMY3.read_text(encoding="latin-1").splitlines()[2:]]
    assert year.dni_wpm2.sum() / 60_000 == pytest.approx(sum(float(row[7]) for row in lines) / 1000)
    assert year.dhi_wpm2.sum() / 60_000 == pytest.approx(sum(float(row[10]) for row in lines) / 1000)
    # The temperature of the first stamp, 01:00, stands at that minute.
    assert year.outdoor_c[60] == float(lines[0][31])


def test_the_sun_of_the_file_meets_its_irradiance() -> None:
    from bridge.core.sun.series import sun_series

    year = read_weather(TMY3)
    dark = sun_series(year.place, year.utc_s).up < 0
    at_night = [year.dni_wpm2[np.roll(dark, shift)].sum() for shift in (-60, -30, 0, 30, 60)]
    assert at_night[2] < 0.01 * year.dni_wpm2.sum()
    # An hour off, or half of one, and the sun would shine at night.
    assert min(at_night) == at_night[2] < min(at_night[0], at_night[4]) / 3


def test_the_other_kind_of_file_is_read_too(tmp_path: Path) -> None:
    path = tmp_path / "invented.epw"
    head = ["LOCATION,Gull Point,-,XYZ,Invented,000000,38.5,-28.5,-1.0,40.0", *["COMMENTS"] * 7]
    rows = []
    for hour in range(8760):
        row = ["2001", "1", "1", str(hour % 24 + 1), "0", "source", *["0"] * 29]
        row[6], row[14], row[15], row[21] = f"{10 + hour % 24}", "300", "100", "5.5"
        row[33], row[34] = {100: ("1.5", "1"), 206: ("3.0", "6"), 300: ("0.5", "99")}.get(hour, ("0", "0"))
        rows.append(",".join(row))
    path.write_text("\n".join(head + rows) + "\n")
    year = read_weather(path)
    assert (year.name, year.offset_h, year.place.altitude_m) == ("Gull Point", -1.0, 40.0)
    assert (year.dni_wpm2[0], year.dhi_wpm2[-1], year.wind_mps[500]) == (300, 100, 5.5)
    assert year.outdoor_c[[0, 30, 60]].tolist() == [10, 10.5, 11]
    assert year.rain_mmph is not None
    # EPW tells "the amount of liquid precipitation (mm) observed for the period indicated in the quantity
    # field, hour" (pvlib's read_epw, after the EnergyPlus auxiliary programs manual): six hours here.
    assert year.rain_mmph[[5999, 6000, 6059, 6060]].tolist() == [0, 1.5, 1.5, 0]
    assert year.rain_mmph[[200 * 60, 201 * 60, 207 * 60 - 1, 207 * 60]].tolist() == [0, 0.5, 0.5, 0]
    assert year.rain_mmph.sum() / 60 == pytest.approx(1.5 + 3.0 + 0.5)


def test_rain_that_is_told_for_an_hour_and_again_for_six_is_not_added_up() -> None:
    fallen, hours = np.zeros(8760), np.ones(8760)
    fallen[[2, 9, 11]], hours[11] = [2.0, 3.0, 4.2], 6.0
    found = _each_hour(fallen, hours)
    assert found[:13].tolist() == pytest.approx([0, 0, 2, 0, 0, 0, 0.7, 0.7, 0.7, 3, 0.7, 0.7, 0])
    fallen[0], hours[0] = 6.0, 6.0
    assert _each_hour(fallen, hours)[0] == 1.0


def test_the_rain_of_the_file_is_that_of_the_place() -> None:
    """The manual (NREL/TP-581-43156, as pvlib's read_tmy3 tells it) says millimetres; its files hold tenths.

    An inch is 25.4 mm (NIST SP 811, appendix B.8): gauges of the stations tip at 0.01 inch.
    """
    rain = read_weather(TMY3).rain_mmph
    assert rain is not None
    rows = TMY3.read_text(encoding="latin-1").splitlines()[2:]
    wet = [depth for row in rows if (depth := float(row.split(",")[64])) > 0]
    tips = {float(round(2.54 * count)) for count in range(1000)}
    assert len(wet) == 358
    assert sum(depth in tips for depth in wet) > 0.95 * len(wet)
    # As millimetres they would come to 8,345 a year; Greensboro has some 1,100 (normals, from memory).
    assert rain.sum() / 60 == pytest.approx(834.5)


def test_rain_with_a_missing_hour_counts_as_not_told(tmp_path: Path) -> None:
    lines = TMY3.read_text(encoding="latin-1").splitlines()
    row = lines[6].split(",")
    row[64] = "-9900"
    path = tmp_path / "gaps.csv"
    path.write_text("\n".join([*lines[:6], ",".join(row), *lines[7:]]), encoding="latin-1")
    assert read_weather(path).rain_mmph is None


def test_a_year_is_told_side_by_side(settings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["year", str(settings), "--weather", str(TMY3), "--shade", "study", "--json"]
    assert main(words) == 0
    study = json.loads(capsys.readouterr().out)["shades"]["study"]
    rows = study["strategies"]
    planned, looked = rows["rules, planned ahead"], rows["rules, look by look"]
    up, down = rows["always up"], rows["always down"]
    assert up["moves"] == down["moves"] == down["view_h"] == down["deep_h"] == 0
    assert up["view_h"] == study["daylight_h"]
    assert planned["moves"] <= looked["moves"] / 2
    assert planned["deep_h"] <= looked["deep_h"] < up["deep_h"] / 3
    assert down["cooling_kwhpm2"] < planned["cooling_kwhpm2"] < up["cooling_kwhpm2"]
    assert study["cooling_months"] == [5, 6, 7, 8, 9]
    # From 0.8 to 2.5 m high.
    assert study["glass_m2"] == pytest.approx(WIDTH_M * 1.7)
    assert planned["cooling_kwh"] == pytest.approx(planned["cooling_kwhpm2"] * WIDTH_M * 1.7)


def test_heat_is_told_in_kwh_where_the_width_is_known(
    settings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    heats = {}
    for shade in ("study", "kitchen"):
        assert main(["year", str(settings), "--weather", str(TMY3), "--shade", shade]) == 0
        heats[shade] = capsys.readouterr().out.splitlines()
    assert "m² of glass" in heats["study"][0]
    assert heats["study"][2].split() == ["h", "h", "kWh", "kWh", "times", "h"]
    assert heats["kitchen"][2].split() == ["h", "h", "kWh/m²", "kWh/m²", "times", "h"]


def test_the_wind_of_the_year_raises_an_exterior_shade(
    settings: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pytest.importorskip("matplotlib")
    to = tmp_path / "year.svg"
    words = ["year", str(settings), "--weather", str(TMY3), "--shade", "landing", "--picture", str(to)]
    assert main(words) == 0
    said = capsys.readouterr().out
    row = next(line for line in said.splitlines() if "planned ahead" in line)
    assert int(row.split()[-2]) > 0
    assert "May, Jun, Jul, Aug, Sep" in said
    assert to.read_text().lstrip().startswith("<?xml")


def test_a_file_that_is_no_weather_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "weather.csv"
    path.write_text("a,b\n1,2\n")
    with pytest.raises(RequestError, match="neither TMY3 nor EPW"):
        read_weather(path)
    with pytest.raises(RequestError, match="no such file"):
        read_weather(tmp_path / "none.epw")


def test_an_absurd_number_in_the_file_is_refused_with_its_hour(tmp_path: Path) -> None:
    lines = TMY3.read_text(encoding="latin-1").splitlines()
    row = lines[6].split(",")
    row[31] = "999"
    path = tmp_path / "bent.csv"
    path.write_text("\n".join([*lines[:6], ",".join(row), *lines[7:]]), encoding="latin-1")
    with pytest.raises(RequestError, match="temp_air is 999 in hour 5"):
        read_weather(path)


def test_settings_without_a_window_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["year", str(ROOT / "config/hembar.toml"), "--weather", str(TMY3)]) == 2
    assert "no window is told" in capsys.readouterr().err
