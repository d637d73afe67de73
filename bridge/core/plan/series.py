"""What the rules ask at many instants at once, for days and years.

The same answers as the files of `rules/`, on numpy arrays; a test holds them together, and one
that every rule has its entry. Hysteresis is a latch. What a wall sees is kept only for the rows in which
the sun shines on it. Import this file where it is used: it brings numpy.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bridge.core.errors import RequestError
from bridge.core.plan.opinion import Opinion, unbounded
from bridge.core.plan.outside import Outside, outside_series
from bridge.core.rules.catalogue import rules
from bridge.core.rules.seeing import rank_of
from bridge.core.rules.view import Readings, Season, View
from bridge.core.spec import Mounting, ShadeSpec
from bridge.core.sun.series import SunSeries, WallSeries, hem_series, wall_series
from bridge.core.surroundings import RuleChoice, Site

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Rows = NDArray[np.int64]
Opinions = tuple[Opinion, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """What the rules of a shade see, minute by minute.

    Attributes:
        spec: The shade.
        outside: What every wall sees; its arrays have shape (n,).
        lit: Rows in which the sun shines on the wall, shape (k,).
        lit_wall: The sun as the wall sees it in these rows; arrays of shape (k,).
        lit_beam_wpm2: Direct sunlight on the glass in these rows, as the rules reckon it, shape (k,).
    """

    spec: ShadeSpec
    outside: Outside
    lit: Rows
    lit_wall: WallSeries
    lit_beam_wpm2: Floats

    @property
    def lit_on_glass_wpm2(self) -> Floats:
        """All sunlight on the glass in the rows of `lit`, shape (k,)."""
        return self.lit_beam_wpm2 + self.outside.diffuse_wpm2[self.lit]

    @property
    def sun(self) -> SunSeries:
        """Where the sun stands; arrays of shape (n,)."""
        return self.outside.sun

    @property
    def wall(self) -> WallSeries:
        """The sun as the wall sees it in all rows; arrays of shape (n,)."""
        assert self.spec.window is not None
        return wall_series(self.outside.sun, self.spec.window.facade)

    @property
    def beam_wpm2(self) -> Floats:
        """Direct sunlight on the glass in all rows, shape (n,)."""
        found = np.zeros(self.outside.local.shape)
        found[self.lit] = self.lit_beam_wpm2
        return found

    @property
    def on_glass_wpm2(self) -> Floats:
        """All sunlight on the glass in all rows, shape (n,)."""
        return self.beam_wpm2 + self.outside.diffuse_wpm2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Asked:
    """What the rules come to; arrays of shape (n,).

    Attributes:
        low_pct: No lower than this; what was only yielded to a lost demand is left out.
        high_pct: No further open than this.
        up: Wind or rain wants it up.
        still: Nothing may start, for ice.
    """

    low_pct: Floats
    high_pct: Floats
    up: Flags
    still: Flags


def seen_series(site: Site, spec: ShadeSpec, utc_s: Floats, **readings: Floats) -> Seen:
    """Return what the rules of one shade see; who has several makes the outside once.

    Args:
        site: Where the house stands.
        spec: The shade; it has a window.
        utc_s: Whole minutes in order, seconds since 1970, shape (n,).
        readings: As for `outside_series`.
    """
    return seen_of(outside_series(site, utc_s, **readings), spec)


def seen_of(outside: Outside, spec: ShadeSpec) -> Seen:
    """Return what the rules of a shade with a window see."""
    assert spec.window is not None, "the sun needs a window"
    wall = wall_series(outside.sun_by_day, spec.window.facade)
    lit, lit_wall = outside.by_day[wall.direct_sun], wall.of(wall.direct_sun)
    return Seen(
        spec=spec,
        outside=outside,
        lit=lit,
        lit_wall=lit_wall,
        lit_beam_wpm2=outside.dni_wpm2[lit] * lit_wall.cos_incidence,
    )


def seen_under(seen: Seen, outside: Outside) -> Seen:
    """Return what the same shade sees at the same instants in other weather."""
    beam = outside.dni_wpm2[seen.lit] * seen.lit_wall.cos_incidence
    return replace(seen, outside=outside, lit_beam_wpm2=beam)


def asked_series(seen: Seen, chosen: Sequence[RuleChoice]) -> Asked:
    """Return what several rules come to, by rank, as `decided` does one by one.

    Raises:
        RequestError: a rule that has no answer here.
    """
    size = seen.outside.local.size
    bounds = unbounded(size)
    up, still = np.zeros(size, dtype=bool), np.zeros(size, dtype=bool)
    for choice in sorted(chosen, key=lambda each: -rank_of(each.rule)):
        if choice.rule not in SERIES:
            raise RequestError(
                where=f"rule {choice.rule!r}",
                problem="it can't be reckoned over many instants",
                remedy="leave it out of these settings to see the year without it",
            )
        if choice.params is None:
            continue
        for opinion in _answer(seen, choice):
            if choice.rule == "ice":
                still[opinion.rows] = True
                continue
            if choice.rule in ("wind", "rain"):
                up[opinion.rows] = True
            bounds.narrow(opinion)
    return Asked(low_pct=bounds.firm_pct, high_pct=bounds.high_pct, up=up, still=still)


def _answer(seen: Seen, choice: RuleChoice) -> Opinions:
    if choice.rule in AT_A_WALL:
        return AT_A_WALL[choice.rule](seen, choice.params)
    answers = seen.outside.answers
    if choice not in answers:
        answers[choice] = AT_ANY_WALL[choice.rule](seen.outside, choice.params)
    return answers[choice]


def _latched(start: Flags, keep: Flags) -> Rows:
    """Return the rows in which something stands that begins with `start` and lasts while `keep`."""
    rows = np.flatnonzero(keep)
    return rows[_stands(rows, start[rows])]


def _stands(rows: Rows, start: Flags) -> Flags:
    """Return the same of rising rows of which each keeps what stands in the row before it, shape (k,)."""
    at = np.arange(rows.size)
    begun = np.maximum.accumulate(np.where(start, at, -1))
    # Between rows that are no neighbours it ends.
    alone = np.diff(rows, prepend=-2) > 1
    stretch: Rows = np.maximum.accumulate(np.where(alone, at, 0))
    return begun >= stretch


def _within(happens: Flags, minutes: float) -> Flags:
    """Return where something has happened at most so many minutes ago."""
    at = np.arange(happens.size, dtype=np.float64)
    last = np.maximum.accumulate(np.where(happens, at, -np.inf))
    return at - last <= minutes


def _sun_depth(seen: Seen, params: Any) -> Opinions:
    window, drop_m = seen.spec.window, seen.spec.travel.roll.drop_mm / 1000
    assert window is not None
    strong = seen.lit_beam_wpm2 >= params.from_wpm2
    hem_m = hem_series(window.opening, seen.lit_wall.of(strong), depth_limit_m=params.depth_limit_m)
    deep = hem_m < window.opening.head_m
    lowered = np.clip((window.upper_m - hem_m[deep]) / drop_m, 0.0, 1.0)
    pct = np.floor(100.0 * (1.0 - lowered) + 1e-9)
    return (Opinion(rows=seen.lit[strong][deep], at_most_pct=pct),)


def _heat(seen: Seen, params: Any) -> Opinions:
    strong = seen.lit_on_glass_wpm2 >= params.from_wpm2 / 2
    rows, on_glass = seen.lit[strong], seen.lit_on_glass_wpm2[strong]
    outdoor, summer = seen.outside.outdoor_c[rows], seen.outside.summer[rows]
    known = ~np.isnan(outdoor)
    keep = np.where(known, outdoor >= params.outdoor_c - params.back_c, summer)
    warm = np.where(known, outdoor >= params.outdoor_c, summer)
    start = warm & (on_glass >= params.from_wpm2)
    stands = _stands(rows[keep], start[keep])
    return (Opinion(rows=rows[keep][stands], at_most_pct=params.open_pct),)


def _warmth(seen: Seen, params: Any) -> Opinions:
    outdoor = seen.outside.outdoor_c
    dark = seen.outside.elevation_deg <= 0
    asking = dark.copy()
    asking[seen.lit[seen.lit_on_glass_wpm2 >= params.from_wpm2]] = True
    rows = np.flatnonzero(asking & (outdoor < params.outdoor_c + params.back_c))
    rows = rows[_stands(rows, outdoor[rows] < params.outdoor_c)]
    by_night = dark[rows]
    return (
        Opinion(rows=rows[~by_night], at_least_pct=params.open_pct),
        Opinion(rows=rows[by_night], at_most_pct=params.night_open_pct),
    )


def _night(outside: Outside, params: Any) -> Opinions:
    dark = outside.elevation_deg < params.sun_below_deg
    if params.until is not None:
        until = params.until.hour * 60 + params.until.minute + params.until.second / 60
        clock = outside.local % 1440.0
        late = (clock >= until) & (clock < 720) if until <= 720 else (clock >= until) | (clock < 720)
        dark &= ~late
    return (Opinion(rows=np.flatnonzero(dark), at_most_pct=params.open_pct),)


def _wind(outside: Outside, params: Any) -> Opinions:
    blows = np.zeros(outside.local.shape, dtype=bool)
    stirs, fitted = blows.copy(), False
    for mps, limit in ((outside.gust_mps, params.gust_limit_mps), (outside.wind_mps, params.mean_limit_mps)):
        fitted = fitted or not bool(np.all(np.isnan(mps)))
        blows |= _within(mps >= limit, params.calm_min)
        stirs |= _within(mps >= limit * params.calm_share, params.calm_min)
    rows = _latched(blows, stirs | blows) if fitted else np.arange(blows.size)
    return (Opinion(rows=rows, at_least_pct=100.0),)


def _rain(outside: Outside, params: Any) -> Opinions:
    wet = _within(outside.rain_mmph >= params.from_mmph, params.dry_min)
    return (Opinion(rows=np.flatnonzero(wet), at_least_pct=100.0),)


def _ice(outside: Outside, params: Any) -> Opinions:
    wet = np.isnan(outside.rain_mmph) | _within(outside.rain_mmph > 0, params.wet_h * 60)
    start = wet & (outside.outdoor_c < params.freezing_c)
    return (Opinion(rows=_latched(start, wet & (outside.outdoor_c < params.freezing_c + params.thaw_c))),)


def _doorway(outside: Outside, params: Any) -> Opinions:  # noqa: ARG001  a door is not foreseen
    return ()


def _schedule(outside: Outside, params: Any) -> Opinions:
    return _by_the_clock(outside, "schedule", params)


def _dawn_light(outside: Outside, params: Any) -> Opinions:
    light = outside.elevation_deg >= params.sun_above_deg
    return _by_the_clock(outside, "dawn-light", params, where=light)


def _by_the_clock(outside: Outside, rule: str, params: object, where: Flags | None = None) -> Opinions:
    """Return what a rule of the clock asks: its own file is asked for every minute of a week."""
    monday = datetime(2026, 1, 5, tzinfo=UTC)
    view = View(
        utc=monday,
        local=monday,
        season=Season.WINTER,
        sun=None,
        window=None,
        mounting=Mounting.INTERIOR,
        drop_m=1.0,
        open_pct=None,
        readings=Readings(),
    )
    demand = rules()[rule].demand
    week = [demand(replace(view, local=monday + timedelta(minutes=m)), params) for m in range(10080)]
    at = np.floor(outside.local + 1e-6).astype(np.int64) % 10080
    asks = np.array([each is not None for each in week])[at]
    rows = np.flatnonzero(asks if where is None else asks & where)
    low = np.array([0.0 if each is None else each.at_least_pct for each in week])
    high = np.array([100.0 if each is None else each.at_most_pct for each in week])
    return (Opinion(rows=rows, at_most_pct=high[at[rows]], at_least_pct=low[at[rows]]),)


AT_A_WALL: dict[str, Callable[[Seen, Any], Opinions]] = {
    "sun-depth": _sun_depth,
    "heat": _heat,
    "warmth": _warmth,
}
AT_ANY_WALL: dict[str, Callable[[Outside, Any], Opinions]] = {
    "night": _night,
    "schedule": _schedule,
    "dawn-light": _dawn_light,
    "doorway": _doorway,
    "wind": _wind,
    "rain": _rain,
    "ice": _ice,
}
SERIES = frozenset((*AT_A_WALL, *AT_ANY_WALL))
