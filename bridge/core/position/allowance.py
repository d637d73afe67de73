"""How much each thing that happens may have put the estimate out, in steps rounded outwards."""

from __future__ import annotations

from math import ceil, floor

from bridge.core.spec import Reference, ShadeSpec
from bridge.core.values import Interval, Steps


def steps_for_mm(spec: ShadeSpec, mm: float) -> float:
    """Return the steps that move the hem bar by `mm` where a step moves it least: near the lower limit."""
    travel = spec.travel
    return mm / travel.least_mm_a_turn * travel.turn_pulses


def physical_range(spec: ShadeSpec) -> Interval:
    """Return every position that the hem bar can have: upper stop to the end of the cloth."""
    return spec.ends


def reference_interval(spec: ShadeSpec, reference: Reference) -> Interval:
    """Return the positions in which a reference may really be met, its last step included."""
    at, half = reference.at_mm, reference.repeatability_mm
    return Interval(
        low=floor(spec.travel.steps_at_drop(at - half)) - 1,
        high=ceil(spec.travel.steps_at_drop(at + half)) + 1,
    )


def slip_of_path(spec: ShadeSpec, *, moves: int, distance: Steps) -> Steps:
    """Return the half-width that `moves` starts and `distance` >= 0 steps of travel may have added."""
    turns = distance / spec.travel.turn_pulses
    mm = moves * spec.slip_per_move_mm + turns * spec.slip_per_turn_mm
    return ceil(steps_for_mm(spec, mm))


def scale_allowance(spec: ShadeSpec, *, bound: float | None) -> float:
    """Return the relative error that a travelled distance may have.

    Args:
        spec: The shade.
        bound: What two references at different places still allow; None before there were two.
    """
    if spec.drive_confirmed:
        return spec.scale_allowance
    if bound is None:
        return spec.unconfirmed_scale_allowance
    # Two places bound the mean over the way between; on a part of it the drive may differ from the mean.
    return min(bound + 2 * spec.scale_allowance, spec.unconfirmed_scale_allowance)


def snap(spec: ShadeSpec) -> Steps:
    """Return how far an unpowered rotor may turn before it is energised again: half an electrical cycle."""
    return spec.travel.half_cycle_steps


def nearest_cycle(spec: ShadeSpec, count: Steps) -> Steps:
    """Return the count nearest to `count` at which a sleeping rotor stays where it is."""
    cycle = spec.travel.drive.cycle_pulses
    if cycle.denominator > 1:
        return round(round(count / cycle) * cycle)
    # The same in whole numbers: ties go to the even cycle.
    whole = cycle.numerator
    cycles, left = divmod(count, whole)
    return (cycles + (2 * left > whole or (2 * left == whole and cycles % 2 == 1))) * whole


def braking(spec: ShadeSpec, pps: int | None = None) -> Steps:
    """Return the steps in which a motor at `pps`, by default at top speed, comes to rest."""
    speed = spec.top_pps if pps is None else pps
    return ceil(speed * speed / (2 * spec.ramp_pps2))


def free_above(spec: ShadeSpec) -> Steps:
    """Return the position up to which no stop is in the way: half of the room that the owner gives."""
    return physical_range(spec).low // 2


def room_above(spec: ShadeSpec, at: Interval) -> Steps:
    """Return the steps surely free above an upper switch met in `at`: half of what the owner gives."""
    return max(0, (at.low - physical_range(spec).low) // 2)
