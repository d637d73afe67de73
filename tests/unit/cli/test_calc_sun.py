"""The calculators of sun, cloth and wind as a person or a program calls them, against values/sun.json."""

import json
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from bridge.cli.main import main

Entry = dict[str, Any]
VALUES = Path(__file__).parents[2] / "published" / "values" / "sun.json"
ENTRIES: list[Entry] = json.loads(VALUES.read_text())["entries"]

BERLIN = ["--latitude", "52.52", "--longitude", "13.405", "--at", "2026-07-15T17:45:00+02:00"]
BY_HAND = ["--sun-elevation-deg", "30", "--sun-azimuth-deg", "210"]
WEST = ["--facade-azimuth-deg", "270"]
GLASS = ["--sill-m", "0.9", "--head-m", "2.1"]
LONDON = ["--latitude", "51.5", "--longitude", "-0.13"]
MIDSUMMER = ["--date", "2026-06-21", "--timezone", "Europe/London"]
YEAR = [*LONDON, "--facade-azimuth-deg", "180", "--year", "2025", *GLASS, "--depth-limit-m", "1"]
CLOTH = ["--mounting", "external", "--glass-g", "0.59", "--glass-u", "1.2", "--tau", "0.05", "--rho", "0.3"]


def of_kind(kind: str) -> pytest.MarkDecorator:
    entries = [entry for entry in ENTRIES if entry["kind"] == kind]
    assert entries
    return pytest.mark.parametrize("entry", entries, ids=[entry["id"] for entry in entries])


def options(values: dict[str, Any]) -> list[str]:
    named = ((f"--{name}", str(value)) for name, value in values.items() if value is not None)
    return [word for pair in named for word in pair]


