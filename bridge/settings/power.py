"""What the supplies mean: who is on each, whether all can move together, how long raising all takes."""

from __future__ import annotations

from dataclasses import dataclass

from bridge.core.command.supply import ROUNDING_A, worst_raise_s
from bridge.core.spec import HouseSpec, Mounting, ShadeSpec, SupplySpec
from bridge.settings.faults import number


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyMeaning:
    """What one supply has to feed.

    Attributes:
        spec: The supply.
        shades: What is on it.
        moving_a: What they draw when all move.
        standing_a: What they draw when all stand still with current.
    """

    spec: SupplySpec
    shades: tuple[ShadeSpec, ...]
    moving_a: float
    standing_a: float

    @property
    def together(self) -> bool:
        """Whether all may move at once."""
        return self.moving_a <= self.spec.amps + ROUNDING_A


def supply_meanings(house: HouseSpec) -> tuple[SupplyMeaning, ...]:
    """Return what each supply has to feed."""
    found = []
    for supply in house.supplies:
        shades = tuple(shade for shade in house.shades if shade.supply == supply.id)
        found.append(
            SupplyMeaning(
                spec=supply,
                shades=shades,
                moving_a=sum(shade.moving_a for shade in shades),
                standing_a=sum(shade.standstill_a for shade in shades),
            )
        )
    return tuple(found)


def supply_in_words(meaning: SupplyMeaning) -> str:
    """Return one supply as a sentence."""
    amps = f"{meaning.spec.id} {number(meaning.spec.amps)} A"
    if not meaning.shades:
        return f"{amps}: nothing is on it"
    shades = ", ".join(_draws(shade) for shade in meaning.shades)
    if len(meaning.shades) == 1:
        return f"{amps}: {shades}"
    if meaning.together:
        return f"{amps}: {shades}; all may move together, {number(meaning.moving_a)} A"
    return (
        f"{amps}: {shades}; all together would draw {number(meaning.moving_a)} A, so some wait for their "
        "turn, by rank"
    )


def raise_in_words(house: HouseSpec, within_s: float | None) -> str:
    """Return how long the exterior shades need until all are up; "" when there are none."""
    count = sum(shade.mounting is Mounting.EXTERIOR for shade in house.shades)
    if not count:
        return ""
    shades = "the exterior shade is" if count == 1 else f"all {count} exterior shades are"
    bound = "" if within_s is None else f"; you allow {number(within_s)} s"
    return (
        f"{shades} up within {worst_raise_s(house):.1f} s of being asked, waiting for amps and starts apart "
        f"after a power cut included{bound}"
    )


def _draws(shade: ShadeSpec) -> str:
    still = f" and {number(shade.standstill_a)} A still" if shade.standstill_a else ""
    return f"{shade.id} {number(shade.moving_a)} A moving{still}"
