"""Whether a motor, its supply and its cable suit a shade, and what would make them suit.

Inertia of tube and cloth is left out: at the ramps of shades it asks for a few percent of the lifting
torque. Whether the drive stays cool and quiet is not known here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import sqrt

from bridge.core.errors import RequestError
from bridge.core.shade.bounds import checked
from bridge.core.shade.cable import loop_ohm
from bridge.core.shade.drive import Drive
from bridge.core.shade.holding import holding_drops
from bridge.core.shade.lifting import Lifting
from bridge.core.shade.motor import USUAL_MARGIN, Motor, Sizing, size
from bridge.core.shade.profile import Profile, move_profile
from bridge.core.shade.travel import Travel

# Above it direct current is no longer safe extra-low voltage: IEC 61140, ripple-free; from memory.
HIGHEST_SUPPLY_V = 60.0
MOST_GEAR = 5000
THICKEST_AWG = -3
# As good as no hem bar at all.
LIGHTEST_KG = 0.001
# Common practice: a fuse runs at no more than four fifths of its rating.
FUSE_FACTOR = 1.25
# Rated currents of miniature fuses: IEC 60127-2, from memory; part of the R10 series.
MINIATURE_FUSES_A = (
    0.1, 0.125, 0.16, 0.2, 0.25, 0.315, 0.4, 0.5, 0.63, 0.8,
    1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0,
)  # fmt: skip
# Rated currents of blade fuses: ISO 8820-3, from memory.
BLADE_FUSES_A = (2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0)
HOURS_A_YEAR = 8766  # 365.25 days


@dataclass(frozen=True, slots=True, kw_only=True)
class Feed:
    """What feeds a motor.

    Args:
        supply_v: Voltage of the supply, > 0.
        standstill_a: Peak current of a phase at rest, awake, >= 0.
        cable_awg: Gauge of the cable on the way; None for none worth reckoning.
        cable_m: Its length one way; None with `cable_awg` None.
    """

    supply_v: float
    standstill_a: float
    cable_awg: int | None = None
    cable_m: float | None = None

    def cable_v(self, amps: float) -> float:
        """Return the volts that the cable takes at `amps` > 0."""
        if self.cable_awg is None or self.cable_m is None:
            return 0.0
        return amps * loop_ohm(self.cable_awg, length_m=self.cable_m)

    def driver_v(self, amps: float) -> float:
        """Return the volts that are left at the driver at `amps` > 0.

        Raises:
            RequestError: the cable takes them all.
        """
        taken_v = self.cable_v(amps)
        if taken_v >= self.supply_v:
            raise RequestError(
                where="cable_m",
                problem=f"at {amps:g} A it takes {taken_v:.1f} V of the {self.supply_v:g} V supplied",
                remedy="use a thicker or shorter cable, or a higher supply",
            )
        return self.supply_v - taken_v


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """A shade with the motor that is to move it.

    Attributes:
        travel: Roll and drive.
        lifting: The weight on that roll, through that gear.
        motor: Its data sheet.
        feed: Its supply and cable.
        top_pps: Speed in steps/s.
        ramp_pps2: Acceleration in steps/s^2.
    """

    travel: Travel
    lifting: Lifting
    motor: Motor
    feed: Feed
    top_pps: float
    ramp_pps2: float

    @property
    def step_pulses(self) -> float:
        """Driver pulses in one full step."""
        return float(self.travel.drive.full_step_pulses)

    @property
    def driver_v(self) -> float:
        """Volts at the driver with the full phase current in the cable, which is the most that flows."""
        return self.feed.driver_v(self.motor.phase_a)

    @property
    def result(self) -> Sizing:
        """How the motor meets the worst place of the travel at top speed."""
        full_pps = self.top_pps / self.step_pulses
        return size(self.lifting, self.motor, full_pps=full_pps, supply_v=self.driver_v)

    @property
    def move(self) -> Profile:
        """A full travel."""
        return move_profile(steps=self.travel.lower_steps, top_pps=self.top_pps, ramp_pps2=self.ramp_pps2)

    @property
    def standstill_w(self) -> float:
        """Heat of both windings at rest, awake: the phases are sine and cosine of the standstill current."""
        return self.feed.standstill_a * self.feed.standstill_a * self.motor.phase_ohm


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """What one place of the travel asks of the motor and gets.

    Attributes:
        drop_mm: Below the upper limit.
        needed_nm: At the motor's shaft, lifting.
        available_nm: What the motor gives at the speed that a full travel has there.
        weight_nm: With which the cloth turns the unpowered motor, at worst.
    """

    drop_mm: float
    needed_nm: float
    available_nm: float
    weight_nm: float


def along_travel(setup: Setup, *, places: int = 101) -> list[Place]:
    """Return what `places` >= 2 evenly spaced places ask and get, from the upper limit to the lower."""
    drop_mm = setup.travel.roll.drop_mm
    return [_place(setup, drop_mm * number / (places - 1)) for number in range(places)]


def _place(setup: Setup, drop_mm: float) -> Place:
    steps = float(setup.travel.steps_at_drop(drop_mm))
    to_end = max(0.0, min(steps, setup.travel.lower_steps - steps))
    pps = min(setup.top_pps, sqrt(2 * setup.ramp_pps2 * to_end))
    return Place(
        drop_mm=drop_mm,
        needed_nm=setup.lifting.motor_torque_nm(drop_mm),
        available_nm=setup.motor.torque_at_speed_nm(pps / setup.step_pulses, supply_v=setup.driver_v),
        weight_nm=setup.lifting.back_driving_torque_nm(drop_mm),
    )


def resting_drop_mm(setup: Setup, from_mm: float) -> float:
    """Return where the hem bar comes to rest when the motor loses its current at `from_mm`, at worst.

    Held with no margin at all counts as held; the end of the cloth if it is held nowhere below.
    """
    end_mm = setup.travel.roll.end_drop_mm
    held = holding_drops(
        setup.lifting, detent_torque_nm=setup.motor.detent_torque_nm, margin=1.0, deepest_mm=end_mm
    )
    return next((max(from_mm, high) for high, low in held if from_mm <= low), end_mm)


# -- what would help ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Remedy:
    """One change that by itself gives the usual margin.

    Attributes:
        what: `slower`, `higher supply`, `more gear`, `lighter hem bar` or `thicker cable`.
        setup: The shade with that change; None when no such change is enough.
        value: The number that it takes, in `unit`.
        unit: `steps/s`, `V`, `motor turns a tube turn`, `kg` or `AWG`.
    """

    what: str
    setup: Setup | None
    value: float | None
    unit: str


def remedies(setup: Setup) -> list[Remedy]:
    """Return for each kind of change how much of it gives the usual margin, found by trying it out."""
    found = [
        _remedy("slower", "steps/s", setup, _slower, setup.top_pps, 1.0),
        _remedy("higher supply", "V", setup, _fed, setup.feed.supply_v, HIGHEST_SUPPLY_V),
        _remedy("more gear", "motor turns a tube turn", setup, _geared, _gear(setup), MOST_GEAR),
        _remedy("lighter hem bar", "kg", setup, _lightened, setup.lifting.hem_bar_kg, LIGHTEST_KG),
    ]
    return [*found, *_thicker(setup)]


def gear_that_holds(setup: Setup) -> float | None:
    """Return the least gear with which the unpowered motor holds the cloth everywhere, with margin."""
    if setup.motor.detent_torque_nm == 0:
        return None
    limit_nm = setup.motor.detent_torque_nm / USUAL_MARGIN
    peak_nm = setup.lifting.peak(deepest_mm=setup.travel.roll.end_drop_mm).tube_torque_nm
    return max(peak_nm / limit_nm, _gear(setup))


def has_margin(setup: Setup) -> bool:
    """Say whether the motor lifts with the usual margin."""
    return setup.result.margin >= USUAL_MARGIN


Change = Callable[[Setup, float], Setup]


def _remedy(what: str, unit: str, setup: Setup, change: Change, now: float, furthest: float) -> Remedy:
    def enough(value: float) -> bool:
        return has_margin(change(setup, value))

    if now == furthest or not enough(furthest):
        return Remedy(what=what, setup=None, value=None, unit=unit)
    value = _nearest(enough, now, furthest)
    return Remedy(what=what, setup=change(setup, value), value=value, unit=unit)


def _nearest(enough: Callable[[float], bool], now: float, furthest: float) -> float:
    """Return the value nearest to `now`, on the way to `furthest`, that is enough."""
    low, high = now, furthest
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def _slower(setup: Setup, pps: float) -> Setup:
    return replace(setup, top_pps=pps)


def _fed(setup: Setup, supply_v: float) -> Setup:
    return replace(setup, feed=replace(setup.feed, supply_v=supply_v))


def _gear(setup: Setup) -> float:
    return float(setup.travel.drive.gear)


def _geared(setup: Setup, ratio: float) -> Setup:
    gear, old = Fraction(ratio), setup.travel.drive
    drive = Drive(pulses_per_rev=old.pulses_per_rev, gear=gear, full_steps_per_rev=old.full_steps_per_rev)
    travel = Travel(roll=setup.travel.roll, drive=drive)
    return replace(setup, travel=travel, lifting=replace(setup.lifting, gear=gear))


def _lightened(setup: Setup, hem_bar_kg: float) -> Setup:
    return replace(setup, lifting=replace(setup.lifting, hem_bar_kg=hem_bar_kg))


def _thicker(setup: Setup) -> list[Remedy]:
    awg = setup.feed.cable_awg
    if awg is None:
        return []
    for thicker in range(awg - 1, THICKEST_AWG - 1, -1):
        tried = replace(setup, feed=replace(setup.feed, cable_awg=thicker))
        if has_margin(tried):
            return [Remedy(what="thicker cable", setup=tried, value=thicker, unit="AWG")]
    return [Remedy(what="thicker cable", setup=None, value=None, unit="AWG")]


# -- supply and fuse ------------------------------------------------------------------------------


def next_fuse_a(branch_a: float, ratings: Sequence[float]) -> float | None:
    """Return the least of rising `ratings` that runs `branch_a` > 0 with the usual reserve, or None.

    Raises:
        RequestError: `branch_a` is not greater than 0.
    """
    checked("branch_a", branch_a, above=0, unit="A")
    return next((rating for rating in ratings if rating >= FUSE_FACTOR * branch_a), None)
