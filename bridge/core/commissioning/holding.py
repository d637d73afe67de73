"""Where the unpowered motor is said to hold, and what trying it at several heights makes of that."""

from __future__ import annotations

from bridge.core.commissioning.state import Facts, Ranges
from bridge.core.shade.holding import held_percents
from bridge.core.shade.lifting import Lifting

# Of the mm that a hem bar may sink asleep, what counts as holding.
HELD_MM = 1.0
# A height tried so near to a limit speaks for the rest of the way to it.
NEAR_LIMIT_PCT = 12.0


def computed(facts: Facts) -> Ranges | None:
    """Return where the unpowered motor holds by weight and data sheet; None when they are not told."""
    weight = facts.weight
    if weight is None:
        return None
    lifting = Lifting(
        roll=facts.roll,
        width_mm=weight.width_mm,
        cloth_kgpm2=weight.cloth_kgpm2,
        hem_bar_kg=weight.hem_bar_kg,
        gear=facts.gear,
        gear_efficiency=1.0,
        friction_nm=0.0,
    )
    return tuple(held_percents(lifting, detent_torque_nm=weight.detent_nm))


def expected(facts: Facts) -> Ranges:
    """Return the computed map, or what the settings say where none can be computed."""
    found = computed(facts)
    return facts.holds if found is None else found


def holds_at(facts: Facts, open_pct: float) -> bool:
    """Say whether the motor is said to hold at a height."""
    return any(low <= open_pct <= high for low, high in expected(facts))


def map_in_words(facts: Facts) -> str:
    """Return the map and where it comes from, for people."""
    whose = (
        "The settings say that it holds" if computed(facts) is None else "Computed, with a margin, it holds"
    )
    ranges = expected(facts)
    if not ranges:
        return f"{whose} nowhere."
    return f"{whose} at {' and '.join(f'{low:.0f} to {high:.0f} %' for low, high in ranges)} open."


def proven(facts: Facts, tried: tuple[tuple[float, float], ...]) -> Ranges:
    """Return the ranges in which the motor holds by what was tried; the map alone where nothing was.

    A stretch counts when both of the tried heights at its ends held, and only where the map agrees: between
    two heights that hold the weight's torque may still have its peak.
    """
    if not tried:
        return expected(facts)
    heights = sorted(dict(tried).items())
    spans: list[tuple[float, float]] = []
    for at, (height, sank) in enumerate(heights):
        if sank > HELD_MM:
            continue
        joined = at > 0 and heights[at - 1][1] <= HELD_MM
        low = heights[at - 1][0] if joined else height
        if at == 0 and height <= NEAR_LIMIT_PCT:
            low = 0.0
        high = 100.0 if at == len(heights) - 1 and height >= 100 - NEAR_LIMIT_PCT else height
        if joined and spans:
            spans[-1] = (spans[-1][0], high)
        else:
            spans.append((low, high))
    return _within(tuple(spans), expected(facts))


def _within(spans: Ranges, ranges: Ranges) -> Ranges:
    both = [
        (max(low, least), min(high, most))
        for low, high in spans
        for least, most in ranges
        if max(low, least) < min(high, most)
    ]
    return tuple(sorted(both))
