"""The calculators of sun and window on places, days and windows that no table has, against other ways.

References: pvlib's Solar Position Algorithm (Reda and Andreas, NREL/TP-560-34302) on a grid of seconds for
events and hours; rays from points of the room to the sun for depth. Tolerances are those of the tables of
values: 90 s, 4 minutes, half a percent of a year, a millimetre.
"""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from pvlib import spa

from bridge.cli.main import main

# Polar day and night, the days between, the poles, both sides of the date line, clocks that change, south.
DAYS = [
    (69.65, 18.96, "2026-05-18", "Europe/Oslo"),
    (69.65, 18.96, "2026-06-21", "Europe/Oslo"),
    (69.65, 18.96, "2026-12-21", "Europe/Oslo"),
    (65.7, -18.0, "2026-06-21", "Atlantic/Reykjavik"),
    (66.5, 25.7, "2026-06-05", "Europe/Helsinki"),
    (-77.85, 166.67, "2026-04-24", "Antarctica/McMurdo"),
    (-77.85, 166.67, "2026-06-21", "Antarctica/McMurdo"),
    (90.0, 0.0, "2026-06-21", "UTC"),
    (-18.1, 178.4, "2026-01-15", "Pacific/Fiji"),
    (-13.8, -171.8, "2026-07-01", "Pacific/Apia"),
    (1.9, -157.4, "2026-02-28", "Pacific/Kiritimati"),
    (-31.5, 159.1, "2026-04-05", "Australia/Lord_Howe"),
    (40.7, -74.0, "2026-11-01", "America/New_York"),
    (-33.45, -70.6, "2026-09-06", "America/Santiago"),
    (43.83, 87.62, "2025-03-28", "Asia/Shanghai"),
]
HORIZON_DEG, GRID_S = -0.8333, 5.0


def answer(capsys: pytest.CaptureFixture[str], *words: object) -> dict[str, Any]:
    assert main(["calc", *(str(word) for word in words), "--json"]) == 0
    document: dict[str, Any] = json.loads(capsys.readouterr().out)
    return document


def sun_deg(latitude_deg: float, longitude_deg: float, times: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    found = spa.solar_position_numpy(times, latitude_deg, longitude_deg, 0, 1013.25, 12, 69.2, 0.5667, 1)
    return found[3], found[4]


def seconds(stamps: list[str]) -> list[float]:
    return [datetime.fromisoformat(each).timestamp() for each in stamps]


@pytest.mark.parametrize(("latitude_deg", "longitude_deg", "day", "zone"), DAYS)
def test_the_events_of_days_that_are_out_of_the_ordinary(
    capsys: pytest.CaptureFixture[str], latitude_deg: float, longitude_deg: float, day: str, zone: str
) -> None:
    facade_deg = Random(day).choice([0, 90, 180, 270])
    got = answer(
        capsys, "daylight", "--latitude", latitude_deg, "--longitude", longitude_deg, "--date", day,
        "--timezone", zone, "--facade-azimuth-deg", facade_deg,
    )  # fmt: skip
    first, last = (
        datetime.combine(each, datetime.min.time(), tzinfo=ZoneInfo(zone)).timestamp()
        for each in (date.fromisoformat(day), date.fromisoformat(day) + timedelta(days=1))
    )
    times = np.arange(first, last + 0.1, GRID_S)
    elevation_deg, azimuth_deg = sun_deg(latitude_deg, longitude_deg, times)
    up = elevation_deg >= HORIZON_DEG
    turns = np.flatnonzero(np.diff(up.astype(int)))
    for key, rising in (("sunrise_utc", True), ("sunset_utc", False)):
        want = [float(times[at]) for at in turns if bool(up[at + 1]) is rising]
        assert seconds(got[key]) == pytest.approx(want, abs=90)
    kinds = {
        (0, True): "sun always up",
        (0, False): "sun never up",
    }
    ends = bool(up[0] or up[-1])
    states = "sun up at local midnight" if ends else "normal"
    assert got["state"] == kinds.get((len(turns), bool(up[0])), states)
    assert got["day_length_h"] == (last - first) / 3600
    turned = (azimuth_deg - facade_deg + 180) % 360 - 180
    lit = (elevation_deg > 0) & (np.abs(turned) < 90)
    assert got["sun_on_window_min"] == pytest.approx(lit[:-1].sum() * GRID_S / 60, abs=4)
    starts = np.flatnonzero(np.diff(np.concatenate([[0], lit.astype(int)])) == 1)
    assert len(got["sun_on_window_utc"]) == len(starts)


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "facade_deg", "limit_m", "year"),
    [(-33.9, 151.2, 0, 1.0, 2025), (69.6, 18.9, 200, 2.0, 2024), (0.0, 179.9, 90, 0.5, 2026)],
)
def test_the_hours_of_a_year_elsewhere(
    capsys: pytest.CaptureFixture[str],
    latitude_deg: float,
    longitude_deg: float,
    facade_deg: float,
    limit_m: float,
    year: int,
) -> None:
    got = answer(
        capsys, "sunlit-year", "--latitude", latitude_deg, "--longitude", longitude_deg,
        "--facade-azimuth-deg", facade_deg, "--year", year, "--sill-m", 0.9, "--head-m", 2.1,
        "--depth-limit-m", limit_m,
    )  # fmt: skip
    first, last = (datetime(each, 1, 1, tzinfo=UTC).timestamp() for each in (year, year + 1))
    times = np.arange(first + 120, last, 240.0)
    elevation, azimuth = (np.radians(each) for each in sun_deg(latitude_deg, longitude_deg, times))
    turned = azimuth - np.radians(facade_deg)
    up = elevation > 0
    lit = up & (np.cos(turned) > 0)
    slope = np.sin(elevation) / (np.cos(elevation) * np.cos(turned))
    deep = lit & (2.1 / np.where(lit, slope, 1.0) > limit_m)
    hours = [float(each.sum()) / 15 for each in (up, lit, deep)]
    keys = ("hours_sun_above_horizon", "hours_direct_sun", "hours_deeper_than_limit")
    assert [got[key] for key in keys] == pytest.approx(hours, rel=0.005)


