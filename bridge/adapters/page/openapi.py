"""The description of the API (OpenAPI 3.1), made of the models that are served."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import models_json_schema

from bridge import __version__
from bridge.adapters.page import words

DIALECT = "https://json-schema.org/draft/2020-12/schema"
_REF = "#/components/schemas/{model}"
_READS: dict[str, tuple[str, type[BaseModel], tuple[str, ...]]] = {
    "/api/house": ("The house at a glance.", words.HouseSaid, ()),
    "/api/day": ("A day of each shade with a window.", words.DaySaid, ("date", "shade")),
    "/api/care": ("What wants a person's care.", words.CareSaid, ()),
    "/api/journal": (
        "Moves and reasons, newest first.",
        words.JournalSaid,
        ("search", "shade", "before", "limit"),
    ),
}
_CHANGES: dict[str, tuple[str, type[BaseModel]]] = {
    "/api/shades/{shade}/ask": ("Ask for a percent open, a button or a nudge.", words.AskWanted),
    "/api/shades/{shade}/release": ("End the hold: the rules may move it again.", words.NothingWanted),
    "/api/shades/{shade}/approach": ("Go near a limit for a reference by hand.", words.PlaceWanted),
    "/api/shades/{shade}/refer": ("Run to its switch, a reference, and back.", words.NothingWanted),
    "/api/shades/{shade}/confirm": ("The hem bar is at this limit now.", words.PlaceWanted),
    "/api/groups/{group}/ask": ("Ask every shade of a group.", words.AskWanted),
    "/api/groups/{group}/release": (
        "End the holds of a group: the rules may move each of it again.",
        words.NothingWanted,
    ),
    "/api/stop": ("Stop every shade.", words.NothingWanted),
    "/api/pause": ("The rules of the whole house rest, or work again.", words.OnWanted),
    "/api/lock": (
        "The service lock: what moves is stopped, then no order leaves, no stop either.",
        words.OnWanted,
    ),
    "/api/enter": ("Change the key for a cookie.", words.KeyWanted),
    "/api/leave": ("Forget the cookie.", words.NothingWanted),
}
_QUERY: dict[str, dict[str, Any]] = {
    "date": {"schema": {"type": "string", "format": "date"}, "description": "Today by default."},
    "shade": {"schema": {"type": "string"}, "description": "Only this shade, by its id."},
    "search": {"schema": {"type": "string", "maxLength": 200}, "description": "Words in the text."},
    "before": {"schema": {"type": "integer", "minimum": 0}, "description": "Rows older than this one."},
    "limit": {"schema": {"type": "integer", "minimum": 1, "maximum": 200}, "description": "At most so many."},
}
_HEADER = {
    "name": "X-Hembar",
    "in": "header",
    "required": True,
    "schema": {"const": "1"},
    "description": "A change has to carry it, and an Origin of the page itself or the key.",
}
INTRODUCTION = (
    "The page's own API, with the words of the command line. Hobby control software: not a safety device, "
    "not certified. A change moves real shades; keep the hem path clear."
)


def document() -> dict[str, Any]:
    """Return the description."""
    models: set[type[BaseModel]] = {words.TakenSaid, words.RefusalSaid}
    models |= {model for _, model, _ in _READS.values()} | {model for _, model in _CHANGES.values()}
    _, schemas = models_json_schema(
        [(model, "serialization" if issubclass(model, words.Said) else "validation") for model in models],
        ref_template=_REF,
    )
    return {
        "openapi": "3.1.0",
        "jsonSchemaDialect": DIALECT,
        "info": {"title": "hembar", "version": __version__, "description": INTRODUCTION},
        "paths": dict(_paths()),
        "security": [{}, {"cookie": []}, {"bearer": []}],
        "components": {
            "schemas": dict(sorted(schemas["$defs"].items())),
            "securitySchemes": {
                "cookie": {"type": "apiKey", "in": "cookie", "name": "hembar-page"},
                "bearer": {"type": "http", "scheme": "bearer"},
            },
        },
    }


def _paths() -> list[tuple[str, dict[str, Any]]]:
    found: list[tuple[str, dict[str, Any]]] = []
    for path, (told, model, query) in _READS.items():
        said = {
            "summary": told,
            "parameters": [{"name": name, "in": "query", **_QUERY[name]} for name in query],
            "responses": _responses(_content(model)),
        }
        found.append((path, {"get": said}))
    for path, (told, model) in _CHANGES.items():
        named = [part[1:-1] for part in path.split("/") if part.startswith("{")]
        inside = [
            {"name": name, "in": "path", "required": True, "schema": {"type": "string"}} for name in named
        ]
        said = {
            "summary": told,
            "parameters": [*inside, _HEADER],
            "requestBody": {"required": True, "content": _content(model)},
            "responses": _responses(_content(words.TakenSaid)),
        }
        found.append((path, {"post": said}))
    found.append(("/api/events", {"get": _events()}))
    texts = {"/metrics": ("What can be measured, for Prometheus.", "text/plain")}
    texts["/api/openapi.json"] = ("This description.", "application/json")
    for path, (told, kind) in texts.items():
        found.append((path, {"get": {"summary": told, "responses": _responses({kind: {}})}}))
    return found


def _events() -> dict[str, Any]:
    told = (
        "Server-sent events: `house` at once and after other settings (as /api/house), then `change` with "
        "what differs (`now`, whole `shades` and `groups`, `house`), `sun` each minute, `alive` at least "
        "every 5 s, `end` before the server stops."
    )
    content = {"text/event-stream": {"schema": {"type": "string"}}}
    return {"summary": "Changes as they happen.", "description": told, "responses": _responses(content)}


def _content(model: type[BaseModel]) -> dict[str, Any]:
    return {"application/json": {"schema": {"$ref": _REF.format(model=model.__name__)}}}


def _responses(content: dict[str, Any]) -> dict[str, Any]:
    return {
        "200": {"description": "Done.", "content": content},
        "default": {"description": "Refused, and why.", "content": _content(words.RefusalSaid)},
    }
