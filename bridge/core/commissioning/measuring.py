"""From drops measured at the window and turns counted by the board to the measures of the roll."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

from bridge.core.errors import RequestError
from bridge.core.shade.roll import Roll, solve_roll

# More than a person's tape and counting leave open; beyond it two measures contradict each other.
CLOTH_SHARE = 0.15
WRAPS_APART = 0.35


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What two or three marks say of a roll.

    Attributes:
        cloth_mm: One layer.
        lower_mm: Diameter of the roll at the lower limit: tube + 2 * wraps left * cloth.
    """

    cloth_mm: float
    lower_mm: float

    def tube_mm(self, wraps_left: float) -> float:
        """Return the bare tube that goes with so many wraps left."""
        return self.lower_mm - 2 * wraps_left * self.cloth_mm

    def wraps_left(self, tube_mm: float) -> float:
        """Return the wraps left that go with such a tube."""
        return (self.lower_mm - tube_mm) / (2 * self.cloth_mm)


def from_two_drops(*, turns: float, drop_mm: float, part_turns: float, part_mm: float) -> Measured:
    """Return what the drop at the lower limit and another one on the way say of the roll.

    Args:
        turns: Tube turns between the limits, > 0.
        drop_mm: Between the limits, > 0.
        part_turns: Turns from the upper limit to the place on the way, between 0 and `turns`.
        part_mm: The drop there, > 0.

    Raises:
        RequestError: the drops leave no possible cloth: one of them is wrong.

    Source:
        x(m) = pi*m*(S + (2*T - m)*t), S = D + 2*w*t, for m = T and one more m: two linear equations.
    """
    whole, part = drop_mm / (pi * turns), part_mm / (pi * part_turns)
    cloth_mm = (part - whole) / (turns - part_turns)
    if not 0.05 <= cloth_mm <= 5:
        raise RequestError(
            where="drop",
            problem=f"{part_mm:g} mm after {part_turns:.2f} turns and {drop_mm:g} mm after {turns:.2f} turns "
            f"would need cloth of {cloth_mm:.3f} mm",
            remedy="measure both again, each from the upper mark straight down",
        )
    return Measured(cloth_mm=cloth_mm, lower_mm=whole - turns * cloth_mm)


def from_one_drop(*, turns: float, drop_mm: float, tube_mm: float, wraps_left: float) -> Roll:
    """Return the roll whose cloth explains the drop, tube and wraps left being right; raises RequestError."""
    return solve_roll(tube_mm=tube_mm, drop_mm=drop_mm, turns=turns, wraps_left=wraps_left)


def contradictions(measured: Measured, *, tube_mm: float, cloth_mm: float, wraps_left: float) -> list[str]:
    """Return what of the settings the measured drops speak against, each with its numbers."""
    found = []
    if abs(measured.cloth_mm - cloth_mm) > CLOTH_SHARE * cloth_mm:
        found.append(
            f"the drops say that a layer of cloth is {measured.cloth_mm:.3f} mm, the settings say "
            f"{cloth_mm:g} mm"
        )
    wraps = measured.wraps_left(tube_mm)
    if abs(wraps - wraps_left) > WRAPS_APART:
        found.append(
            f"with a tube of {tube_mm:g} mm the drops say {wraps:.2f} wraps left, the settings say "
            f"{wraps_left:g}; with {wraps_left:g} wraps left they say a tube of "
            f"{measured.tube_mm(wraps_left):.1f} mm"
        )
    return found


def roll_of(measured: Measured, *, drop_mm: float, tube_mm: float | None, wraps_left: float | None) -> Roll:
    """Return the roll, of which either the tube or the wraps left are kept and the other one follows.

    Raises:
        RequestError: less than one wrap would be left on the tube, or there would be no tube.
    """
    if tube_mm is None:
        assert wraps_left is not None, "one of the two is kept"
        tube_mm = measured.tube_mm(wraps_left)
    elif wraps_left is None:
        wraps_left = measured.wraps_left(tube_mm)
    assert wraps_left is not None
    if wraps_left < 1 or tube_mm < 10:
        raise RequestError(
            where="roll",
            problem=f"that would leave {wraps_left:.2f} wraps on a tube of {tube_mm:.1f} mm",
            remedy="measure again, or count the wraps left at the lower limit; at least one must stay",
        )
    return Roll(
        tube_mm=round(tube_mm, 2),
        cloth_mm=round(measured.cloth_mm, 4),
        drop_mm=drop_mm,
        wraps_left=round(wraps_left, 2),
    )
