"""Cloth on a tube: turns, lengths and the drop of the hem bar.

Source for the whole module: lengths are taken along the middle of each layer, so n whole layers of
thickness t on a tube of diameter D hold the sum of pi*(D + (2k-1)*t), k = 1..n, which is
L(n) = pi*n*(D + n*t); the same by area balance. It agrees with the exact spiral within 0.1 mm.
The drop is measured from the upper limit and grows downward. Steps are not known here.
"""

import math
from dataclasses import dataclass, field

from bridge.core.errors import RequestError
from bridge.core.shade.bounds import checked

# Measured values of one roll that differ by more than this are taken to contradict each other.
AGREEMENT = 0.005
# Round trips through square roots end this near the end of the cloth, relative to it.
_ROUNDING = 1 + 1e-12


def length_of_turns(turns: float, *, tube_mm: float, cloth_mm: float) -> float:
    """Return the cloth length in mm that `turns` turns (>= 0) hold on a tube.

    Raises:
        RequestError: a negative or non-finite argument, or a tube of 0.

    Source:
        L(n) = pi*n*(D + n*t), the sum of the mid-layer circles.
    """
    _check_tube_and_cloth(tube_mm, cloth_mm)
    checked("turns", turns, least=0)
    return math.pi * turns * (tube_mm + turns * cloth_mm)


def turns_for_length(length_mm: float, *, tube_mm: float, cloth_mm: float) -> float:
    """Return the turns that wind `length_mm` (>= 0) of cloth onto a tube; not rounded.

    Raises:
        RequestError: a negative or non-finite argument, or a tube of 0.

    Source:
        n = (-D + sqrt(D^2 + 4*t*L/pi))/(2*t), written so that t = 0 needs no case of its own.
    """
    _check_tube_and_cloth(tube_mm, cloth_mm)
    checked("length_mm", length_mm, least=0, unit="mm")
    return _turns_from(length_mm, tube_mm, cloth_mm)


def wound_diameter_mm(turns: float, *, tube_mm: float, cloth_mm: float) -> float:
    """Return the outer diameter in mm with `turns` turns (>= 0) of cloth on the tube."""
    _check_tube_and_cloth(tube_mm, cloth_mm)
    return tube_mm + 2 * checked("turns", turns, least=0) * cloth_mm


def _check_tube_and_cloth(tube_mm: float, cloth_mm: float) -> None:
    checked("tube_mm", tube_mm, above=0, unit="mm")
    checked("cloth_mm", cloth_mm, least=0, unit="mm")


def _turns_from(length_mm: float, bare_mm: float, cloth_mm: float) -> float:
    area = length_mm / math.pi
    return 2 * area / (bare_mm + math.sqrt(bare_mm * bare_mm + 4 * cloth_mm * area))


