"""Against the text of the Homie convention 5.0 (homieiot.github.io): its rules, not our output."""

import json
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.adapters.broker import homie
from bridge.adapters.broker.tree import Outlook, Tree
from bridge.core.outlook import ALERTS, Alert, BoardState, Motion, ShadeOutlook
from bridge.core.overview import BridgeOutlook, GroupOutlook
from bridge.core.position.estimate import Grade
from bridge.core.values import GroupId, ShadeId
from tests.homie_rules import description_faults, properties_of, tree_faults, value_fault

ROOT = json.loads(homie.root_description(name="Weir house", children=("weir-study", "weir-hall", "weir-up")))
SHADE = json.loads(homie.shade_description(name="Study", root="weir"))
GROUP = json.loads(homie.group_description(name="Upstairs", root="weir"))
PROPERTIES = {**properties_of(ROOT), **properties_of(GROUP), **properties_of(SHADE)}
SOUND = {
    "homie": "5.0",
    "version": 1,
    "nodes": {"opening": {"properties": {"position": {"datatype": "integer", "format": "0:100:1"}}}},
}


@pytest.mark.parametrize("document", [ROOT, SHADE, GROUP, SOUND], ids=["bridge", "shade", "group", "plain"])
def test_a_description_is_what_the_convention_allows(document: dict[str, Any]) -> None:
    assert list(description_faults(document)) == []


@pytest.mark.parametrize(
    "said",
    [
        {"datatype": "enum"},
        {"datatype": "enum", "format": "a,a"},
        {"datatype": "enum", "format": "a,,b"},
        {"datatype": "integer", "format": "100:0"},
        {"datatype": "integer", "format": "0.5:1"},
        {"datatype": "integer", "format": "0:100:0"},
        {"datatype": "float", "format": "0x10:"},
        {"datatype": "boolean", "format": "yes,yes"},
        {"datatype": "string", "format": "a"},
        {"datatype": "number"},
        {"datatype": "string", "settable": "true"},
        {"datatype": "string", "color": "red"},
    ],
    ids=str,
)
def test_the_rules_find_a_property_that_is_wrong(said: dict[str, Any]) -> None:
    document = {**SOUND, "nodes": {"opening": {"properties": {"position": said}}}}
    assert len(list(description_faults(document))) == 1


@pytest.mark.parametrize(
    "change",
    [
        {"homie": "5"},
        {"version": "1"},
        {"version": 2**63},
        {"type": None},
        {"shade": True},
        {"children": ["-a"]},
    ],
    ids=str,
)
def test_the_rules_find_a_device_that_is_wrong(change: dict[str, Any]) -> None:
    assert len(list(description_faults({**SOUND, **change}))) == 1


@pytest.mark.parametrize(
    ("said", "payload", "sound"),
    [
        ({"datatype": "integer", "format": "0:100:1"}, b"100", True),
        ({"datatype": "integer", "format": "0:100:1"}, b"101", False),
        ({"datatype": "integer", "format": "0:100:5"}, b"12", False),
        ({"datatype": "integer"}, b"5x0", False),
        ({"datatype": "integer"}, b"9223372036854775808", False),
        ({"datatype": "float"}, b"0x10", False),
        ({"datatype": "float"}, b"nan", False),
        ({"datatype": "float"}, b"-0.5", True),
        ({"datatype": "boolean"}, b"True", False),
        ({"datatype": "enum", "format": "up,down"}, b"sideways", False),
        ({"datatype": "datetime"}, b"2026-11-25T07:30:05Z", True),
        ({"datatype": "datetime"}, b"25.11.2026", False),
        ({"datatype": "string"}, b"\xff", False),
    ],
    ids=str,
)
def test_the_rules_tell_a_value_from_rubbish(said: dict[str, Any], payload: bytes, sound: bool) -> None:
    assert (value_fault(said, payload) == "") is sound


def test_root_and_children_name_each_other() -> None:
    assert ROOT["children"] == ["weir-study", "weir-hall", "weir-up"]
    assert "root" not in ROOT
    assert "parent" not in ROOT
    assert SHADE["root"] == SHADE["parent"] == GROUP["root"] == GROUP["parent"] == "weir"


def test_what_can_be_set_is_what_the_design_names() -> None:
    assert {path for path, said in PROPERTIES.items() if said.get("settable")} == {
        "opening/position",
        "opening/button",
        "opening/nudge",
        "knowledge/approach",
        "knowledge/refer",
        "knowledge/confirm",
        "reason/release",
        "rules/pause",
        "service/lock",
    }
    assert {path for path, said in PROPERTIES.items() if said.get("retained") is False} == {
        "opening/button",
        "opening/nudge",
        "knowledge/approach",
        "knowledge/refer",
        "knowledge/confirm",
        "reason/release",
    }


