"""What a board's step generator does: ramps of constant acceleration, in closed form.

A leg runs one way only. Distances are steps from where the leg began, not rounded; a leg ends on a whole
step. Turning round is two legs.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import floor, sqrt

# Absorbs the rounding of the closed form, so that a step due at this very instant is out; far below a step.
EPSILON = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Ramp:
    """One stretch of constant acceleration: seconds, speed at its start, steps a second squared."""

    seconds: float
    speed: float
    accel: float

    def done(self, after_s: float) -> float:
        return self.speed * after_s + self.accel * after_s * after_s / 2

    @property
    def length(self) -> float:
        return self.done(self.seconds)

    def when(self, steps: float) -> float:
        """Seconds until `steps` are done, for a stretch that does reach them."""
        speed_squared = max(0.0, self.speed * self.speed + 2 * self.accel * steps)
        mean = (self.speed + sqrt(speed_squared)) / 2
        return min(self.seconds, steps / mean) if mean > 0 else self.seconds


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """Steps in one direction.

    Attributes:
        start_s: When it began.
        origin: The count there; not whole when it began in mid-step.
        sign: 1 lowers, -1 raises.
        end: The whole count at which it ends.
        ramps: Its stretches in order.
        end_s: When it ends.
    """

    start_s: float
    origin: float
    sign: int
    end: int
    ramps: tuple[Ramp, ...]
    end_s: float = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "end_s", self.start_s + sum(ramp.seconds for ramp in self.ramps))

    def place(self, now_s: float) -> float:
        """The count at `now_s`, not rounded."""
        if now_s >= self.end_s:
            return float(self.end)
        left, done = max(0.0, now_s - self.start_s), 0.0
        for ramp in self.ramps:
            done += ramp.done(min(left, ramp.seconds))
            left -= ramp.seconds
            if left <= 0:
                break
        return self.origin + self.sign * done

    def count(self, now_s: float) -> int:
        """The last whole step that is out at `now_s`; a step begun is not out."""
        if now_s >= self.end_s:
            return self.end
        return self.sign * floor(self.sign * self.place(now_s) + EPSILON)

    def speed(self, now_s: float) -> float:
        left = max(0.0, now_s - self.start_s)
        for ramp in self.ramps:
            if left < ramp.seconds:
                return ramp.speed + ramp.accel * left
            left -= ramp.seconds
        return 0.0

    def time_of(self, count: int) -> float:
        """When the step to `count` is out, for a count on this leg."""
        left, at_s = self.sign * (count - self.origin), self.start_s
        for ramp in self.ramps:
            if left <= ramp.length:
                return at_s + ramp.when(max(0.0, left))
            left -= ramp.length
            at_s += ramp.seconds
        return self.end_s


def run(*, now_s: float, origin: float, end: int, speed: float = 0.0, top: float, ramp: float) -> Leg:
    """A leg to `end` that is already running towards it at `speed` and can stop in time."""
    distance = abs(end - origin)
    sign = 1 if end > origin else -1
    assert reachable(distance=distance, speed=speed, ramp=ramp), (distance, speed, ramp)
    # A speed that a newer order lowers is left on the ramp.
    peak = max(min(sqrt(ramp * distance + speed * speed / 2), top), min(speed, top))
    to_peak = abs(peak - speed) / ramp
    first = Ramp(seconds=to_peak, speed=speed, accel=ramp if peak >= speed else -ramp)
    last = Ramp(seconds=peak / ramp, speed=peak, accel=-ramp)
    even = max(0.0, distance - first.length - last.length)
    middle = Ramp(seconds=even / peak if peak > 0 else 0.0, speed=peak, accel=0.0)
    return Leg(start_s=now_s, origin=origin, sign=sign, end=end, ramps=(first, middle, last))


def reachable(*, distance: float, speed: float, ramp: float) -> bool:
    """Whether a run at `speed` can stop within `distance` on its ramp."""
    return speed * speed / (2 * ramp) <= distance + EPSILON


def brake(*, now_s: float, origin: float, sign: int, speed: float, ramp: float) -> Leg:
    """The leg that stops on the last whole step within the ramp: as hard as it, or a trifle harder."""
    end = sign * floor(sign * origin + speed * speed / (2 * ramp) + EPSILON)
    distance = sign * (end - origin)
    if distance <= EPSILON or speed <= 0:
        last_out = sign * floor(sign * origin + EPSILON)
        return Leg(start_s=now_s, origin=origin, sign=sign, end=last_out, ramps=())
    harder = speed * speed / (2 * distance)
    stop = Ramp(seconds=speed / harder, speed=speed, accel=-harder)
    return Leg(start_s=now_s, origin=origin, sign=sign, end=end, ramps=(stop,))
