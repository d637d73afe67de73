"""Against the text of the Homie convention 5.0 (homieiot.github.io): its rules, not our output."""

import json
import re
from typing import Any

import pytest

from bridge.adapters.broker import homie

ID = re.compile(r"[a-z0-9](?:[a-z0-9-]*[a-z0-9])?")
DATATYPES = {"integer", "float", "boolean", "string", "enum", "color", "datetime", "duration", "json"}
ROOT = json.loads(homie.root_description(name="Weir house", children=("weir-study", "weir-hall")))
SHADE = json.loads(homie.shade_description(name="Study", root="weir"))
PROPERTIES = {
    f"{node}/{name}": said
    for document in (ROOT, SHADE)
    for node, content in document["nodes"].items()
    for name, said in content["properties"].items()
}


@pytest.mark.parametrize("document", [ROOT, SHADE])
def test_a_description_has_what_the_convention_requires(document: dict[str, Any]) -> None:
    assert document["homie"] == "5.0"
    assert type(document["version"]) is int
    assert 0 <= document["version"] < 2**53
    assert set(document) <= {
        "homie",
        "version",
        "name",
        "type",
        "nodes",
        "children",
        "extensions",
        "root",
        "parent",
    }


def test_root_and_children_name_each_other() -> None:
    assert ROOT["children"] == ["weir-study", "weir-hall"]
    assert "root" not in ROOT
    assert "parent" not in ROOT
    assert SHADE["root"] == SHADE["parent"] == "weir"


@pytest.mark.parametrize(("path", "said"), PROPERTIES.items(), ids=list(PROPERTIES))
def test_every_property_is_described_as_the_convention_allows(path: str, said: dict[str, Any]) -> None:
    assert all(ID.fullmatch(part) for part in path.split("/"))
    assert set(said) <= {"datatype", "format", "settable", "retained", "unit", "name"}
    assert said["datatype"] in DATATYPES
    if said["datatype"] == "enum":
        words = said["format"].split(",")
        assert all(words)
        assert len(set(words)) == len(words)
    if said["datatype"] == "integer":
        low, high, step = map(int, said["format"].split(":"))
        assert low < high
        assert step > 0


def test_what_can_be_set_is_what_the_design_names() -> None:
    assert {path for path, said in PROPERTIES.items() if said.get("settable")} == {
        "opening/position",
        "opening/button",
        "opening/nudge",
        "knowledge/approach",
        "knowledge/confirm",
        "reason/release",
    }
    assert {path for path, said in PROPERTIES.items() if said.get("retained") is False} == {
        "opening/button",
        "opening/nudge",
        "knowledge/approach",
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