def test_the_version_changes_with_the_description_and_only_then() -> None:
    versions = [
        json.loads(document)["version"]
        for document in (
            homie.shade_description(name="Study", root="weir"),
            homie.shade_description(name="Study", root="weir"),
            homie.shade_description(name="Hall", root="weir"),
            homie.shade_description(name="Study", root="dam"),
        )
    ]
    assert versions[0] == versions[1]
    assert len(set(versions)) == 3


def test_an_empty_string_is_a_zero_byte_since_nothing_at_all_would_delete_the_topic() -> None:
    assert homie.string("") == b"\x00"
    assert homie.string("wait — wind") == "wait — wind".encode()


NAMES = st.text(min_size=1, max_size=20)
PERCENT = st.none() | st.integers(0, 100)
SHADES = st.builds(
    ShadeOutlook,
    id=st.just(ShadeId("study")),
    name=NAMES,
    position_pct=PERCENT,
    target_pct=PERCENT,
    low_pct=st.floats(-5, 105),
    high_pct=st.floats(-5, 105),
    width_mm=st.floats(0, 20000),
    low_steps=st.just(0),
    high_steps=st.just(0),
    grade=st.sampled_from(Grade),
    motion=st.sampled_from(Motion),
    reason=st.text(),
    until=st.none() | st.datetimes(datetime(2000, 1, 1), datetime(2100, 1, 1), timezones=st.just(UTC)),  # noqa: DTZ001  the zone is beside it
    board=st.sampled_from(BoardState),
    alerts=st.lists(st.builds(Alert, id=st.sampled_from(ALERTS), text=NAMES), max_size=3).map(tuple),
)
GROUPS = st.builds(
    GroupOutlook,
    id=st.just(GroupId("up")),
    name=NAMES,
    members=st.just((ShadeId("study"), ShadeId("hall"))),
    position_pct=PERCENT,
    target_pct=PERCENT,
    motion=st.none() | st.sampled_from(Motion),
    reason=st.text(),
    board=st.sampled_from(BoardState),
)
BRIDGES = st.builds(
    BridgeOutlook,
    paused=st.booleans(),
    locked=st.booleans(),
    in_charge=st.booleans(),
    term=st.integers(0, 2**31),
    alerts=st.just(()) | st.just((Alert(id="charge", text="another"),)),
)
TREE = Tree(
    root="weir",
    name="Weir house",
    version="1.2",
    shades=((ShadeId("study"), "Study"), (ShadeId("hall"), "Hall")),
    groups=((GroupId("up"), "Upstairs"),),
)


@settings(max_examples=40)
@given(study=SHADES, hall=SHADES, group=GROUPS, bridge=BRIDGES, later=SHADES)
def test_whatever_the_house_is_like_the_whole_tree_obeys_the_convention(
    study: ShadeOutlook, hall: ShadeOutlook, group: GroupOutlook, bridge: BridgeOutlook, later: ShadeOutlook
) -> None:
    outlooks: list[Outlook] = [bridge, study, replace(hall, id=ShadeId("hall")), group]
    opening, shown = TREE.opening(outlooks)
    update, _ = TREE.update(shown, later)
    retained: dict[str, bytes] = {}
    for each in (*opening, *update):
        assert each.retain
        retained[each.topic] = each.payload
    assert list(tree_faults(retained)) == []


def test_the_rules_find_a_tree_that_is_wrong() -> None:
    strange = {
        "homie/5/weir/$state": b"asleep",
        "homie/5/weir/$description": json.dumps({**SOUND, "children": ["weir-hall"]}).encode(),
        "homie/5/weir/opening/position": b"101",
        "homie/5/weir/opening/tilt": b"3",
        "homie/5/weir-study/$state": b"ready",
        "homie/5/weir-study/$description": json.dumps({**SOUND, "parent": "weir"}).encode(),
    }
    assert list(tree_faults(strange)) == [
        "weir: $state is b'asleep'",
        "weir/opening/position: b'101' is no integer in '0:100:1'",
        "weir/opening/tilt is retained and not described",
        "weir names a child weir-hall that is not there",
        "weir-study has a root or a parent without the other",
        "weir-study names a parent weir that does not name it",
    ]
