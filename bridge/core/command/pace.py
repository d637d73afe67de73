"""How fast each shade of a level group runs: a front at an even speed, and each roll's own way to follow it.

Drops are in mm below the upper limit, which all members of a group have at one height.
"""

from __future__ import annotations

from math import pi

from bridge.core.shade.profile import Profile, move_profile
from bridge.core.spec import ShadeSpec
from bridge.core.state import Pace, Shade

# Once a second leaves a bar at most half a millimetre off an even speed, its roll growing meanwhile.
LOOK_EVERY_S = 1.0
# How much faster or slower than the front a bar may run to draw level with it.
CATCH_UP = 0.1
# The share of what a bar is off that it mends by the next look: how late a report is, nobody knows.
MENDED = 0.4


def reached(pace: Pace, now_s: float) -> tuple[float, float]:
    """Return the drop at which the front is, in mm, and its speed in mm/s without a sign."""
    profile, after_s = _profile(pace), now_s - pace.began_s
    sign = 1 if pace.to_mm >= pace.from_mm else -1
    left_s = profile.duration_s - after_s
    speed = min(profile.peak_pps, pace.mmps2 * max(after_s, 0.0), pace.mmps2 * max(left_s, 0.0))
    return pace.from_mm + sign * profile.steps_after(after_s), speed


def brakes_mm(pace: Pace) -> float:
    """Return the way in which the front comes to rest from its even speed."""
    return pace.mmps * pace.mmps / (2 * pace.mmps2)


def _profile(pace: Pace) -> Profile:
    return move_profile(steps=abs(pace.to_mm - pace.from_mm), top_pps=pace.mmps, ramp_pps2=pace.mmps2)


def when_s(pace: Pace, ahead_mm: float) -> float:
    """Return how long after its start the front has come `ahead_mm` far; 0 for less than none."""
    profile = _profile(pace)
    low_s, high_s = 0.0, profile.duration_s
    for _ in range(40):
        middle_s = (low_s + high_s) / 2
        low_s, high_s = (middle_s, high_s) if profile.steps_after(middle_s) < ahead_mm else (low_s, middle_s)
    return low_s


def mm_a_step(spec: ShadeSpec, drop_mm: float) -> float:
    """Return how far one step moves the hem bar of a shade at a drop, in mm."""
    roll = spec.travel.roll
    diameter_mm = roll.diameter_at_turns(roll.turns_at_drop(drop_mm))
    return pi * diameter_mm / float(spec.travel.drive.pulses_per_turn)


def goal_mm(shade: Shade) -> float:
    """Return the drop to which a shade with a request has been asked."""
    assert shade.request is not None
    assert shade.request.goal is not None
    return shade.spec.travel.drop_at_steps(shade.request.goal)


def is_moving(shade: Shade) -> bool:
    """Say whether the board's last word was that it moves."""
    report = shade.channel.report
    return report is not None and report.moving


def place_mm(shade: Shade, now_s: float) -> float:
    """Return where the hem bar most likely is, by the last word of its board and its speed since."""
    spec, channel, known, pending = shade.spec, shade.channel, shade.knowledge, shade.outstanding
    report = channel.report
    if report is None or report.count is None or known.base is None:
        return spec.travel.drop_at_steps(known.hull.middle)
    count = float(report.count)
    if report.moving and pending is not None and pending.order.to is not None:
        way = (pending.order.pps or 0) * max(0.0, now_s - channel.heard_at_s)
        ahead = pending.order.to - count
        count += min(max(ahead, -way), way)
    ends = spec.ends
    return spec.travel.drop_at_steps(min(max(count + known.base.middle, ends.low), ends.high))


def speed(shade: Shade, pace: Pace, now_s: float) -> tuple[int, int]:
    """Return steps a second and their ramp that keep a shade with its front until the next look."""
    spec = shade.spec
    to_mm, at_mm = goal_mm(shade), reached(pace, now_s)[0]
    ahead_mm = reached(pace, now_s + LOOK_EVERY_S)[0]
    braking = abs(to_mm - ahead_mm) <= brakes_mm(pace) + pace.mmps * LOOK_EVERY_S / 4
    step_mm = mm_a_step(spec, _on_the_way(spec, (at_mm + ahead_mm) / 2))
    even = pace.mmps / step_mm
    if _is_even(shade, pace, now_s):
        sign = 1 if pace.to_mm >= pace.from_mm else -1
        behind_mm = sign * (at_mm - place_mm(shade, now_s))
        even += max(-CATCH_UP * even, min(MENDED * behind_mm / LOOK_EVERY_S / step_mm, CATCH_UP * even))
    ramp = pace.mmps2 / (mm_a_step(spec, _on_the_way(spec, to_mm)) if braking else step_mm)
    pps = max(1, min(round(even), spec.top_pps))
    return pps, max(1, min(max(round(ramp), pace.least_ramp), spec.ramp_pps2))


def _on_the_way(spec: ShadeSpec, drop_mm: float) -> float:
    return min(max(drop_mm, 0.0), spec.travel.roll.drop_mm)


def _is_even(shade: Shade, pace: Pace, now_s: float) -> bool:
    """Say whether shade and front have done speeding up, so that the one can be held against the other."""
    sped_up_s = max(pace.begins_s, pace.began_s) + pace.mmps / pace.mmps2
    return is_moving(shade) and shade.channel.heard_at_s >= sped_up_s and now_s >= sped_up_s
