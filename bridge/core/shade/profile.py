"""The speed of one move over time: a trapezoid, or a triangle when it is too short to reach the top.

Source for the whole module: kinematics of constant acceleration, S = (v^2 - v0^2)/(2*a); the same
equations as Eiderman, Real time stepper motor linear ramping, 1 to 6. Distances have no sign here;
the direction is the caller's.
"""

import math
from dataclasses import dataclass

from bridge.core.replacing import quick
from bridge.core.shade.bounds import checked


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """How one move runs.

    Attributes:
        steps: Length of the move, >= 0.
        start_pps: Speed at which it starts and ends, in steps/s.
        ramp_pps2: Acceleration and deceleration, in steps/s^2.
        duration_s: Time from the first step to standstill.
        peak_pps: Highest speed reached.
        ramp_steps: Steps of one ramp; the other is as long.
        ramp_s: Time of one ramp.
        shape: `trapezoid` or `triangle`.
    """

    steps: float
    start_pps: float
    ramp_pps2: float
    duration_s: float
    peak_pps: float
    ramp_steps: float
    ramp_s: float
    shape: str

    def steps_after(self, elapsed_s: float) -> float:
        """Return the steps made after `elapsed_s`: 0 before the start, `steps` after the end."""
        if elapsed_s <= 0:
            return 0.0
        left_s = self.duration_s - elapsed_s
        if left_s <= 0:
            return float(self.steps)
        if elapsed_s < self.ramp_s:
            return self._ramped(elapsed_s)
        if left_s < self.ramp_s:
            return self.steps - self._ramped(left_s)
        return self.ramp_steps + self.peak_pps * (elapsed_s - self.ramp_s)

    def _ramped(self, time_s: float) -> float:
        return self.start_pps * time_s + self.ramp_pps2 * time_s * time_s / 2


def move_profile(*, steps: float, top_pps: float, ramp_pps2: float, start_pps: float = 0) -> Profile:
    """Return how a move of `steps` runs under a top speed and a ramp.

    Args:
        steps: Length of the move, >= 0, no sign.
        top_pps: Highest speed allowed, in steps/s, > 0.
        ramp_pps2: Acceleration and deceleration, in steps/s^2, > 0.
        start_pps: Speed without a ramp at either end, 0 <= start_pps <= top_pps.

    Raises:
        RequestError: an argument out of its range.
    """
    checked("steps", steps, least=0)
    checked("top_pps", top_pps, above=0, unit="steps/s")
    checked("ramp_pps2", ramp_pps2, above=0, unit="steps/s^2")
    checked("start_pps", start_pps, least=0, unit="steps/s")
    checked("top_pps", top_pps, least=start_pps, unit="steps/s")
    to_top = (top_pps**2 - start_pps**2) / (2 * ramp_pps2)
    reaches_top = steps >= 2 * to_top
    peak_pps = top_pps if reaches_top else math.sqrt(start_pps**2 + ramp_pps2 * steps)
    ramp_steps = to_top if reaches_top else steps / 2
    ramp_s = (peak_pps - start_pps) / ramp_pps2
    cruise_s = (steps - 2 * ramp_steps) / peak_pps if reaches_top else 0.0
    return Profile(
        steps=steps,
        start_pps=start_pps,
        ramp_pps2=ramp_pps2,
        duration_s=2 * ramp_s + cruise_s,
        peak_pps=peak_pps,
        ramp_steps=ramp_steps,
        ramp_s=ramp_s,
        shape="trapezoid" if reaches_top else "triangle",
    )
