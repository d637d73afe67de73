"""What a year, or a day, of a shade comes to: moves, view, sun that is too deep, heat, time of the motor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bridge.core.plan.series import Flags, Floats, Seen
from bridge.core.shade.profile import move_profile
from bridge.core.spec import Mounting, ShadeSpec
from bridge.core.sun.gain import Cloth, Glass, shaded
from bridge.core.sun.series import far_series

# A person who sits looks out at this height (EN 17037:2018, view out; from memory).
EYE_M = 1.2
# Where the settings tell neither: a double pane and a light screen cloth (common practice).
USUAL_GLASS, USUAL_CLOTH = Glass(g=0.6, u_wpm2k=1.2), Cloth(tau=0.1, rho=0.5)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weathered:
    """The truth at the window; arrays of shape (n,), one a minute.

    Attributes:
        seen: What the rules see.
        beam_wpm2: Direct sunlight on the glass.
        on_glass_wpm2: All sunlight on the glass.
        cooling: Minutes of months in which heat is unwelcome.
        heating: Minutes of months in which it is welcome.
    """

    seen: Seen
    beam_wpm2: Floats
    on_glass_wpm2: Floats
    cooling: Flags
    heating: Flags


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


def figures(
    weather: Weathered, places: Floats, *, up: Flags | None = None, limit_m: float, from_wpm2: float = 50.0
) -> Figures:
    """Return what a strategy comes to.

    Args:
        weather: The truth, minute by minute.
        places: Percent open, shape (n,).
        up: Where wind or rain wants it up, if the strategy obeys that.
        limit_m: How deep the sun may come.
        from_wpm2: Weaker direct sun on the glass disturbs nobody.
    """
    spec = weather.seen.spec
    assert spec.window is not None
    glass = spec.window.opening
    hem_m = spec.window.upper_m - (1.0 - places / 100.0) * spec.travel.roll.drop_mm / 1000
    deep = (far_series(glass, weather.seen.wall, hem_m=hem_m) > limit_m) & (weather.beam_wpm2 >= from_wpm2)
    heat = weather.on_glass_wpm2 * _transmitted(spec, hem_m) / 60_000.0
    risen = np.zeros(places.shape, dtype=bool) if up is None else up & (np.diff(places, prepend=100.0) > 0)
    changes = np.flatnonzero(np.diff(places))
    return Figures(
        moves=int(changes.size),
        view_h=hours(view(weather.seen, places)),
        deep_h=hours(deep),
        cooling_kwhpm2=float(heat[weather.cooling].sum()),
        heating_kwhpm2=float(heat[weather.heating].sum()),
        retracts=int(np.count_nonzero(risen)),
        motor_h=sum(_ran_s(spec, places[at], places[at + 1]) for at in changes.tolist()) / 3600,
    )


def hours(minutes: Flags) -> float:
    """Return how many hours such minutes make."""
    return float(np.count_nonzero(minutes)) / 60.0


def view(seen: Seen, places: Floats) -> Flags:
    """Return where it is daylight and somebody who sits sees out below the hem bar, shape (n,)."""
    assert seen.spec.window is not None
    glass, drop_m = seen.spec.window.opening, seen.spec.travel.roll.drop_mm / 1000
    # A high or low window is looked out of where it is half open.
    eye_m = EYE_M if glass.sill_m < EYE_M < glass.head_m else (glass.sill_m + glass.head_m) / 2
    hem_m = seen.spec.window.upper_m - (1.0 - places / 100.0) * drop_m
    return (seen.sun.up > 0) & (hem_m >= eye_m)


def _transmitted(spec: ShadeSpec, hem_m: Floats) -> Floats:
    """Return the share of the sun's heat on the glass that enters the room, shape (n,)."""
    assert spec.window is not None
    opening, pane, cloth = spec.window.opening, spec.window.glass, spec.window.cloth
    pane, cloth = pane or USUAL_GLASS, cloth or USUAL_CLOTH
    covered = shaded(pane, cloth, "external" if spec.mounting is Mounting.EXTERIOR else "internal").g_tot
    free = np.clip((hem_m - opening.sill_m) / (opening.head_m - opening.sill_m), 0.0, 1.0)
    return free * pane.g + (1.0 - free) * covered


def _ran_s(spec: ShadeSpec, one_pct: float, other_pct: float) -> float:
    steps = abs(float(spec.travel.steps_at_percent(one_pct) - spec.travel.steps_at_percent(other_pct)))
    return move_profile(steps=steps, top_pps=spec.top_pps, ramp_pps2=spec.ramp_pps2).duration_s
