"""What is found once of a house as built, instead of at every event."""

from __future__ import annotations

from dataclasses import replace

from bridge.core.spec import GroupSpec, SupplySpec
from bridge.core.values import GroupId, ShadeId, SupplyId
from tests.one_way_world import ALIVE, given_link, given_spec
from tests.scene import house_spec, on_supply, shade_spec

ONE, TWO, THREE, PORCH = (ShadeId(name) for name in ("one", "two", "three", "porch"))


def test_shades_are_found_by_supply_alive_topic_and_group_in_the_order_of_the_settings() -> None:
    porch = replace(given_spec(given_link(alive=ALIVE)), id=PORCH)
    spec = house_spec(on_supply("two"), shade_spec("three"), on_supply("one"), porch, amps=2.0)
    spec = replace(spec, groups=(*spec.groups, GroupSpec(id=GroupId("front"), name="Front", members=(ONE,))))
    assert spec.on_supply == {SupplyId("attic"): [TWO, ONE]}
    assert spec.on_alive == {ALIVE.topic: [PORCH]}
    assert spec.in_groups[ONE] == [GroupId("all"), GroupId("front")]
    assert spec.in_groups[THREE] == [GroupId("all")]


def test_the_amps_of_a_supply_are_found_by_its_name() -> None:
    spec = house_spec(on_supply("one"), amps=2.0)
    assert spec.amps == {SupplyId("attic"): 2.0}
    first, second = SupplySpec(id=SupplyId("attic"), amps=1.0), SupplySpec(id=SupplyId("attic"), amps=3.0)
    assert replace(spec, supplies=(first, second)).amps[SupplyId("attic")] == 1.0
