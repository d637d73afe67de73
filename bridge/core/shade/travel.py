"""One shade's roll and drive together: drop, percent open and steps from the upper limit.

Steps stay rational until the caller rounds them once. Nothing is clamped: positions above the upper
limit and below the lower one are real places, down to the end of the cloth. Boards are not known here.
"""

import hashlib
import math
from dataclasses import dataclass, field
from fractions import Fraction

from bridge.core.shade.drive import Drive
from bridge.core.shade.roll import Roll


@dataclass(frozen=True, slots=True, kw_only=True)
class Travel:
    """Where the hem bar hangs, in each of the units that people, boards and rules use.

    Args:
        roll: Tube, cloth and limits.
        drive: Motor, driver and gear.

    Attributes:
        lower_steps: Steps from the upper limit to the lower, rounded once.
        end_steps: Last whole step before the end of the cloth.
        deepest_steps: Last whole step of any downward motion: half a turn before the end of the
            cloth, past which it could wind up again the wrong way.
        version: Twelve hex digits that change with every number of roll or drive.
        turn_pulses: Steps of one tube turn, not exact.
        least_mm_a_turn: How far the hem bar moves in a tube turn near the lower limit, where it moves least.
        half_cycle_steps: Half an electrical cycle, rounded up.
    """

    roll: Roll
    drive: Drive
    lower_steps: int = field(init=False, repr=False, compare=False)
    end_steps: int = field(init=False, repr=False, compare=False)
    deepest_steps: int = field(init=False, repr=False, compare=False)
    version: str = field(init=False, repr=False, compare=False)
    turn_pulses: float = field(init=False, repr=False, compare=False)
    least_mm_a_turn: float = field(init=False, repr=False, compare=False)
    half_cycle_steps: int = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Derive the bounds once; they are asked for on every event."""
        end = self.drive.steps_for_turns(self.roll.wound_turns)
        half_turn = self.drive.pulses_per_turn / 2
        object.__setattr__(self, "lower_steps", round(self.drive.steps_for_turns(self.roll.total_turns)))
        object.__setattr__(self, "end_steps", math.floor(end))
        object.__setattr__(self, "deepest_steps", math.floor(end - half_turn))
        object.__setattr__(self, "version", _version(self.roll, self.drive))
        object.__setattr__(self, "turn_pulses", float(self.drive.pulses_per_turn))
        least = math.pi * (self.roll.tube_mm + 2 * self.roll.wraps_left * self.roll.cloth_mm)
        object.__setattr__(self, "least_mm_a_turn", least)
        object.__setattr__(self, "half_cycle_steps", math.ceil(self.drive.cycle_pulses / 2))

    def steps_at_drop(self, drop_mm: float) -> Fraction:
        """Return the steps from the upper limit at a drop; negative above it, not rounded.

        Raises:
            RequestError: past the end of the cloth.
        """
        return self.drive.steps_for_turns(self.roll.turns_at_drop(drop_mm))

    def drop_at_steps(self, steps: float | Fraction) -> float:
        """Return the drop in mm at a position; negative above the upper limit.

        Raises:
            RequestError: past the end of the cloth, `end_steps`.
        """
        return self.roll.drop_at_turns(float(steps) / self.turn_pulses)

    def steps_at_percent(self, open_pct: float) -> Fraction:
        """Return the steps from the upper limit at a percent open; outside 0..100 is valid.

        Raises:
            RequestError: past the end of the cloth.
        """
        return self.steps_at_drop(self.roll.drop_at_percent(open_pct))

    def percent_at_steps(self, steps: float | Fraction) -> float:
        """Return percent open at a position: 100 at the upper limit, 0 at the lower, not clamped.

        Raises:
            RequestError: past the end of the cloth, `end_steps`.
        """
        return self.roll.percent_at_drop(self.drop_at_steps(steps))

    def mm_between(self, low_steps: float | Fraction, high_steps: float | Fraction) -> float:
        """Return how far the hem bar travels from one position down to another, in mm, signed."""
        return self.drop_at_steps(high_steps) - self.drop_at_steps(low_steps)


def _version(roll: Roll, drive: Drive) -> str:
    measures = (roll.tube_mm, roll.cloth_mm, roll.drop_mm, roll.wraps_left)
    parts = [repr(float(value)) for value in measures]
    parts += [str(drive.pulses_per_rev), str(Fraction(drive.gear)), str(drive.full_steps_per_rev)]
    return hashlib.sha256(" ".join(parts).encode("ascii")).hexdigest()[:12]
