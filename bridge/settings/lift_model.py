"""The form of [shades.<id>.lift] and [shades.<id>.motor]: what has to be lifted, and what lifts it."""

from __future__ import annotations

from pydantic import Field

from bridge.settings.fields import Gauge, Table


class LiftTable(Table):
    """What hangs on the tube, and what the gear and the bearings take."""

    width_mm: float = Field(ge=50, le=10000, description="Width of the cloth in mm.")
    cloth_kgpm2: float = Field(ge=0, le=5, description="Mass of a square metre of cloth in kg.")
    hem_bar_kg: float = Field(gt=0, le=50, description="Mass of the hem bar in kg, weights in it included.")
    gear_efficiency: float = Field(
        default=0.9, gt=0.05, le=1, description="Share of the motor's torque that reaches the tube."
    )
    friction_nm: float = Field(
        default=0.05, ge=0, le=50, description="Torque of bearings and rails at the tube, in N m."
    )


class MotorTable(Table):
    """The figures of the stepper motor's data sheet, its supply and its cable."""

    holding_torque_nm: float = Field(
        gt=0, le=100, description="Torque in N m that both phases at phase_a hold, at the motor's shaft."
    )
    detent_torque_nm: float = Field(
        default=0.0,
        ge=0,
        le=20,
        description="Torque in N m that the shaft holds without current; none when it is not told.",
    )
    phase_a: float = Field(gt=0, le=20, description="Peak current of a phase in A, as the driver is set.")
    phase_ohm: float = Field(gt=0, le=1000, description="Resistance of a phase in ohm.")
    phase_mh: float = Field(gt=0, le=1000, description="Inductance of a phase in mH.")
    standstill_a: float | None = Field(
        default=None,
        gt=0,
        le=20,
        description="Peak current of a phase in A at rest, awake; phase_a by default.",
    )
    supply_v: float = Field(gt=0, le=60, description="Voltage of the supply in V.")
    cable_awg: Gauge | None = Field(
        default=None, description='American wire gauge of the cable to the motor, such as 18 or "00".'
    )
    cable_m: float | None = Field(
        default=None, gt=0, le=200, description="Length of that cable in m, one way."
    )
