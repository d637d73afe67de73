"""What it takes to lift the cloth: torque at the tube and at the motor, over the whole travel.

Source for the whole module: the bar and the hanging cloth pull with their weight at the edge of the
roll, radius D/2 + n*t, which is the derivative of their potential energy over the tube's angle.
Standard gravity is 9.80665 m/s^2. What the motor has to give is not known here.
"""

import math
from dataclasses import dataclass
from fractions import Fraction

from bridge.core.errors import RequestError
from bridge.core.shade.bounds import checked
from bridge.core.shade.roll import Roll

# Standard acceleration of free fall: CGPM 1901, resolution 2.
GRAVITY_MPS2 = 9.80665


@dataclass(frozen=True, slots=True, kw_only=True)
class Peak:
    """Where the tube needs most torque to hold the cloth, friction left out."""

    tube_torque_nm: float
    at_lowered_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Lifting:
    """The weight on one roll and the gear that carries it.

    Args:
        roll: Tube, cloth and limits.
        width_mm: Width of the cloth, > 0.
        cloth_kgpm2: Mass of the cloth per area, >= 0.
        hem_bar_kg: Mass of the hem bar, >= 0; not both masses 0.
        gear: Motor turns for one tube turn, > 0.
        gear_efficiency: Share of the motor's torque that reaches the tube, 0 < it <= 1.
        friction_nm: Torque of bearings and rails at the tube, >= 0; works against every motion.

    Raises:
        RequestError: an argument out of its range.
    """

    roll: Roll
    width_mm: float
    cloth_kgpm2: float
    hem_bar_kg: float
    gear: Fraction = Fraction(1)
    gear_efficiency: float = 1.0
    friction_nm: float = 0.0

    def __post_init__(self) -> None:
        """Refuse impossible weights and gears."""
        checked("width_mm", self.width_mm, above=0, unit="mm")
        checked("cloth_kgpm2", self.cloth_kgpm2, least=0, unit="kg/m^2")
        checked("hem_bar_kg", self.hem_bar_kg, least=0, unit="kg")
        checked("hem_bar_kg + cloth_kgpm2", self.hem_bar_kg + self.cloth_kgpm2, above=0)
        checked("gear", float(self.gear), above=0)
        checked("gear_efficiency", self.gear_efficiency, above=0)
        if self.gear_efficiency > 1:
            raise RequestError(
                where="gear_efficiency",
                problem=f"{self.gear_efficiency:g} is more than 1: a gear gives no energy",
                remedy="give a share such as 0.9",
            )
        checked("friction_nm", self.friction_nm, least=0, unit="N m")

    @property
    def cloth_kgpm(self) -> float:
        """Mass of the cloth per metre of drop."""
        return self.cloth_kgpm2 * self.width_mm / 1000

    def radius_mm(self, lowered_mm: float) -> float:
        """Return the radius at which the cloth hangs, in mm; raises past the end of the cloth."""
        return self.roll.diameter_at_turns(self.roll.turns_at_drop(lowered_mm)) / 2

    def hanging_kg(self, lowered_mm: float) -> float:
        """Return the mass that hangs `lowered_mm` below the upper limit, hem bar included."""
        return self.hem_bar_kg + self.cloth_kgpm * max(lowered_mm, 0) / 1000

    def tube_torque_nm(self, lowered_mm: float) -> float:
        """Return the torque at the tube that just balances the weight; friction left out."""
        return self.hanging_kg(lowered_mm) * GRAVITY_MPS2 * self.radius_mm(lowered_mm) / 1000

    def tube_torque_lifting_nm(self, lowered_mm: float) -> float:
        """Return the torque at the tube while it lifts: balance and friction."""
        return self.tube_torque_nm(lowered_mm) + self.friction_nm

    def motor_torque_nm(self, lowered_mm: float) -> float:
        """Return the torque asked of the motor while it lifts, through the gear and its losses."""
        return self._at_motor(self.tube_torque_lifting_nm(lowered_mm))

    def back_driving_torque_nm(self, lowered_mm: float) -> float:
        """Return the torque with which the cloth turns an unpowered motor, at worst.

        Friction and gear losses would help to hold; they are left out because they wear off.
        """
        return self.tube_torque_nm(lowered_mm) / float(self.gear)

    def peak(self, *, deepest_mm: float | None = None) -> Peak:
        """Return the largest balancing torque from the upper limit down, and where it is.

        Args:
            deepest_mm: How far down to look, > 0: to the lower limit, unless something else is asked for.

        Raises:
            RequestError: `deepest_mm` is past the end of the cloth.

        Source:
            With x = pi*(R^2 - r^2)/t below a full radius R, (m + k*x)*r is stationary at
            r^2 = (R^2 + t*m/(pi*k))/3 and has no other maximum; outside the stretch its nearer end counts.
        """
        end_mm = self.roll.drop_mm if deepest_mm is None else deepest_mm
        candidates = [0.0, end_mm]
        if self.roll.cloth_mm > 0 and self.cloth_kgpm > 0:
            full_square = (self.roll.rolled_diameter_mm / 2) ** 2
            bar_as_cloth_mm = 1000 * self.hem_bar_kg / self.cloth_kgpm
            square = (full_square + self.roll.cloth_mm * bar_as_cloth_mm / math.pi) / 3
            stationary_mm = math.pi * (full_square - square) / self.roll.cloth_mm
            if 0 < stationary_mm < end_mm:
                candidates.append(stationary_mm)
        at_mm = max(candidates, key=self.tube_torque_nm)
        return Peak(tube_torque_nm=self.tube_torque_nm(at_mm), at_lowered_mm=at_mm)

    def peak_motor_torque_nm(self) -> float:
        """Return the largest torque asked of the motor while it lifts, anywhere between the limits."""
        return self._at_motor(self.peak().tube_torque_nm + self.friction_nm)

    def _at_motor(self, tube_nm: float) -> float:
        return tube_nm / (float(self.gear) * self.gear_efficiency)
