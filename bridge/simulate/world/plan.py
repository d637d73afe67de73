"""What a simulated house is: the owner's settings, drawn, and a truth beside them within what they allow.

The truth's sizes, slip and switch places lie inside the allowances of the settings, never outside: what is
outside cannot be known without a sensor and is injected as a fault of its own kind.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from math import pi
from pathlib import Path
from random import Random

from bridge.core.errors import ConfigError
from bridge.core.spec import HouseSpec, ShadeSpec
from bridge.core.values import ShadeId
from bridge.settings.faults import ConfigFaults, Place
from bridge.settings.house import read_house
from bridge.simulate.build import Build
from bridge.simulate.fitting import BoardPlan, Fitting, OneWayPlan
from bridge.simulate.spiral import turns_for, wound_mm
from bridge.simulate.truth import GRAVITY_MPS2
from bridge.simulate.world.level_plan import draw_row
from bridge.simulate.world.one_way_plan import draw_link, how_many, plan_for, without_senses
from bridge.simulate.world.weather import draw_sensors

GEARS = (Fraction(57, 11), Fraction(5), Fraction(57, 11), Fraction(3), Fraction(10), Fraction(1))
# The truth stays a hair inside the allowance: the bridge's layer formula and the spiral differ by 0.1 mm.
INSIDE = 0.97
# The share of houses with a schedule. Its day ahead takes as long to reckon as everything else in that house.
SCHEDULED = 0.2
RARELY = 0.015
# However often an owner edits it.
SLIP_MOST_MM = 1.0
PLACES = 128
# Allowances with which the claim is 3 mm wide at the median on a first day without faults: found by trying,
# no promise that a house keeps to them. The truth lies within them as it does within any others.
CAREFUL_SWITCH_MM = 0.2
CAREFUL_SCALE_PCT = 0.05
CAREFUL_MOVE_MM = 0.03
CAREFUL_TURN_MM = 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A house as its owner wrote it down and as it is.

    Attributes:
        spec: The settings.
        boards: As built, in the order of their ids.
        one_way: Those that never report, as built.
    """

    spec: HouseSpec
    boards: tuple[BoardPlan, ...]
    one_way: tuple[OneWayPlan, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shade:
    table: dict[str, object]
    fitting: Fitting
    holds: object


def draw_plan(  # noqa: PLR0913 - chance of its own for what came later, so that old seeds keep their stories
    rng: Random,
    *,
    shades: int = 0,
    one_way: int | None = 0,
    progress_s: float = 0.3,
    careful: bool = False,
    aside: Random,
    simple: Random,
    weather: Random | None,
    row: Random | None = None,
) -> Plan:
    """Return a house of one to four shades, or of `shades`; `aside` draws what they share.

    A `careful` owner has fitted a good upper switch to every shade and measured the rest. `simple` draws
    the boards that never report: `one_way` of them, or some when that is None; `weather` the sensors, and
    `row` a level group, if there are to be any.
    """
    number = shades or rng.randint(1, 4)
    tables: dict[str, dict[str, object]] = {}
    fittings: dict[str, list[Fitting]] = {}
    for index in range(number):
        board = f"board-{rng.randint(0, index // 2)}"
        channels = fittings.setdefault(board, [])
        drawn = _draw_shade(rng, f"shade-{index}", progress_s, careful=careful)
        drawn.table["link"] = {"kind": "contract", "board": board, "channel": len(channels)}
        tables[f"shade-{index}"] = drawn.table
        channels.append(drawn.fitting)
    boards = tuple(BoardPlan(id=name, channels=tuple(fittings[name])) for name in sorted(fittings))
    mute = _draw_one_way(simple, how_many(simple, one_way), tables, progress_s, careful=careful)
    shared = _draw_shared(aside, tables, ruled=SCHEDULED if weather is None else RARELY)
    sensed = {} if weather is None else draw_sensors(weather)
    if sensed and "rule" not in shared:
        shared |= sensed
    if row is not None:
        draw_row(row, tables, shared)
    spec = read_spec(tables, shared)
    plans = tuple(plan_for(simple, shade_of(spec, name), mute[name]) for name in sorted(mute))
    return Plan(spec=spec, boards=boards, one_way=plans)


def _draw_one_way(
    rng: Random, number: int, tables: dict[str, dict[str, object]], progress_s: float, *, careful: bool
) -> dict[str, Fitting]:
    """Add one-way shades to the settings and return how they are built."""
    mute = {}
    for index in range(len(tables), len(tables) + number):
        name = f"shade-{index}"
        drawn = _draw_shade(rng, name, progress_s, careful=careful)
        tables[name] = drawn.table
        mute[name] = without_senses(drawn.table, drawn.fitting)
        drawn.table["link"] = draw_link(rng, name, drawn.holds)
    return mute


def _draw_shared(rng: Random, tables: dict[str, dict[str, object]], *, ruled: float) -> dict[str, object]:
    """Return what the shades share: in some houses a supply too weak for all, a group, a schedule."""
    shared: dict[str, object] = {}
    names = sorted(tables)
    if len(names) > 1 and rng.random() < 0.4:
        draws = {name: (rng.uniform(0.5, 2.5), rng.uniform(0.0, 0.4)) for name in names}
        for name, (moving, still) in draws.items():
            tables[name]["power"] = {"supply": "rail", "moving_a": moving, "standstill_a": still}
        rest = sum(still for _, still in draws.values())
        least = rest + max(moving - still for moving, still in draws.values())
        most = sum(moving for moving, _ in draws.values())
        shared["supplies"] = {"rail": {"amps": max(least, rng.uniform(least, most)) + 0.01}}
    if len(names) > 1 and rng.random() < 0.4:
        shared["groups"] = {"all": {"members": names}}
    if rng.random() < ruled:
        first = rng.randint(0, 20)
        times = [[f"{first + n // 3:02}:{n % 3 * 20:02}", rng.choice((0, 40, 80, 100))] for n in range(9)]
        if ruled != SCHEDULED:
            times = [[f"{(first + 2 * n) % 24:02}:00", pct] for n, (_, pct) in enumerate(times)]
        shared["rule"] = [{"rule": "schedule", "shades": "all", "times": times}]
        shared["restraint"] = {
            "look_every_min": 20 if ruled == SCHEDULED else 60,
            "dwell_min": rng.choice((15, 30, 60)),
            "moves_a_day": rng.randint(2, 6),
        }
        for name in names:
            tables[name]["hold_min"] = 5.0
    return shared


def read_spec(tables: dict[str, dict[str, object]], shared: dict[str, object] | None = None) -> HouseSpec:
    """Return the house that the bridge's own reading of the settings makes of these shades."""
    raw = {
        "site": {
            "name": "Tern Hill", "latitude_deg": 50.0, "longitude_deg": 5.0, "timezone": "Europe/Brussels"
        },
        "broker": {"host": "127.0.0.1"},
        "shades": tables,
        **(shared or {}),
    }  # fmt: skip
    faults: list[ConfigError] = []
    settings = read_house(Place("simulated house", (), faults), raw, Path())
    if settings is None or faults:
        raise ConfigFaults(origin="simulated house", faults=faults)
    return settings.house


def changed_settings(rng: Random, spec: HouseSpec) -> HouseSpec:
    """Return the house after its owner has edited allowances that leave the truth inside them."""
    return replace(spec, shades=tuple(_edited(rng, shade) for shade in spec.shades))


def _edited(rng: Random, shade: ShadeSpec) -> ShadeSpec:
    more = rng.uniform(1.0, 1.5)
    return replace(
        shade,
        slip_per_move_mm=max(shade.slip_per_move_mm, min(shade.slip_per_move_mm * more, SLIP_MOST_MM)),
        tolerance_mm=min(shade.tolerance_mm * rng.uniform(0.7, 1.3), shade.doubtful_mm),
        hold_s=rng.choice((0.0, 600.0, 7200.0)),
    )


def redrawn_settings(rng: Random, spec: HouseSpec, plan: Plan) -> HouseSpec:
    """Return the house after its owner has measured tubes and cloths anew: nearer to what they really are.

    Drives are then other ones: the same step means another place.
    """
    built = [each for board in plan.boards for each in board.channels]
    built += [each for board in plan.one_way for each in board.channels]
    builds = {each.shade: each.build for each in built}
    share = rng.uniform(0.1, 1.0)
    return replace(spec, shades=tuple(_remeasured(rng, share, each, builds[each.id]) for each in spec.shades))


def _remeasured(rng: Random, share: float, shade: ShadeSpec, build: Build) -> ShadeSpec:
    if rng.random() < 0.3:
        return shade
    roll = shade.travel.roll
    nearer = replace(
        roll,
        tube_mm=roll.tube_mm + share * (build.tube_mm - roll.tube_mm),
        cloth_mm=roll.cloth_mm + share * (build.cloth_mm - roll.cloth_mm),
        wraps_left=roll.wraps_left + share * (build.wraps_left - roll.wraps_left),
    )
    return replace(shade, travel=replace(shade.travel, roll=nearer))


def _draw_shade(rng: Random, name: str, progress_s: float, *, careful: bool) -> _Shade:
    tube = rng.uniform(28, 60)
    cloth = rng.uniform(0.25, 0.8)
    drop = rng.uniform(600, 2400)
    wraps = rng.uniform(1.0, 3.0)
    gear = rng.choice(GEARS)
    if careful:
        gear = GEARS[0]
    pulses = rng.choice((400, 800, 800, 1600))
    a_turn = pulses * gear
    top = round(rng.uniform(120, 260) / (pi * tube) * float(a_turn))
    ramp = round(top / rng.uniform(0.3, 1.0))
    overrun = rng.uniform(25, 60)
    confirmed = rng.random() < 0.7
    scale = rng.uniform(0.1, 0.5)
    coarse = rng.uniform(3.0, 5.0)
    slip_move, slip_turn = rng.uniform(0.03, 0.2), rng.uniform(0.01, 0.05)
    if careful:
        confirmed = True
        scale, slip_move, slip_turn = CAREFUL_SCALE_PCT, CAREFUL_MOVE_MM, CAREFUL_TURN_MM
    nominal = Build(
        tube_mm=tube, cloth_mm=cloth, drop_mm=drop, wraps_left=wraps, pulses_per_rev=pulses, gear=gear
    )
    build = _true_roll(rng, nominal, INSIDE * scale / 100)
    if not confirmed:
        # What an owner who has not measured gets wrong is the gear: the same factor everywhere.
        off = INSIDE * (coarse - scale) / 100 * rng.uniform(-1, 1)
        build = replace(build, gear=(gear * Fraction(1 + off)).limit_denominator(10**6))
    build = _true_motor(rng, build, top)
    build = replace(
        build,
        stop_mm=-overrun * rng.uniform(0.8, 0.98),
        slip_move_mm=INSIDE * slip_move * rng.uniform(0.1, 1.0),
        slip_turn_mm=INSIDE * slip_turn * rng.uniform(0.1, 1.0),
        start_mm=rng.uniform(0, drop),
    )
    references, build, stall = _true_references(rng, build, overrun, careful=careful)
    table: dict[str, object] = {
        "mounting": "interior",
        "hold_min": 120.0,
        "tube_mm": tube,
        "cloth_mm": cloth,
        "drop_mm": drop,
        "wraps_left": wraps,
        "drive": {
            "pulses_per_rev": pulses, "gear": str(gear), "top_pps": top, "ramp_pps2": ramp,
            "confirmed": confirmed,
        },
        "unpowered": {"holds": (holds := _holds(rng, build))},
        "trust": {
            "tolerance_mm": rng.uniform(3, 8),
            "doubtful_mm": rng.uniform(40, 90),
            "slip_per_move_mm": slip_move,
            "slip_per_turn_mm": slip_turn,
            "scale_allowance_pct": scale,
            "unconfirmed_scale_allowance_pct": coarse,
            "overrun_mm": overrun,
            "hand_repeatability_mm": 3.0,
            "local_button": rng.random() < 0.6,
        },
        "references": references,
    }  # fmt: skip
    fitting = Fitting(
        shade=name,
        build=build,
        pulses_per_turn=a_turn if rng.random() < 0.8 else None,
        record=rng.choice((None, 0, 12345)),
        stall=stall,
        max_pps=max(8000, 2 * top),
        max_ramp=max(40000, 4 * ramp),
        dead_pps=rng.choice((1000, top)),
        own_pps=max(1, top // 2),
        own_ramp=ramp,
        progress_s=progress_s,
    )
    return _Shade(table=table, fitting=fitting, holds=holds)


def _true_roll(rng: Random, nominal: Build, allowed: float) -> Build:
    """Return a roll and gear whose travel differs from the nominal by at most `allowed`, relatively."""
    tube_off, cloth_off, wraps_off = (rng.uniform(-1, 1) * part for part in (0.02, 0.04, 0.05))
    drops = (-60.0, 0.0, nominal.drop_mm / 2, nominal.drop_mm, nominal.drop_mm + 60)
    radii = {at: _radius(nominal, at) for at in drops}
    for _ in range(60):
        true = replace(
            nominal,
            tube_mm=nominal.tube_mm * (1 + tube_off),
            cloth_mm=nominal.cloth_mm * (1 + cloth_off),
            wraps_left=nominal.wraps_left + wraps_off,
        )
        if _worst_scale(true, radii) <= allowed:
            return true
        tube_off, cloth_off, wraps_off = tube_off * 0.8, cloth_off * 0.8, wraps_off * 0.8
    return nominal


def _worst_scale(true: Build, nominal: dict[float, float]) -> float:
    return max(abs(_radius(true, at) / radius - 1) for at, radius in nominal.items())


def _radius(build: Build, drop_mm: float) -> float:
    left = (
        build.drop_mm + wound_mm(build.wraps_left, tube_mm=build.tube_mm, cloth_mm=build.cloth_mm) - drop_mm
    )
    turns = turns_for(max(left, 0.0), tube_mm=build.tube_mm, cloth_mm=build.cloth_mm)
    return build.tube_mm / 2 + build.cloth_mm * turns


def _true_motor(rng: Random, build: Build, top_pps: int) -> Build:
    """Return the build with weights drawn and a motor that lifts them; what it holds unpowered varies."""
    build = replace(
        build,
        width_mm=rng.uniform(600, 2000),
        cloth_kgpm2=rng.uniform(0.1, 0.4),
        hem_bar_kg=rng.uniform(0.2, 0.8),
        corner_pps=4.0 * top_pps,
    )
    pulls = [weight_nm(build, build.drop_mm * k / 20) / float(build.gear) for k in range(-1, 22)]
    hold = rng.choice((1.5, 1.5, 0.5, rng.uniform(0.7, 1.0)))
    return replace(build, holding_nm=4 * max(pulls), detent_nm=hold * max(pulls))


def weight_nm(build: Build, drop_mm: float) -> float:
    """Return the torque of cloth and hem bar at the tube with the hem bar at `drop_mm`."""
    kg = build.hem_bar_kg + build.cloth_kgpm2 * build.width_mm / 1000 * max(0.0, drop_mm) / 1000
    return kg * GRAVITY_MPS2 * _radius(build, drop_mm) / 1000


def _holds(rng: Random, build: Build) -> object:
    """Return the holding map that a careful owner writes: a little less than what really holds."""
    drops = [build.drop_mm * k / PLACES for k in range(-8, PLACES + 1)]
    held = [weight_nm(build, at) <= 0.97 * build.detent_nm * float(build.gear) for at in drops]
    deepest = weight_nm(build, build.drop_mm * 1.3) <= 0.97 * build.detent_nm * float(build.gear)
    if all(held) and deepest:
        return "everywhere" if rng.random() < 0.9 else "nowhere"
    inside = held[8:]
    if not held[0] or not inside[0]:
        return "nowhere"
    run = next((k for k, each in enumerate(inside) if not each), len(inside)) - 3
    return [[100 - 100 * run / PLACES, 100]] if run > 8 else "nowhere"


def _true_references(
    rng: Random, build: Build, overrun: float, *, careful: bool
) -> tuple[dict[str, object], Build, bool]:
    """Return the settings' references, the build with its switches, and whether it feels a stall."""
    half = rng.uniform(0.5, 1.5)
    references: dict[str, object] = {"repeatability_mm": half}
    kind = rng.random()
    if careful:
        references["repeatability_mm"] = half = CAREFUL_SWITCH_MM
        kind = 0.0
    stall = False
    if kind < 0.6:
        at = -rng.uniform(1, 0.3 * overrun)
        references["upper_switch_mm"] = at
        build = replace(build, upper_switch_mm=at + INSIDE * half * rng.uniform(-1, 1))
    elif kind < 0.75:
        stall = True
        assert build.stop_mm is not None
        at = max(-overrun, build.stop_mm + INSIDE * half * rng.uniform(-1, 1))
        references["upper_stall_mm"] = at
    if rng.random() < 0.2:
        at = build.drop_mm + rng.uniform(-4, 30)
        references["lower_switch_mm"] = at
        build = replace(build, lower_switch_mm=at + INSIDE * half * rng.uniform(-1, 1))
    return references, build, stall


def shade_of(spec: HouseSpec, name: str) -> ShadeSpec:
    """Return the settings of one shade."""
    return next(shade for shade in spec.shades if shade.id == ShadeId(name))
