"""What has to be lifted and what lifts it: its two tables held against each other, as plain values.

A shade may leave out both; only `holds = "computed"` and the sizing need them.
"""

from __future__ import annotations

from collections.abc import Mapping

from bridge.core.errors import RequestError
from bridge.core.shade.drive import Drive
from bridge.core.shade.holding import held_percents
from bridge.core.shade.lifting import Lifting
from bridge.core.shade.motor import Motor
from bridge.core.shade.roll import Roll
from bridge.core.shade.sizing import Feed
from bridge.settings.explain import read_table
from bridge.settings.faults import Place, number
from bridge.settings.fields import COMPUTED
from bridge.settings.lift_model import LiftTable, MotorTable
from bridge.settings.plain import LiftRead

NEEDED = "width_mm, cloth_kgpm2 and hem_bar_kg under lift, and the motor's data sheet under motor"


def read_lifting(place: Place, raw: Mapping[str, object], roll: Roll, drive: Drive) -> LiftRead | None:
    """Return what [lift] and [motor] of a shade tell, or refuse what is wrong and return None."""
    lift = read_table(place, raw, "lift", LiftTable) if "lift" in raw else None
    motor = read_table(place, raw, "motor", MotorTable) if "motor" in raw else None
    if (lift is None and "lift" in raw) or (motor is None and "motor" in raw):
        return None
    if motor is not None and not _sound(place.inside("motor"), motor):
        return None
    return LiftRead(
        lifting=None if lift is None else _lifting(lift, roll, drive),
        motor=None if motor is None else _motor(motor, drive),
        feed=None if motor is None else _feed(motor),
    )


def computed_holds(place: Place, read: LiftRead) -> tuple[tuple[float, float], ...] | None:
    """Return where the unpowered motor holds by reckoning, or refuse for want of figures and return None."""
    if read.lifting is None or read.motor is None:
        place.inside("unpowered").refuse(
            f'holds = "{COMPUTED}", but the figures to compute it from are missing',
            f"add {NEEDED}; or try it with the motor unplugged and the cloth supported",
        )
        return None
    return tuple(held_percents(read.lifting, detent_torque_nm=read.motor.detent_torque_nm))


def _sound(place: Place, motor: MotorTable) -> bool:
    if (motor.cable_awg is None) != (motor.cable_m is None):
        place.refuse("of cable_awg and cable_m only one is given", "give both, or leave out both")
        return False
    if motor.standstill_a is not None and motor.standstill_a > motor.phase_a:
        place.refuse(
            f"standstill_a = {number(motor.standstill_a)} is more than phase_a = {number(motor.phase_a)}",
            "give the driver's current at rest, at most that of motion",
        )
        return False
    if motor.detent_torque_nm >= motor.holding_torque_nm:
        place.refuse(
            f"detent_torque_nm = {number(motor.detent_torque_nm)} is not less than holding_torque_nm = "
            f"{number(motor.holding_torque_nm)}",
            "the first is without current, usually a twentieth of the second; look at the data sheet again",
        )
        return False
    try:
        _feed(motor).driver_v(motor.phase_a)
    except RequestError as error:
        place.refuse(error.problem, error.remedy)
        return False
    return True


def _lifting(lift: LiftTable, roll: Roll, drive: Drive) -> Lifting:
    return Lifting(
        roll=roll,
        width_mm=lift.width_mm,
        cloth_kgpm2=lift.cloth_kgpm2,
        hem_bar_kg=lift.hem_bar_kg,
        gear=drive.gear,
        gear_efficiency=lift.gear_efficiency,
        friction_nm=lift.friction_nm,
    )


def _motor(motor: MotorTable, drive: Drive) -> Motor:
    return Motor(
        holding_torque_nm=motor.holding_torque_nm,
        detent_torque_nm=motor.detent_torque_nm,
        phase_a=motor.phase_a,
        phase_ohm=motor.phase_ohm,
        phase_mh=motor.phase_mh,
        full_steps_per_rev=drive.full_steps_per_rev,
    )


def _feed(motor: MotorTable) -> Feed:
    return Feed(
        supply_v=motor.supply_v,
        standstill_a=motor.phase_a if motor.standstill_a is None else motor.standstill_a,
        cable_awg=motor.cable_awg,
        cable_m=motor.cable_m,
    )
