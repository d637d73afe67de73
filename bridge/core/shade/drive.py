"""From tube turns to steps: a motor, its driver's pulses and an exact gear ratio.

Ratios stay fractions: a gear sold as 5:1 may be 57/11, and 13 turns at 800 pulses then differ by
1891 steps. Nothing is rounded here. The roll is not known here.
"""

import re
from dataclasses import dataclass, field
from fractions import Fraction

from bridge.core.errors import RequestError

_GEAR = re.compile(r"[0-9]{1,9}(?:/[0-9]{1,9}|\.[0-9]{1,20})?")


def parse_gear(text: str) -> Fraction:
    """Return the ratio motor turns : tube turns from `57/11`, `5` or `5.25`, exactly.

    Raises:
        RequestError: anything else, or a ratio of 0.
    """
    if _GEAR.fullmatch(text):
        numerator, _, denominator = text.partition("/")
        if denominator.strip("0") or "/" not in text:
            ratio = Fraction(numerator) / Fraction(denominator or 1)
            if ratio > 0:
                return ratio
    raise RequestError(
        where="gear",
        problem=f"{text[:40]!r} is not a ratio of motor turns to tube turns",
        remedy="give a fraction of whole numbers such as 57/11, or 1 without a gear",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """A stepper motor, its driver's resolution and the gear to the tube.

    Args:
        pulses_per_rev: Driver pulses for one turn of the motor shaft, > 0, micro-stepping included.
        gear: Motor turns for one tube turn, > 0, exact.
        full_steps_per_rev: Full steps of the motor for one turn of its shaft, > 0.

    Attributes:
        pulses_per_turn: Steps for one turn of the tube.
        full_step_pulses: Steps for one full step, >= 1.
        cycle_pulses: Steps for one electrical cycle: 4 full steps.

    Raises:
        RequestError: an argument out of its range.
    """

    pulses_per_rev: int
    gear: Fraction
    full_steps_per_rev: int = 200
    pulses_per_turn: Fraction = field(init=False, repr=False, compare=False)
    full_step_pulses: Fraction = field(init=False, repr=False, compare=False)
    cycle_pulses: Fraction = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Refuse impossible numbers and derive the fractions once."""
        for where, value in (
            ("pulses_per_rev", self.pulses_per_rev),
            ("full_steps_per_rev", self.full_steps_per_rev),
        ):
            if value < 1:
                raise RequestError(
                    where=where,
                    problem=f"{value} is not greater than 0",
                    remedy="give a whole number such as 200",
                )
        if self.pulses_per_rev < self.full_steps_per_rev:
            raise RequestError(
                where="pulses_per_rev",
                problem=f"{self.pulses_per_rev} pulses are less than the motor's {self.full_steps_per_rev} "
                "full steps in a turn",
                remedy="give full steps times the micro-steps in each, such as 200 * 4 = 800",
            )
        if self.gear <= 0:
            raise RequestError(
                where="gear",
                problem=f"{self.gear} is not greater than 0",
                remedy="give a ratio such as 57/11",
            )
        full_step = Fraction(self.pulses_per_rev, self.full_steps_per_rev)
        object.__setattr__(self, "pulses_per_turn", self.pulses_per_rev * Fraction(self.gear))
        object.__setattr__(self, "full_step_pulses", full_step)
        object.__setattr__(self, "cycle_pulses", 4 * full_step)

    @property
    def step_angle_deg(self) -> Fraction:
        """Angle of the tube for one full step of the motor, in degrees."""
        return 360 / (self.full_steps_per_rev * self.gear)

    @property
    def full_steps_per_turn(self) -> Fraction:
        """Full steps of the motor for one turn of the tube."""
        return self.full_steps_per_rev * self.gear

    def steps_for_turns(self, turns: Fraction | float) -> Fraction:
        """Return the steps for that many tube turns, signed and not rounded."""
        return Fraction(turns) * self.pulses_per_turn

    def turns_for_steps(self, steps: Fraction | float) -> Fraction:
        """Return the tube turns for that many steps, signed and exact."""
        return Fraction(steps) / self.pulses_per_turn