@dataclass(frozen=True, slots=True, kw_only=True)
class Roll:
    """A tube with its cloth, and the drop between the limits.

    Args:
        tube_mm: Outer diameter of the bare tube, > 0.
        cloth_mm: Thickness of one layer, >= 0; 0 ignores build-up.
        drop_mm: Cloth paid out from the upper to the lower limit, > 0.
        wraps_left: Turns of cloth still on the tube at the lower limit, >= 0.

    Attributes:
        total_turns: Turns between the limits; wraps left are not counted.
        wound_turns: Turns on the tube at the upper limit: `total_turns + wraps_left`.
        end_drop_mm: Drop at which the last of the cloth has left the tube.

    Raises:
        RequestError: an argument out of its range.
    """

    tube_mm: float
    cloth_mm: float
    drop_mm: float
    wraps_left: float
    total_turns: float = field(init=False, repr=False, compare=False)
    wound_turns: float = field(init=False, repr=False, compare=False)
    end_drop_mm: float = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Refuse impossible measures and derive the turns once."""
        _check_tube_and_cloth(self.tube_mm, self.cloth_mm)
        checked("drop_mm", self.drop_mm, above=0, unit="mm")
        checked("wraps_left", self.wraps_left, least=0)
        at_lower_mm = self.tube_mm + 2 * self.wraps_left * self.cloth_mm
        total = checked("total_turns", _turns_from(self.drop_mm, at_lower_mm, self.cloth_mm), above=0)
        wound = total + self.wraps_left
        object.__setattr__(self, "total_turns", total)
        object.__setattr__(self, "wound_turns", wound)
        object.__setattr__(self, "end_drop_mm", math.pi * wound * (self.tube_mm + wound * self.cloth_mm))

    @property
    def rolled_diameter_mm(self) -> float:
        """Outer diameter at the upper limit."""
        return self.tube_mm + 2 * self.wound_turns * self.cloth_mm

    def drop_at_turns(self, turns: float) -> float:
        """Return the drop in mm after `turns` downward turns from the upper limit.

        Args:
            turns: 0 at the upper limit, grows downward; negative winds the bar above it.

        Raises:
            RequestError: past the end of the cloth, `wound_turns`.

        Source:
            x(m) = L(n0) - L(n0 - m) = pi*m*(D + (2*n0 - m)*t), n0 the turns wound at the upper limit.
        """
        if not turns <= self.wound_turns * _ROUNDING:
            raise self._past_the_end(f"{turns:g} turns", f"{self.wound_turns:g} turns")
        return math.pi * turns * (self.tube_mm + (2 * self.wound_turns - turns) * self.cloth_mm)

    def turns_at_drop(self, drop_mm: float) -> float:
        """Return the downward turns from the upper limit at which the bar hangs `drop_mm` below it.

        Args:
            drop_mm: 0 at the upper limit, grows downward, negative above it.

        Raises:
            RequestError: past the end of the cloth, `end_drop_mm`.

        Source:
            The smaller root of t*m^2 - (D + 2*n0*t)*m + x/pi = 0, in the form that t = 0 leaves exact.
        """
        if not drop_mm <= self.end_drop_mm * _ROUNDING:
            raise self._past_the_end(f"{drop_mm:g} mm", f"{self.end_drop_mm:g} mm")
        area = drop_mm / math.pi
        rolled = self.rolled_diameter_mm
        # Rounding may carry the last of the cloth a hair below the bare tube, never a real drop.
        wound_square = max(rolled * rolled - 4 * self.cloth_mm * area, self.tube_mm * self.tube_mm)
        return 2 * area / (rolled + math.sqrt(wound_square))

    def diameter_at_turns(self, turns: float) -> float:
        """Return the outer diameter in mm after `turns` downward turns; raises as `drop_at_turns`."""
        if not turns <= self.wound_turns * _ROUNDING:
            raise self._past_the_end(f"{turns:g} turns", f"{self.wound_turns:g} turns")
        return self.tube_mm + 2 * (self.wound_turns - turns) * self.cloth_mm

    def drop_at_percent(self, open_pct: float) -> float:
        """Return the drop in mm at a percent open; 100 is the upper limit, outside 0..100 is valid."""
        return self.drop_mm * (1 - open_pct / 100)

    def percent_at_drop(self, drop_mm: float) -> float:
        """Return percent open, 100 at the upper limit and 0 at the lower; not clamped."""
        return 100 * (1 - drop_mm / self.drop_mm)

    @property
    def largest_linear_error_mm(self) -> float:
        """How much lower than wanted the bar hangs, at worst, if turns are taken as proportional to drop.

        Source:
            pi*t*m*(M - m), the difference of x(m) and x(M)*m/M, is largest at half the turns.
        """
        return math.pi * self.cloth_mm * self.total_turns * self.total_turns / 4

    def linear_error_at_turns(self, turns: float) -> float:
        """Return by how many mm the bar hangs lower than `turns/total_turns` of the drop says."""
        return math.pi * self.cloth_mm * turns * (self.total_turns - turns)

    def linear_error_at_percent(self, open_pct: float) -> float:
        """Return by how many mm the bar hangs lower than asked if the turns are that share of all turns."""
        return self.linear_error_at_turns(self.total_turns * (1 - open_pct / 100))

    def _past_the_end(self, asked: str, end: str) -> RequestError:
        return RequestError(
            where="roll",
            problem=f"{asked} below the upper limit is past the end of the cloth at {end}",
            remedy="stay above the end of the cloth, or check tube, cloth, drop and wraps left",
        )


def solve_roll(
    *,
    tube_mm: float | None = None,
    cloth_mm: float | None = None,
    drop_mm: float | None = None,
    turns: float | None = None,
    wraps_left: float | None = None,
) -> Roll:
    """Return the roll that the given measures describe; at most one of the five may be missing.

    Args:
        tube_mm: As in `Roll`.
        cloth_mm: As in `Roll`.
        drop_mm: As in `Roll`.
        turns: Turns counted between the limits, > 0.
        wraps_left: As in `Roll`.

    Raises:
        RequestError: more than one is missing; the measures contradict each other (by more than
            0.5 % of the turns); or they leave no possible value for the missing one.

    Source:
        drop = pi*M*(D + (2*w + M)*t), solved for each of its letters.
    """
    given = {
        "tube_mm": tube_mm,
        "cloth_mm": cloth_mm,
        "drop_mm": drop_mm,
        "turns": turns,
        "wraps_left": wraps_left,
    }
    missing = [name for name, value in given.items() if value is None]
    if len(missing) > 1:
        raise RequestError(
            where="roll",
            problem=f"{' and '.join(missing)} are missing and only one of them can be computed",
            remedy="measure all but one of tube, cloth, drop, turns and wraps left",
        )
    known = {name: value for name, value in given.items() if value is not None}
    for name, value in known.items():
        checked(name, value, above=-math.inf if name in {"cloth_mm", "wraps_left"} else 0, least=0)
    if missing:
        known[missing[0]] = _solved(missing[0], known)
    roll = Roll(
        tube_mm=known["tube_mm"],
        cloth_mm=known["cloth_mm"],
        drop_mm=known["drop_mm"],
        wraps_left=known["wraps_left"],
    )
    if abs(known["turns"] - roll.total_turns) > AGREEMENT * roll.total_turns:
        raise _contradiction(roll, known["turns"])
    return roll


def _solved(name: str, known: dict[str, float]) -> float:
    """Return the one missing measure; the division by the cloth is where wraps left need build-up."""
    if name == "turns":
        return _turns_from(
            known["drop_mm"],
            known["tube_mm"] + 2 * known["wraps_left"] * known["cloth_mm"],
            known["cloth_mm"],
        )
    turns = known["turns"]
    if name == "drop_mm":
        layers = (2 * known["wraps_left"] + turns) * known["cloth_mm"]
        return math.pi * turns * (known["tube_mm"] + layers)
    mean_diameter = known["drop_mm"] / (math.pi * turns)
    if name == "tube_mm":
        value = mean_diameter - (2 * known["wraps_left"] + turns) * known["cloth_mm"]
        return _possible(name, value, value > 0, known)
    if name == "cloth_mm":
        value = (mean_diameter - known["tube_mm"]) / (2 * known["wraps_left"] + turns)
        return _possible(name, value, value >= 0, known)
    if known["cloth_mm"] == 0:
        raise RequestError(
            where="wraps_left",
            problem="with a cloth of 0 mm the wraps left do not show in the drop",
            remedy="give the thickness of the cloth or count the wraps",
        )
    value = ((mean_diameter - known["tube_mm"]) / known["cloth_mm"] - turns) / 2
    return _possible(name, value, value >= 0, known)


def _possible(name: str, value: float, possible: bool, known: dict[str, float]) -> float:
    if possible:
        return value
    # A true 0 comes out of the division as a hair below it.
    if name != "tube_mm" and value > -1e-9:
        return 0.0
    measures = ", ".join(f"{key} {number:g}" for key, number in known.items())
    raise RequestError(
        where=name,
        problem=f"{measures} would need {name} {value:.4g}",
        remedy="measure them again; at least one of them is wrong",
    )


def _contradiction(roll: Roll, turns: float) -> RequestError:
    layers = (2 * roll.wraps_left + turns) * roll.cloth_mm
    drop_mm = math.pi * turns * (roll.tube_mm + layers)
    return RequestError(
        where="roll",
        problem=f"tube {roll.tube_mm:g} mm, cloth {roll.cloth_mm:g} mm and {roll.wraps_left:g} wraps left "
        f"give {drop_mm:.1f} mm of drop for {turns:g} turns, not {roll.drop_mm:g} mm "
        f"(which takes {roll.total_turns:.3f} turns)",
        remedy="measure them again, or leave out the one that is least sure",
    )
