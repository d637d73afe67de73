"""What a simulated shade is built of: tube, cloth, motor, stops and switches, as they really are."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from bridge.simulate.spiral import turns_for, wound_mm

# A two-phase motor repeats itself every four full steps.
CYCLE_FULL_STEPS = 4
FULL_STEPS_PER_REV = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Build:
    """What one shade is really made of; the bridge's settings may say something else.

    Attributes:
        tube_mm: Bare diameter.
        cloth_mm: One layer.
        drop_mm: From the upper to the lower limit.
        wraps_left: Turns still wound at the lower limit.
        pulses_per_rev: Pulses for one turn of the motor.
        gear: Motor turns for one tube turn.
        start_mm: Drop at which the shade begins its life.
        width_mm: Of the cloth.
        cloth_kgpm2: Of the cloth.
        hem_bar_kg: Of the hem bar.
        friction_nm: Coulomb friction at the tube; helps the detent, hinders the lift.
        gear_efficiency: When lifting.
        detent_nm: What the unpowered motor holds, at its shaft.
        holding_nm: What the energised motor holds or pulls at low speed, at its shaft.
        corner_pps: Above this speed the torque falls with its inverse.
        stop_mm: Drop at which a hard stop keeps the hem bar from rising; None without one.
        upper_switch_mm: The upper switch is closed at this drop and above; None without one.
        lower_switch_mm: The lower switch is closed at this drop and below; None without one.
        slip_move_mm: Each move slips by up to this much, either way.
        slip_turn_mm: Each tube turn of a move slips by up to this much, either way.
    """

    tube_mm: float
    cloth_mm: float
    drop_mm: float
    wraps_left: float
    pulses_per_rev: int = 800
    gear: Fraction = Fraction(57, 11)
    start_mm: float = 0.0
    width_mm: float = 1000.0
    cloth_kgpm2: float = 0.3
    hem_bar_kg: float = 0.3
    friction_nm: float = 0.0
    gear_efficiency: float = 0.9
    detent_nm: float = 0.03
    holding_nm: float = 0.4
    corner_pps: float = 4000.0
    stop_mm: float | None = -10.0
    upper_switch_mm: float | None = None
    lower_switch_mm: float | None = None
    slip_move_mm: float = 0.0
    slip_turn_mm: float = 0.0

    def __post_init__(self) -> None:
        above = ("tube_mm", "drop_mm", "pulses_per_rev", "gear", "gear_efficiency", "corner_pps")
        for name in above:
            if not getattr(self, name) > 0:
                raise ValueError(f"{name} is {getattr(self, name)}; it must be greater than 0")
        for name in ("cloth_mm", "wraps_left", "slip_move_mm", "slip_turn_mm", "detent_nm", "holding_nm"):
            if not getattr(self, name) >= 0:
                raise ValueError(f"{name} is {getattr(self, name)}; it must be 0 or greater")
        if self.pulses_per_rev % FULL_STEPS_PER_REV:
            raise ValueError(f"pulses_per_rev is {self.pulses_per_rev}; it must be a multiple of 200")

    @property
    def pulses_per_turn(self) -> float:
        return float(self.pulses_per_rev * self.gear)

    @property
    def full_step(self) -> float:
        """Pulses in one full step of a 200-step motor."""
        return self.pulses_per_rev / FULL_STEPS_PER_REV

    @property
    def cycle(self) -> int:
        """Pulses in one electrical cycle."""
        return round(CYCLE_FULL_STEPS * self.full_step)

    def wound(self, turns: float) -> float:
        return wound_mm(abs(turns), tube_mm=self.tube_mm, cloth_mm=self.cloth_mm)

    @property
    def all_turns(self) -> float:
        """Turns wound with the hem bar at the upper limit."""
        length = self.drop_mm + self.wound(self.wraps_left)
        return turns_for(length, tube_mm=self.tube_mm, cloth_mm=self.cloth_mm)
