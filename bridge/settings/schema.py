"""The JSON Schema of the settings file, for editors; the loader checks more than a schema can say."""

from __future__ import annotations

from typing import Any

from bridge.settings.fields import ID_MAX, ID_PATTERN
from bridge.settings.model import SettingsFile

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def settings_schema() -> dict[str, Any]:
    """Return the schema (draft 2020-12), its descriptions with the units."""
    schema: dict[str, Any] = _plain(SettingsFile.model_json_schema())
    schema["title"] = "hembar settings"
    for key in ("shades", "groups", "supplies"):
        schema["properties"][key]["propertyNames"] = {"pattern": ID_PATTERN, "maxLength": ID_MAX}
    return {"$schema": DIALECT, **schema}


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
