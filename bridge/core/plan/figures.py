"""What a year, or a day, of a shade comes to: moves, view, sun that is too deep, heat, time of the motor."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from bridge.core.plan.series import Flags, Floats, Rows, Seen
from bridge.core.shade.profile import move_profile
from bridge.core.spec import Mounting, ShadeSpec
from bridge.core.sun.gain import Cloth, Glass, shaded
from bridge.core.sun.series import SunSeries, WallSeries, far_series

# A person who sits looks out at this height (EN 17037:2018, view out; from memory).
EYE_M = 1.2
# Where the settings tell neither: a double pane and a light screen cloth (common practice).
USUAL_GLASS, USUAL_CLOTH = Glass(g=0.6, u_wpm2k=1.2), Cloth(tau=0.1, rho=0.5)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Months:
    """What the weather of a year brings to every wall; arrays of shape (n,), running sums of shape (n + 1,).

    Attributes:
        cooling: Minutes of months in which heat is unwelcome.
        heating: Minutes of months in which it is welcome.
        daylight_min: Minutes with the sun above the horizon so far.
        cooling_whpm2: Light of sky and ground on a wall so far, in the cooling months.
        heating_whpm2: The same in the heating months.
    """

    cooling: Flags
    heating: Flags
    daylight_min: Floats
    cooling_whpm2: Floats
    heating_whpm2: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weathered:
    """The truth at the window.

    Attributes:
        seen: What the rules see.
        months: What every wall gets.
        strong: Rows with direct sun on the glass that disturbs, shape (m,).
        strong_wall: The sun as the wall sees it in these rows; arrays of shape (m,).
        cooling_whpm2: Direct sunlight on the glass so far in the cooling months, at each row of `seen.lit`
            and after the last, shape (k + 1,).
        heating_whpm2: The same in the heating months.
    """

    seen: Seen
    months: Months
    strong: Rows
    strong_wall: WallSeries
    cooling_whpm2: Floats
    heating_whpm2: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """What a strategy comes to.

    Attributes:
        moves: Times that the shade starts.
        view_h: Hours of daylight in which somebody who sits sees out below the hem bar.
        deep_h: Hours of sun deeper in the room than the limit, with direct sun that disturbs.
        cooling_kwhpm2: Solar heat through each square metre of glass in the cooling months.
        heating_kwhpm2: The same in the heating months.
        retracts: Times that wind or rain raised it.
        motor_h: Hours that its motor ran.
    """

    moves: int
    view_h: float
    deep_h: float
    cooling_kwhpm2: float
    heating_kwhpm2: float
    retracts: int
    motor_h: float


def months_of(sun: SunSeries, diffuse_wpm2: Floats, *, cooling: Flags, heating: Flags) -> Months:
    """Return what every wall gets of a year, minute by minute.

    Args:
        sun: Where the sun stands.
        diffuse_wpm2: Light of sky and ground on a wall, shape (n,).
        cooling: Minutes of months in which heat is unwelcome.
        heating: Minutes of months in which it is welcome.
    """
    return Months(
        cooling=cooling,
        heating=heating,
        daylight_min=_running(sun.up > 0),
        cooling_whpm2=_running(diffuse_wpm2 * cooling) / 60.0,
        heating_whpm2=_running(diffuse_wpm2 * heating) / 60.0,
    )


def weathered(seen: Seen, months: Months, beam_wpm2: Floats, *, from_wpm2: float = 50.0) -> Weathered:
    """Return the truth at a window.

    Args:
        seen: What the rules see.
        months: What every wall gets.
        beam_wpm2: Direct sunlight on the glass in the rows of `seen.lit`, shape (k,).
        from_wpm2: Weaker direct sun on the glass disturbs nobody.
    """
    strong = beam_wpm2 >= from_wpm2
    return Weathered(
        seen=seen,
        months=months,
        strong=seen.lit[strong],
        strong_wall=seen.lit_wall.of(strong),
        cooling_whpm2=_running(beam_wpm2 * months.cooling[seen.lit]) / 60.0,
        heating_whpm2=_running(beam_wpm2 * months.heating[seen.lit]) / 60.0,
    )


def figures(weather: Weathered, places: Floats, *, up: Flags | None = None, limit_m: float) -> Figures:
    """Return what a strategy comes to.

    Args:
        weather: The truth, minute by minute.
        places: Percent open, shape (n,).
        up: Where wind or rain wants it up, if the strategy obeys that.
        limit_m: How deep the sun may come.
    """
    spec, months = weather.seen.spec, weather.months
    assert spec.window is not None
    changes = np.flatnonzero(places[1:] != places[:-1]) + 1
    edges = np.concatenate(([0], changes, [places.size]))
    hung = places[edges[:-1]]
    before = np.insert(hung, 0, 100.0)[:-1]
    let_in = _transmitted(spec, _hem_m(spec, hung))
    strong_hem_m = _hem_m(spec, places[weather.strong])
    deep = far_series(spec.window.opening, weather.strong_wall, hem_m=strong_hem_m) > limit_m
    lit = np.searchsorted(weather.seen.lit, edges)
    cooling_whpm2 = np.diff(months.cooling_whpm2[edges] + weather.cooling_whpm2[lit])
    heating_whpm2 = np.diff(months.heating_whpm2[edges] + weather.heating_whpm2[lit])
    return Figures(
        moves=int(changes.size),
        view_h=float(np.diff(months.daylight_min[edges])[sees_out(spec, hung)].sum()) / 60.0,
        deep_h=hours(deep),
        cooling_kwhpm2=float(let_in @ cooling_whpm2) / 1000,
        heating_kwhpm2=float(let_in @ heating_whpm2) / 1000,
        retracts=0 if up is None else int(np.count_nonzero(up[edges[:-1]] & (hung > before))),
        motor_h=_motor_s(spec, hung) / 3600,
    )


def hours(minutes: Flags) -> float:
    """Return how many hours such minutes make."""
    return float(np.count_nonzero(minutes)) / 60.0


def sees_out(spec: ShadeSpec, places: Floats) -> Flags:
    """Return at which places, in percent open, somebody who sits sees out below the hem bar, shape (n,)."""
    assert spec.window is not None
    glass = spec.window.opening
    # A high or low window is looked out of where it is half open.
    eye_m = EYE_M if glass.sill_m < EYE_M < glass.head_m else (glass.sill_m + glass.head_m) / 2
    return _hem_m(spec, places) >= eye_m


def _hem_m(spec: ShadeSpec, places: Floats) -> Floats:
    assert spec.window is not None
    return spec.window.upper_m - (1.0 - places / 100.0) * spec.travel.roll.drop_mm / 1000


def _running(values: Floats | Flags) -> Floats:
    """Return what values come to before each row and after the last, shape (n + 1,)."""
    return np.concatenate(([0.0], np.cumsum(values, dtype=np.float64)))


def _transmitted(spec: ShadeSpec, hem_m: Floats) -> Floats:
    """Return the share of the sun's heat on the glass that enters the room, shape (n,)."""
    assert spec.window is not None
    opening, pane, cloth = spec.window.opening, spec.window.glass, spec.window.cloth
    pane, cloth = pane or USUAL_GLASS, cloth or USUAL_CLOTH
    covered = shaded(pane, cloth, "external" if spec.mounting is Mounting.EXTERIOR else "internal").g_tot
    free = np.clip((hem_m - opening.sill_m) / (opening.head_m - opening.sill_m), 0.0, 1.0)
    return free * pane.g + (1.0 - free) * covered


def _motor_s(spec: ShadeSpec, hung: Floats) -> float:
    """Return how long the motor runs from each place to the next."""
    steps = {pct: float(spec.travel.steps_at_percent(pct)) for pct in np.unique(hung).tolist()}
    ways = Counter(pairwise(hung.tolist()))
    return sum(times * _ran_s(spec, abs(steps[one] - steps[other])) for (one, other), times in ways.items())


def _ran_s(spec: ShadeSpec, steps: float) -> float:
    return move_profile(steps=steps, top_pps=spec.top_pps, ramp_pps2=spec.ramp_pps2).duration_s
