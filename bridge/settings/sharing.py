"""What shades share: the groups people ask for together, and the supplies that feed their motors.

Each table is read alone, then held against the shades; a supply must let every shade move, however late.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from math import isinf

from bridge.core.command.supply import worst_raise_s
from bridge.core.spec import GroupSpec, HouseSpec, ShadeSpec, SupplySpec
from bridge.core.values import GroupId, ShadeId, SupplyId
from bridge.settings import model
from bridge.settings.explain import read_part, sub_table
from bridge.settings.faults import Place, listed, number, quoted, shown, shown_key
from bridge.settings.fields import TableT, is_id
from bridge.settings.keys import refuse_unknown

# Sums of amps given to one or two decimals.
ROUNDING_A = 1e-9


def read_groups(
    place: Place, raw: Mapping[str, object], *, shades: Collection[str], device: str
) -> tuple[GroupSpec, ...]:
    """Return the [groups.<id>] tables, refusing everything that is wrong with them."""
    found = []
    for key, table in _read_tables(place, raw, "groups", model.GroupTable).items():
        here = place.inside("groups", key)
        _check_name(here, key, shades, device)
        _check_members(here, table.members, shades)
        members = tuple(ShadeId(each) for each in table.members)
        found.append(GroupSpec(id=GroupId(key), name=table.name or key, members=members, level=table.level))
    return tuple(found)


def read_supplies(
    place: Place, raw: Mapping[str, object], shades: Sequence[ShadeSpec]
) -> tuple[SupplySpec, ...]:
    """Return the [supplies.<id>] tables, refusing what is wrong with them or too much on them."""
    tables = _read_tables(place, raw, "supplies", model.SupplyTable)
    found = tuple(SupplySpec(id=SupplyId(key), amps=table.amps) for key, table in tables.items())
    named = sub_table(place, raw, "supplies", tell=False) or {}
    for shade in shades:
        if shade.supply is not None and shade.supply not in named:
            place.inside("shades", shade.id, "power").refuse(
                f"supply = {quoted(shade.supply)}: there is no such supply",
                f"name one of {listed(sorted(map(quoted, named)), 'or')}"
                if named
                else f"add [supplies.{shade.supply}] with amps",
            )
    for supply in found:
        _check_supply(place, supply, [shade for shade in shades if shade.supply == supply.id])
    return found


def check_raise(place: Place, house: HouseSpec, within_s: float | None) -> None:
    """Refuse a house that needs longer than the owner allows to get every exterior shade up."""
    if within_s is None:
        return
    worst_s = worst_raise_s(house)
    if worst_s <= within_s or isinf(worst_s):
        return
    place.inside("safety").refuse(
        f"raise_all_within_s = {number(within_s)}, but the exterior shades need up to {worst_s:.1f} s until "
        "all are up, those that wait for their supply included",
        "give them more amps or faster drives, spread them over more supplies, or allow more time",
    )


def _read_tables(place: Place, raw: Mapping[str, object], key: str, kind: type[TableT]) -> dict[str, TableT]:
    tables = sub_table(place, raw, key) or {}
    found = {}
    for name in tables:
        here = place.inside(key, name)
        if not is_id(name):
            here.refuse(
                f"{shown(name)} can't be a name here",
                "an id has only a-z, 0-9 and inner hyphens, at most 40 of them",
            )
        table = sub_table(place.inside(key), tables, name)
        if table is None:
            continue
        part = read_part(here, table, kind, excused=refuse_unknown(here, table, kind))
        if part is not None:
            found[name] = part
    return found


def _check_name(place: Place, key: str, shades: Collection[str], device: str) -> None:
    if key in shades:
        place.refuse(
            f"{quoted(key)} is the id of a shade too, [shades.{shown_key(key)}]",
            "rename the group: both are devices in the tree",
        )
    if key == device:
        place.refuse(
            f"{quoted(key)} is the id of the bridge's own device in the tree",
            "rename the group, or the device under [tree]",
        )


def _check_members(place: Place, members: Sequence[str], shades: Collection[str]) -> None:
    for member in dict.fromkeys(members):
        if member not in shades:
            place.refuse(
                f"members: there is no shade {quoted(member)}",
                f"name some of {listed(sorted(shades), 'and')}" if shades else "describe the shades first",
            )
        elif members.count(member) > 1:
            place.refuse(f"members: {quoted(member)} stands there twice", "name each shade once")


def _check_supply(place: Place, supply: SupplySpec, shades: Sequence[ShadeSpec]) -> None:
    too_much = [shade for shade in shades if shade.moving_a > supply.amps + ROUNDING_A]
    for shade in too_much:
        place.inside("shades", shade.id, "power").refuse(
            f"moving_a = {number(shade.moving_a)} is more than the {number(supply.amps)} A of "
            f"[supplies.{supply.id}], so it could never move",
            "mend the one that is wrong, or feed the shade from a stronger supply",
        )
    if too_much or not shades:
        return
    hungriest = max(shades, key=lambda shade: shade.moving_a - shade.standstill_a)
    standing = sum(shade.standstill_a for shade in shades if shade is not hungriest)
    if standing + hungriest.moving_a <= supply.amps + ROUNDING_A:
        return
    place.inside("supplies", supply.id).refuse(
        f"amps = {number(supply.amps)}, but the shades on it draw {number(standing)} A when the others stand "
        f"still with current, and {hungriest.id} needs {number(hungriest.moving_a)} A to move, so it might "
        "never get its turn",
        "feed fewer shades from it, let their motors sleep where they hold, or use a stronger supply",
    )