@pytest.mark.parametrize("seed", range(40))
def test_the_patch_of_sun_in_any_window_agrees_with_rays(
    capsys: pytest.CaptureFixture[str], seed: int
) -> None:
    choose = Random(seed)
    up_deg = choose.choice([choose.uniform(5, 89), choose.uniform(5, 60), choose.uniform(-10, 0)])
    sun_azimuth_deg = choose.uniform(0, 360)
    facade_deg = (sun_azimuth_deg + choose.choice([0, choose.uniform(-100, 100), 180])) % 360
    sill_m, plane_m = choose.uniform(0, 1.5), choose.choice([0, 0.75, choose.uniform(0, 2)])
    head_m = sill_m + choose.uniform(0.2, 2)
    hem_m = choose.uniform(0, 3)
    over_m, out_m = head_m + choose.uniform(0, 0.5), choose.uniform(0.1, 1.5)
    got = answer(
        capsys, "sun", "--sun-elevation-deg", up_deg, "--sun-azimuth-deg", sun_azimuth_deg,
        "--facade-azimuth-deg", facade_deg, "--sill-m", sill_m, "--head-m", head_m, "--plane-m", plane_m,
        "--hem-m", hem_m, "--overhang-depth-m", out_m, "--overhang-height-m", over_m,
    )["window"]  # fmt: skip
    turned = np.radians(sun_azimuth_deg - facade_deg)
    rises, level = np.sin(np.radians(up_deg)), np.cos(np.radians(up_deg)) * np.cos(turned)
    if rises <= 0 or level <= 1e-9:
        assert (got["direct_sun"], got["sun_enters"], got["near_m"], got["far_m"]) == (False, False, None, 0)
        return
    # A point of the plane is lit when its ray to the sun passes the glass, the hem bar and the overhang.
    at_m = np.linspace(0, 40, 400_001)
    through_m = plane_m + at_m * rises / level
    lit = (through_m >= sill_m) & (through_m <= min(hem_m, head_m))
    lit &= through_m + out_m * rises / level <= over_m
    assert got["sun_enters"] is bool(lit.any())
    if lit.any():
        assert got["near_m"] == pytest.approx(at_m[lit][0], abs=1e-3)
        assert got["far_m"] == pytest.approx(at_m[lit][-1], abs=1e-3)
