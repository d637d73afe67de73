"""The JSON Schema of the settings file, for editors; the loader checks more than a schema can say."""

from __future__ import annotations

import inspect
import re
from typing import Any

from bridge.adapters.sensors.catalogue import kinds
from bridge.core.rules.catalogue import Rule, rules
from bridge.settings.fields import ID_MAX, ID_PATTERN
from bridge.settings.model import SettingsFile
from bridge.settings.rule_model import CLOCK
from bridge.settings.ruling import params_adapter

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def settings_schema() -> dict[str, Any]:
    """Return the schema (draft 2020-12), its descriptions with the units."""
    schema: dict[str, Any] = _plain(SettingsFile.model_json_schema())
    schema["title"] = "hembar settings"
    for key in ("shades", "groups", "supplies", "sensors"):
        schema["properties"][key]["propertyNames"] = {"pattern": ID_PATTERN, "maxLength": ID_MAX}
    table = schema["$defs"].pop("RuleTable")
    schema["properties"]["rule"]["items"] = {"oneOf": [_rule(rule, table) for rule in rules().values()]}
    schema["$defs"]["SensorTable"]["properties"]["kind"]["enum"] = list(kinds())
    return {"$schema": DIALECT, **schema}


def _rule(rule: Rule, table: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of one rule's tables: what all have, and what its file says of its own."""
    own = _plain(params_adapter(rule).json_schema())
    words = _described(rule)
    keys = {name: {**each, "description": words[name]} for name, each in own["properties"].items()}
    shared = table["properties"]
    found = {
        "type": "object",
        "description": table["description"],
        "properties": {"rule": {**shared["rule"], "const": rule.name}, "shades": shared["shades"], **keys},
        "required": [*table["required"], *own.get("required", [])],
        "additionalProperties": False,
    }
    inlined: dict[str, Any] = _inlined(found, own.get("$defs", {}))
    return inlined


def _inlined(node: Any, defs: dict[str, Any]) -> Any:  # a JSON document has no narrower type
    """Put in place of each reference what it refers to, since these stand in no common list."""
    if isinstance(node, list):
        return [_inlined(part, defs) for part in node]
    if not isinstance(node, dict):
        return node
    if node.get("format") == "time":
        # To the standard that word means a time with an offset.
        return {**{key: part for key, part in node.items() if key != "format"}, **CLOCK}
    if "$ref" in node:
        return _inlined(defs[node["$ref"].rpartition("/")[2]], defs)
    return {key: _inlined(part, defs) for key, part in node.items()}


def _described(rule: Rule) -> dict[str, str]:
    """Return what the docstring of a rule's parameters says of each."""
    text = inspect.cleandoc(rule.params.__doc__ or "").partition("Attributes:")[2].partition("\n\n")[0]
    parts = re.split(r"\n    (\w+): ", text)
    return {name: " ".join(words.split()) for name, words in zip(parts[1::2], parts[2::2], strict=True)}


def _plain(node: Any) -> Any:  # a JSON document has no narrower type
    """Drop what TOML can't write (null) and the titles that repeat the keys."""
    if isinstance(node, list):
        return [_plain(part) for part in node]
    if not isinstance(node, dict):
        return node
    kept = {
        key: _plain(part)
        for key, part in node.items()
        if not (key == "title" and isinstance(part, str)) and not (key == "default" and part is None)
    }
    choices = kept.get("anyOf", [])
    if {"type": "null"} in choices:
        choices.remove({"type": "null"})
        if len(choices) == 1:
            kept.pop("anyOf")
            kept = {**choices[0], **kept}
    return kept