def answer(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    code = main(["calc", *words, "--json"])
    out, err = capsys.readouterr()
    assert (code, err) == (0, "")
    document: dict[str, Any] = json.loads(out)
    return document


def table(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["calc", *words]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert not any(line.endswith(" ") for line in out.splitlines())
    return " ".join(out.split())


def refusal(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    code = main(["calc", *words])
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    return " ".join(err.split())


def place(entry: Entry) -> list[str]:
    given = entry["inputs"]
    return options({"latitude": given["latitude"], "longitude": given["longitude"]})


@of_kind("solar_position")
def test_the_sun_of_a_place_and_time(capsys: pytest.CaptureFixture[str], entry: Entry) -> None:
    got = answer(capsys, "sun", *place(entry), "--at", entry["inputs"]["local"])
    want, within = entry["expected"], entry["tolerance"]
    assert got["elevation_deg"] == pytest.approx(want["elevation_deg"], abs=within["elevation_deg"])
    assert (got["apparent_elevation_deg"] is None) == (want["apparent_elevation_deg"] is None)
    assert "window" not in got
    assert got["sky"]["total_wpm2"] is None


@of_kind("facade_angles")
def test_the_angles_of_a_sun_by_hand(capsys: pytest.CaptureFixture[str], entry: Entry) -> None:
    given, want, within = entry["inputs"], entry["expected"], entry["tolerance"]["deg"]
    words = {
        "sun-elevation-deg": given["sun_elevation_deg"],
        "sun-azimuth-deg": given["sun_azimuth_deg"],
        "facade-azimuth-deg": given["facade_azimuth_deg"],
    }
    got = answer(capsys, "sun", *options(words))
    assert set(got["window"]) == {"incidence_deg", "shadow_angle_deg", "profile_angle_deg", "direct_sun"}
    assert got["window"]["direct_sun"] is want["direct_sun"]
    assert got["window"]["incidence_deg"] == pytest.approx(want["incidence_deg"], abs=within)
    assert got["window"]["shadow_angle_deg"] == pytest.approx(want["horizontal_shadow_angle_deg"], abs=within)
    assert (got["window"]["profile_angle_deg"] is None) == (want["profile_angle_deg"] is None)
    assert "sky" not in got
    assert "limit" not in got


def window_words(entry: Entry) -> list[str]:
    given = entry["inputs"]
    names = {
        "sun-elevation-deg": "sun_elevation_deg",
        "sun-azimuth-deg": "sun_azimuth_deg",
        "facade-azimuth-deg": "facade_azimuth_deg",
        "sill-m": "sill_m",
        "head-m": "head_m",
        "hem-m": "hem_m",
        "plane-m": "plane_height_m",
        "overhang-depth-m": "overhang_depth_m",
        "overhang-height-m": "overhang_height_m",
        "depth-limit-m": "depth_limit_m",
    }
    return options({option: given.get(name) for option, name in names.items()})


@of_kind("sun_penetration")
def test_the_depth_of_the_sun(capsys: pytest.CaptureFixture[str], entry: Entry) -> None:
    got, want = answer(capsys, "sun", *window_words(entry))["window"], entry["expected"]
    assert got["sun_enters"] is want["sun_enters"]
    assert got["far_m"] == pytest.approx(want["far_m"], abs=entry["tolerance"]["m"])
    assert got["near_m"] == (
        None if want["near_m"] is None else pytest.approx(want["near_m"], abs=entry["tolerance"]["m"])
    )


@of_kind("hem_for_depth_limit")
def test_the_hem_bar_for_a_limit(capsys: pytest.CaptureFixture[str], entry: Entry) -> None:
    got, want = answer(capsys, "sun", *window_words(entry))["limit"], entry["expected"]
    assert got["state"] == want["state"]
    assert got["hem_m"] == pytest.approx(want["hem_m"], abs=entry["tolerance"]["m"])
    assert got["percent_open"] == pytest.approx(want["percent_open"], abs=entry["tolerance"]["percent"])


@of_kind("clear_sky_vertical")
def test_the_clear_sky_on_a_window(capsys: pytest.CaptureFixture[str], entry: Entry) -> None:
    given, want = entry["inputs"], entry["expected"]
    words = {
        "at": given["utc"],
        "altitude-m": given["elevation_m"],
        "facade-azimuth-deg": given["facade_azimuth_deg"],
        "turbidity": given["linke_turbidity"],
        "albedo": given["albedo"],
    }
    got = answer(capsys, "sun", *place(entry), *options(words))["sky"]
    names = {"ghi": "ghi", "dni": "dni", "dhi": "dhi", "beam": "vertical_beam", "total": "vertical_total",
             "sky_diffuse": "vertical_sky_diffuse", "ground": "vertical_ground"}  # fmt: skip
    assert set(got) == {f"{name}_wpm2" for name in names}
    for name, theirs in names.items():
        assert got[f"{name}_wpm2"] == pytest.approx(want[theirs], rel=0.02, abs=5)


@of_kind("sun_events")
def test_the_events_of_a_day(capsys: pytest.CaptureFixture[str], entry: Entry) -> None:
    given, want = entry["inputs"], entry["expected"]
    got = answer(
        capsys, "daylight", *place(entry), "--date", given["local_date"], "--timezone", given["timezone"]
    )
    assert got["state"] == want["state"]
    for key in ("sunrise_utc", "sunset_utc", "transit_utc"):
        assert len(got[key]) == len(want[key])
        for at, other in zip(got[key], want[key], strict=True):
            apart = datetime.fromisoformat(at) - datetime.fromisoformat(other)
            assert abs(apart.total_seconds()) <= entry["tolerance"]["time_s"]
    assert len(got["transit_elevation_deg"]) == len(got["transit_utc"])
    assert "sun_on_window_utc" not in got


@of_kind("facade_sun_window")
def test_the_hours_of_sun_on_a_window(capsys: pytest.CaptureFixture[str], entry: Entry) -> None:
    given, want = entry["inputs"], entry["expected"]
    words = {
        "date": given["local_date"],
        "timezone": given["timezone"],
        "facade-azimuth-deg": given["facade_azimuth_deg"],
    }
    got = answer(capsys, "daylight", *place(entry), *options(words))
    assert len(got["sun_on_window_utc"]) == len(want["intervals_utc"])
    assert got["sun_on_window_min"] == pytest.approx(want["minutes"], abs=entry["tolerance"]["minutes"])


@of_kind("local_day_length")
def test_the_length_of_a_calendar_day(capsys: pytest.CaptureFixture[str], entry: Entry) -> None:
    given = entry["inputs"]
    got = answer(capsys, "daylight", *LONDON, "--date", given["date"], "--timezone", given["timezone"])
    assert got["day_length_h"] == entry["expected"]["hours"]


@of_kind("annual_facade_hours")
def test_the_hours_of_a_year(capsys: pytest.CaptureFixture[str], entry: Entry) -> None:
    given, want, relative = entry["inputs"], entry["expected"], entry["tolerance"]["relative"]
    words = {
        "facade-azimuth-deg": given["facade_azimuth_deg"],
        "year": given["year"],
        "sill-m": given["sill_m"],
        "head-m": given["head_m"],
        "depth-limit-m": given["depth_limit_m"],
    }
    got = answer(capsys, "sunlit-year", *place(entry), *options(words))
    assert got["hours_sun_above_horizon"] == pytest.approx(want["hours_sun_above_horizon"], rel=relative)
    assert got["hours_direct_sun"] == pytest.approx(want["hours_direct_sun"], rel=relative)
    assert got["hours_deeper_than_limit"] == pytest.approx(
        want["hours_patch_deeper_than_limit_shade_up"], rel=relative
    )


@of_kind("g_tot")
def test_a_cloth_before_glass(capsys: pytest.CaptureFixture[str], entry: Entry) -> None:
    given, want = entry["inputs"], entry["expected"]
    words = {
        "mounting": given["position"],
        "glass-g": given["g"],
        "glass-u": given["U_g"],
        "tau": given["tau_e_B"],
        "rho": given["rho_e_B"],
    }
    got = answer(capsys, "cloth", *options(words))
    assert got["g_tot"] == pytest.approx(want["g_tot"], abs=entry["tolerance"]["g_tot"])
    assert got["shading_factor"] == pytest.approx(want["F_c"], abs=entry["tolerance"]["g_tot"])
    assert got["in_validity_range"] is want["in_validity_range"]
    assert bool(got["warnings"]) is not want["in_validity_range"]


@of_kind("beaufort")
def test_a_wind_in_either_unit(capsys: pytest.CaptureFixture[str], entry: Entry) -> None:
    mps = entry["inputs"]["wind_m_s"]
    for words in (["--mps", f"{mps}"], ["--kmh", f"{mps * 3.6:.6f}"]):
        got = answer(capsys, "wind", *words)
        assert (got["beaufort"], got["name"]) == (entry["expected"]["force"], entry["expected"]["name"])
        assert got["pressure_npm2"] == pytest.approx(0.625 * mps**2)


@of_kind("wind_class")
def test_the_class_of_a_pressure(capsys: pytest.CaptureFixture[str], entry: Entry) -> None:
    pressure = entry["inputs"]["nominal_pressure_N_m2"]
    assert (
        answer(capsys, "wind", "--mps", f"{(pressure / 0.625) ** 0.5}")["class"] == entry["expected"]["class"]
    )


def test_the_table_of_a_sun_says_what_the_numbers_are(capsys: pytest.CaptureFixture[str]) -> None:
    text = table(capsys, "sun", *BERLIN, *WEST, *GLASS, "--hem-m", "1.5", "--depth-limit-m", "2.2")
    for words in (
        "elevation 30.06 deg of its centre, without refraction",
        "azimuth 266.53 deg clockwise from true north",
        "Window that looks to 270 deg direct sun yes",
        "sun to 2.59 m",
        "To keep the sun within 2.2 m hem bar 1.28 m above the floor open 31.3 % of sill to head",
        "total 742 W/m2 on the window",
    ):
        assert words in text


def test_the_table_of_a_night_has_no_angles(capsys: pytest.CaptureFixture[str]) -> None:
    night = [*BERLIN[:-1], "2026-07-15T01:00:00+02:00"]
    text = table(capsys, "sun", *night, *WEST, *GLASS)
    for words in ("apparent elevation below the horizon", "direct sun no", "profile angle -", "sun from -"):
        assert words in text


def test_the_table_of_a_day_shows_local_and_universal_time(capsys: pytest.CaptureFixture[str]) -> None:
    text = table(capsys, "daylight", *LONDON, *MIDSUMMER, "--facade-azimuth-deg", "0")
    for words in (
        "2026-06-21 in Europe/London state normal",
        "sunrise 04:43:08 BST 2026-06-21T03:43:08Z",
        "calendar day 24 h",
        "Sun on a window that looks to 0 deg from 04:50:10 BST to 08:22:59 BST",
        "together 426 min",
    ):
        assert words in text


def test_the_table_of_a_polar_day_says_none(capsys: pytest.CaptureFixture[str]) -> None:
    arctic = ["--latitude", "78.2", "--longitude", "15.6", *MIDSUMMER]
    text = table(capsys, "daylight", *arctic)
    assert "state sun always up sunrise none sunset none transit" in text


def test_a_day_without_noon_says_none(capsys: pytest.CaptureFixture[str]) -> None:
    # Where solar noon is near midnight of London, the hour that the clocks leave out can hold it.
    words = ["--latitude", "10", "--date", "2026-03-29", "--timezone", "Europe/London"]
    texts = [table(capsys, "daylight", "--longitude", str(lon), *words) for lon in range(170, 181, 5)]
    texts += [table(capsys, "daylight", "--longitude", str(lon), *words) for lon in range(-180, -164, 5)]
    assert any("transit none" in text for text in texts)


def test_the_table_of_a_year(capsys: pytest.CaptureFixture[str]) -> None:
    text = table(capsys, "sunlit-year", *YEAR)
    assert "2025, window that looks to 180 deg, flat horizon, no clouds" in text
    assert "deeper than 1 m" in text


def test_the_table_of_a_cloth_warns_below(capsys: pytest.CaptureFixture[str]) -> None:
    assert table(capsys, "cloth", *CLOTH).endswith("absorbed 0.650 by the cloth")
    text = table(capsys, "cloth", *CLOTH[:-1], "0.05")
    assert text.endswith("Warning: rho 0.05 is outside 0.1 to 0.8, where the method is valid.")


def test_the_table_of_a_wind_carries_its_caution(capsys: pytest.CaptureFixture[str]) -> None:
    text = table(capsys, "wind", "--kmh", "40")
    assert text.startswith("Wind of 11.1 m/s force 6 Strong breeze, for a ten-minute mean pressure 77.2 N/m2")
    assert "Not a safety device: an exterior shade needs wind protection in its board or wired" in text


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["sun"], "neither a place and time nor the sun's angles are given give --latitude, --longitude"),
        (["sun", *BERLIN, *BY_HAND], "--latitude and --sun-elevation-deg: the sun is given twice"),
        (["sun", *BERLIN[:4]], "--at: missing add it; --help shows an example"),
        (["sun", "--at", "2026-07-15T12:00:00Z"], "--latitude and --longitude: both missing add them"),
        (["sun", *BY_HAND[:2]], "--sun-azimuth-deg: missing"),
        (["sun", *BY_HAND, "--turbidity", "3"], "--turbidity: a clear sky needs a date and a place"),
        (["sun", *BY_HAND, "--albedo", "0"], "--albedo: a clear sky needs a date and a place"),
        (["sun", *BERLIN[:-1], "2026-07-15T12:00"], "2026-07-15T12:00:00 has no offset from UTC add one"),
        (["sun", *BERLIN[:-1], "noon"], "'noon' is not a time; write it like 2026-07-15T17:45:00+02:00"),
        (["sun", *BERLIN[:-1], "1850-01-01T00:00Z"], "year 1850 is outside 1901 to 2099"),
        (["sun", *BERLIN, "--altitude-m", "1e5"], "altitude: 100000 is outside -500 to 9000 m"),
        (["sun", *BERLIN, "--turbidity", "0"], "turbidity: 0 is outside 1 to 10"),
        (["sun", *BERLIN, *WEST, "--albedo", "2"], "albedo: 2 is outside 0 to 1"),
        (["sun", *BERLIN, "--albedo", "2"], "albedo: 2 is outside 0 to 1"),
        (["sun", *BY_HAND, *GLASS], "--sill-m: it describes a window, and where that looks to is not given"),
        (["sun", *BY_HAND, *WEST, "--sill-m", "1"], "--head-m: missing"),
        (["sun", *BY_HAND, *WEST, "--depth-limit-m", "1"], "--sill-m and --head-m: both missing"),
        (["sun", *BY_HAND, *WEST, *GLASS, "--overhang-depth-m", "1"], "--overhang-height-m: missing"),
        (["sun", *BY_HAND, *WEST, *GLASS, "--hem-m", "-1"], "hem bar: -1 is outside 0 to 1000 m"),
        (["sun", *BY_HAND, *WEST, *GLASS, "--depth-limit-m", "-1"], "depth limit: -1 is outside"),
        (
            ["sun", *BY_HAND, *WEST, "--sill-m", "2", "--head-m", "1"],
            "head: 1 m is not above the sill at 2 m",
        ),
        (["sun", *BY_HAND, "--facade-azimuth-deg", "400"], "facade azimuth: 400 is outside 0 to 360"),
        (["sun", "--sun-elevation-deg", "99", "--sun-azimuth-deg", "1"], "sun elevation: 99 is outside"),
        (["daylight"], "--latitude and --longitude and --date and --timezone: all missing"),
        (["daylight", *LONDON, "--date", "2026-06-21"], "--timezone: missing"),
        (["daylight", *LONDON, "--date", "21.6.2026"], "'21.6.2026' is not a date; write it like 2026-07-15"),
        (["daylight", *LONDON, "--timezone", "Moon"], "'Moon' is not a time zone; name one of the IANA"),
        (["daylight", *LONDON, "--timezone", "../etc"], "'../etc' is not a time zone"),
        (["daylight", *LONDON, "--timezone", "Europe"], "'Europe' is not a time zone"),
        (
            ["daylight", "--latitude", "91", "--longitude", "0", *MIDSUMMER],
            "latitude: 91 is outside -90 to 90",
        ),
        (["daylight", *LONDON, *MIDSUMMER, "--facade-azimuth-deg", "-1"], "facade azimuth: -1 is outside"),
        (["sunlit-year", *YEAR[:-2]], "--depth-limit-m: missing"),
        (["sunlit-year", *YEAR, "--year", "1800"], "year: 1800 is outside 1901 to 2099"),
        (["sunlit-year", *YEAR, "--year", "20x5"], "'20x5' is not a whole number; write it like 2026"),
        (["cloth", *CLOTH[:-2]], "--rho: missing"),
        (["cloth", *CLOTH[:-1], "0.96"], "tau and rho: 0.05 + 0.96 is more than 1"),
        (["cloth", *CLOTH, "--mounting", "outside"], "invalid choice: 'outside'"),
        (["cloth", *CLOTH, "--glass-g", "0"], "g of the glass: 0 is outside"),
        (["cloth", *CLOTH, "--glass-u", "-1"], "U of the glass: -1 is outside"),
        (["wind"], "--mps and --kmh: neither is given give the wind in one of them"),
        (["wind", "--mps", "3", "--kmh", "3"], "--mps and --kmh: both are given"),
        (["wind", "--mps", "-3"], "wind: -3 is outside 0 to 150 m/s"),
        *(
            (["wind", "--mps", text], f"{text!r} is not a number; write it like 51.5, with a point")
            for text in ("nan", "inf", "1e999", "1_0", "٣", "3,5", "")
        ),
    ],
)
def test_what_cannot_be_answered_is_refused_with_a_remedy(
    capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    assert said in refusal(capsys, *words)


@pytest.mark.parametrize("name", ["sun", "daylight", "sunlit-year", "cloth", "wind"])
def test_help_shows_an_example_that_works(capsys: pytest.CaptureFixture[str], name: str) -> None:
    assert main(["calc", name, "--help"]) == 0
    _, _, example = capsys.readouterr().out.partition("Example:\n")
    words = example.replace("\\\n", " ").split()
    assert words[:3] == ["hembar", "calc", name]
    assert table(capsys, *words[2:])
