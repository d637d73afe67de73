"""What a day comes to, against sums by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from bridge.core.plan.figures import (
    USUAL_CLOTH,
    USUAL_GLASS,
    Weathered,
    figures,
    hours,
    months_of,
    sees_out,
    weathered,
)
from bridge.core.plan.series import seen_series
from bridge.core.shade.profile import move_profile
from bridge.core.sun.gain import shaded
from tests.scene import shade_spec
from tests.weather import AZORES, WINDOW

SIZE = 1440
NOON = datetime(2026, 6, 1, tzinfo=UTC).timestamp()
SPEC = shade_spec("landing", window=WINDOW)
ALL = np.ones(SIZE, dtype=bool)
UP, DOWN = np.full(SIZE, 100.0), np.zeros(SIZE)


SEEN = seen_series(AZORES, SPEC, NOON + np.arange(SIZE, dtype=np.float64) * 60.0)
# 400 W/m² of direct sun while it shines on the glass, and 200 W/m² of sky and ground all day.
DIRECT_WPM2, DIFFUSE_WPM2 = 400.0, 200.0
FALLEN_KWHPM2 = (DIFFUSE_WPM2 * 24 + DIRECT_WPM2 * SEEN.lit.size / 60) / 1000


def weather(*, beam_wpm2: float = DIRECT_WPM2) -> Weathered:
    """Return a June day in a cooling month."""
    months = months_of(SEEN.sun, np.full(SIZE, DIFFUSE_WPM2), cooling=ALL, heating=~ALL)
    return weathered(SEEN, months, np.full(SEEN.lit.shape, beam_wpm2))


def test_a_shade_that_stays_up_lets_all_heat_of_the_glass_in() -> None:
    found = figures(weather(), UP, limit_m=1.0)
    assert found.cooling_kwhpm2 == pytest.approx(FALLEN_KWHPM2 * USUAL_GLASS.g)
    assert (found.heating_kwhpm2, found.moves, found.motor_h, found.retracts) == (0, 0, 0, 0)
    assert found.deep_h > 3


def test_a_shade_that_stays_down_lets_in_what_the_cloth_does() -> None:
    g_tot = shaded(USUAL_GLASS, USUAL_CLOTH, "external").g_tot
    found = figures(weather(), DOWN, limit_m=1.0)
    assert found.cooling_kwhpm2 == pytest.approx(FALLEN_KWHPM2 * g_tot)
    assert (found.deep_h, found.view_h) == (0, 0)


def test_heat_goes_by_where_it_hangs_at_the_time() -> None:
    half = SIZE // 2
    found = figures(weather(), np.where(np.arange(SIZE) < half, 100.0, 0.0), limit_m=1.0)
    morning = (DIFFUSE_WPM2 * 12 + DIRECT_WPM2 * np.count_nonzero(SEEN.lit < half) / 60) / 1000
    g_tot = shaded(USUAL_GLASS, USUAL_CLOTH, "external").g_tot
    assert 0 < morning < FALLEN_KWHPM2
    assert found.cooling_kwhpm2 == pytest.approx(morning * USUAL_GLASS.g + (FALLEN_KWHPM2 - morning) * g_tot)


def test_weak_sun_is_never_too_deep() -> None:
    assert figures(weather(beam_wpm2=49.0), UP, limit_m=1.0).deep_h == 0


def test_hours_of_view_are_those_of_the_minutes() -> None:
    places = np.where(np.arange(SIZE) % 97 < 40, 100.0, 20.0)
    assert figures(weather(), places, limit_m=1.0).view_h == hours((SEEN.sun.up > 0) & sees_out(SPEC, places))


def test_each_move_costs_what_its_profile_takes() -> None:
    places = np.where(np.arange(SIZE) < 700, 100.0, 0.0)
    found = figures(weather(), places, limit_m=1.0)
    steps = float(SPEC.travel.steps_at_percent(0))
    took_s = move_profile(steps=steps, top_pps=SPEC.top_pps, ramp_pps2=SPEC.ramp_pps2).duration_s
    assert found.moves == 1
    assert found.motor_h == pytest.approx(took_s / 3600)


def test_only_rises_that_the_wind_has_made_are_retracts() -> None:
    at = np.arange(SIZE)
    places = np.where((at < 200) | ((at >= 300) & (at < 400)) | (at >= 900), 100.0, 20.0)
    found = figures(weather(), places, up=(at >= 290) & (at < 350), limit_m=1.0)
    assert (found.moves, found.retracts) == (4, 1)


def test_a_person_who_sits_sees_out_below_a_hem_bar_that_is_above_the_eye() -> None:
    # It hangs at 2.3 m - 0.5 * 1.5 m = 1.55 m, then at 2.3 m - 0.8 * 1.5 m = 1.1 m; the eye is at 1.2 m.
    assert sees_out(SPEC, np.array([50.0, 20.0])).tolist() == [True, False]


def test_a_high_window_is_looked_out_of_where_it_is_half_open() -> None:
    high = replace(WINDOW, opening=replace(WINDOW.opening, sill_m=1.5))
    # Half of 1.5 to 2.3 m is 1.9 m: 1 - 0.4 / 1.5 = 73 % open.
    assert sees_out(shade_spec("landing", window=high), np.array([73.0, 74.0])).tolist() == [False, True]
