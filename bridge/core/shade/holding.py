"""Where an unpowered motor and its gear hold the cloth, and so where the motor may sleep.

The weight's torque over the turns is a hump (its second derivative is -6*pi*k*r*t < 0 per turn squared,
k the cloth's mass per length), so it is held at the top, at the bottom, everywhere or nowhere, with
at most one gap. Worst case: neither friction nor gear losses help.
"""

from bridge.core.shade.bounds import checked
from bridge.core.shade.lifting import Lifting
from bridge.core.shade.motor import USUAL_MARGIN

_SHORT_PCT = 1.0


def holding_drops(
    lifting: Lifting,
    *,
    detent_torque_nm: float,
    margin: float = USUAL_MARGIN,
    deepest_mm: float | None = None,
) -> list[tuple[float, float]]:
    """Return the stretches of drop in mm, from the top down, where the unpowered motor holds.

    Args:
        lifting: The weight, the roll and the gear.
        detent_torque_nm: The motor's torque without current, >= 0.
        margin: How many times the weight's torque it must be, >= 1.
        deepest_mm: Where the last stretch may end, > 0: the lower limit, unless given (the end of the
            cloth is `Roll.end_drop_mm`).

    Raises:
        RequestError: an argument out of its range, or `deepest_mm` past the end of the cloth.
    """
    checked("detent_torque_nm", detent_torque_nm, least=0, unit="N m")
    checked("margin", margin, least=1)
    end_mm = checked(
        "deepest_mm", lifting.roll.drop_mm if deepest_mm is None else deepest_mm, above=0, unit="mm"
    )

    limit_nm = detent_torque_nm / margin
    hump_mm = lifting.peak(deepest_mm=end_mm).at_lowered_mm
    if lifting.back_driving_torque_nm(hump_mm) <= limit_nm:
        return [(0.0, end_mm)]
    stretches = []
    if lifting.back_driving_torque_nm(0) <= limit_nm:
        stretches.append((0.0, _edge_mm(lifting, held_mm=0, falls_mm=hump_mm, limit_nm=limit_nm)))
    if lifting.back_driving_torque_nm(end_mm) <= limit_nm:
        stretches.append((_edge_mm(lifting, held_mm=end_mm, falls_mm=hump_mm, limit_nm=limit_nm), end_mm))
    return stretches


def holding_percents(
    lifting: Lifting, *, detent_torque_nm: float, margin: float = USUAL_MARGIN
) -> list[tuple[float, float]]:
    """Return the stretches of percent open, each from the lower to the higher, rising, where it holds.

    Takes and raises as `holding_drops`, between the limits.
    """
    drops = holding_drops(lifting, detent_torque_nm=detent_torque_nm, margin=margin)
    percent = lifting.roll.percent_at_drop
    return [(percent(low_mm), percent(high_mm)) for high_mm, low_mm in reversed(drops)]


def held_percents(lifting: Lifting, *, detent_torque_nm: float) -> list[tuple[float, float]]:
    """Return the stretches of percent open where the motor may sleep, rising, with the usual margin.

    A stretch that reaches a limit is taken to go on beyond it, so it reaches the lower one only where the
    motor holds, margin or not, down to the end of the cloth; else it ends `_SHORT_PCT` above it.
    """
    found = holding_percents(lifting, detent_torque_nm=detent_torque_nm)
    if not found or found[0][0] > 0:
        return found
    end_mm = lifting.roll.end_drop_mm
    deepest = max(lifting.peak(deepest_mm=end_mm).at_lowered_mm, lifting.roll.drop_mm)
    if lifting.back_driving_torque_nm(deepest) <= detent_torque_nm:
        return found
    (_, high), rest = found[0], found[1:]
    return [(_SHORT_PCT, high), *rest] if high > _SHORT_PCT else rest


def _edge_mm(lifting: Lifting, *, held_mm: float, falls_mm: float, limit_nm: float) -> float:
    """Return the last drop, coming from `held_mm`, that is still held; the torque rises all the way."""
    for _ in range(60):
        middle_mm = (held_mm + falls_mm) / 2
        if lifting.back_driving_torque_nm(middle_mm) <= limit_nm:
            held_mm = middle_mm
        else:
            falls_mm = middle_mm
    return held_mm
