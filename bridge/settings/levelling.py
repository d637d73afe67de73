"""What a level group asks of its members: one height, a board that reports, amps for all at once."""

from __future__ import annotations

from collections.abc import Mapping

from bridge.core.command.supply import ROUNDING_A
from bridge.core.spec import GroupSpec, HouseSpec, OneWayLink, ShadeSpec, SupplySpec
from bridge.settings.faults import Place, listed, number

# As well as a person measures from the floor.
SAME_HEIGHT_MM = 2.0


def check_level(place: Place, house: HouseSpec, heights_mm: Mapping[str, float | None]) -> None:
    """Refuse level groups whose members can't keep level.

    Args:
        place: The top of the file.
        house: As read.
        heights_mm: How high above the floor the upper limit of each shade is; None where it is not told.
    """
    specs = {spec.id: spec for spec in house.shades}
    seen: dict[str, str] = {}
    for group in house.groups:
        if not group.level:
            continue
        here = place.inside("groups", group.id)
        members = [specs[name] for name in group.members if name in specs]
        for spec in members:
            if spec.id in seen:
                here.refuse(
                    f"{spec.id} is in the level group {seen[spec.id]} too",
                    "a hem bar keeps level with one row only: take it out of one of them",
                )
            seen[spec.id] = group.id
        _check_boards(here, members)
        _check_heights(here, {spec.id: heights_mm.get(spec.id) for spec in members})
        for supply in house.supplies:
            _check_amps(here, house, group, supply)


def _check_boards(place: Place, members: list[ShadeSpec]) -> None:
    mute = [spec.id for spec in members if isinstance(spec.link, OneWayLink)]
    if mute:
        boards = "board" if len(mute) == 1 else "boards"
        place.refuse(
            f"level = true, but the {boards} of {listed(mute)} can be told no speed",
            "a one-way board runs at its own: leave it out of the group, or leave out level",
        )


def _check_heights(place: Place, heights_mm: Mapping[str, float | None]) -> None:
    untold = [name for name, height in heights_mm.items() if height is None]
    if untold:
        place.refuse(
            f"level = true, but nobody tells how high {listed(untold)} hang",
            "add upper_limit_mm to each: the hem bar above the floor when it is at its upper limit",
        )
        return
    told = {name: height for name, height in heights_mm.items() if height is not None}
    if max(told.values()) - min(told.values()) > SAME_HEIGHT_MM:
        heights = listed([f"{name} {number(height)} mm" for name, height in told.items()])
        place.refuse(
            f"level = true, but the upper limits differ in height: {heights}",
            f"move the limits to one height within {number(SAME_HEIGHT_MM)} mm, or leave out level",
        )


def _check_amps(place: Place, house: HouseSpec, group: GroupSpec, supply: SupplySpec) -> None:
    """Refuse members that exceed one supply together: they leave in one batch, or never."""
    on_it = [spec for spec in house.shades if spec.supply == supply.id]
    mine = [spec for spec in on_it if spec.id in group.members]
    standing_a = sum(spec.standstill_a for spec in on_it if spec not in mine)
    moving_a = sum(spec.moving_a for spec in mine)
    if not mine or moving_a + standing_a <= supply.amps + ROUNDING_A:
        return
    others = f", and the others on it {number(standing_a)} A at rest" if standing_a else ""
    place.refuse(
        f"level = true, but {listed([spec.id for spec in mine])} draw {number(moving_a)} A together{others}: "
        f"more than the {number(supply.amps)} A of [supplies.{supply.id}]",
        "feed some of them from another supply or a stronger one, or leave out level",
    )
