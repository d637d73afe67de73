import json
from pathlib import Path
from typing import Any

from bridge.settings.schema import settings_schema

CONFIG = Path(__file__).parents[3] / "config"


def every_property(schema: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    tables = [schema, *schema["$defs"].values()]
    return [pair for table in tables for pair in table["properties"].items()]


def test_the_schema_file_is_in_step_with_the_program() -> None:
    written = json.loads((CONFIG / "hembar.schema.json").read_text(encoding="utf-8"))
    assert written == settings_schema(), "run `hembar schema > config/hembar.schema.json`"


def test_it_names_its_dialect() -> None:
    assert settings_schema()["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_every_key_is_described_and_no_table_takes_strange_ones() -> None:
    schema = settings_schema()
    properties = every_property(schema)
    assert len(properties) > 40
    for key, value in properties:
        home = schema["$defs"][value["$ref"].rpartition("/")[2]] if "$ref" in value else {}
        assert value.get("description") or home.get("description"), key
    assert all(table["additionalProperties"] is False for table in [schema, *schema["$defs"].values()])


def test_numbers_with_a_unit_say_it_in_their_description() -> None:
    units = {"mm": "mm", "deg": "degrees", "m": " m", "s": "seconds", "min": "minutes", "pct": "percent"}
    for key, value in every_property(settings_schema()):
        unit = units.get(key.rpartition("_")[2]) if "_" in key else None
        assert unit is None or unit in value["description"], key


def test_nothing_is_offered_that_toml_cannot_write() -> None:
    assert "null" not in json.dumps(settings_schema())
