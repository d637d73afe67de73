"""Rules of the Homie convention 5.0 (homieiot.github.io, "Convention"), held against a whole retained tree.

Written from the text of the convention, not from our output; it is stricter than readers that are in use,
which let `5x0`, `null` as a type, enums without words, ranges upside down and `0x10` pass.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

ID = re.compile(r"[a-z0-9](?:[a-z0-9-]*[a-z0-9])?")
INTEGER = re.compile(r"-?[0-9]+")
FLOAT = re.compile(r"-?[0-9]+(?:\.[0-9]+)?(?:[eE][-+]?[0-9]+)?")
RANGE = re.compile(r"(-?[0-9.]+)?:(-?[0-9.]+)?(?::([0-9.]+))?")
DATETIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d+)?(?:Z|[-+]\d\d:\d\d)?")
STATES = {"init", "ready", "disconnected", "sleeping", "lost"}
DATATYPES = {"integer", "float", "boolean", "string", "enum", "color", "datetime", "duration", "json"}
DEVICE_KEYS = {"homie", "version", "name", "type", "nodes", "children", "extensions", "root", "parent"}
NODE_KEYS = {"name", "type", "properties"}
PROPERTY_KEYS = {"name", "datatype", "format", "settable", "retained", "unit"}

Properties = Mapping[str, Mapping[str, Any]]


def description_faults(document: object) -> Iterator[str]:
    """Yield what is wrong with one description."""
    if not isinstance(document, dict):
        yield "it is no object"
        return
    yield from _strange(document, DEVICE_KEYS)
    if document.get("homie") != "5.0":
        yield f"homie is {document.get('homie')!r}"
    version = document.get("version")
    if type(version) is not int or not 0 <= version < 2**53:
        yield f"version is {version!r}"
    texts = [key for key in ("root", "parent", "type", "name") if key in document]
    yield from (f"{key} is {document[key]!r}" for key in texts if not _is_text(document[key]))
    nodes = document.get("nodes", {})
    yield from (
        f"{name!r} is no id" for name in (*document.get("children", []), *nodes) if not ID.fullmatch(name)
    )
    for node, content in nodes.items():
        yield from _strange(content, NODE_KEYS)
        for name, said in content.get("properties", {}).items():
            if not ID.fullmatch(name):
                yield f"property {name!r} is no id"
            yield from (f"{node}/{name}: {fault}" for fault in _property_faults(said))


def _is_text(value: object) -> bool:
    return isinstance(value, str) and value != ""


def properties_of(document: Mapping[str, Any]) -> Properties:
    return {
        f"{node}/{name}": said
        for node, content in document.get("nodes", {}).items()
        for name, said in content.get("properties", {}).items()
    }


def _strange(content: Mapping[str, Any], known: set[str]) -> Iterator[str]:
    yield from (f"the key {key!r} is not known" for key in content.keys() - known)


def _property_faults(said: Mapping[str, Any]) -> Iterator[str]:
    yield from _strange(said, PROPERTY_KEYS)
    kinds = {"settable": bool, "retained": bool, "name": str, "unit": str, "format": str}
    for key, kind in kinds.items():
        if key in said and not isinstance(said[key], kind):
            yield f"{key} is {said[key]!r}"
            return
    if said.get("datatype") not in DATATYPES:
        yield f"datatype is {said.get('datatype')!r}"
    else:
        yield from _format_faults(said["datatype"], said.get("format"))


def _format_faults(datatype: str, form: str | None) -> Iterator[str]:
    words = (form or "").split(",")
    if datatype == "enum" or (datatype == "boolean" and form is not None):
        if not all(words) or len(set(words)) < len(words) or (datatype == "boolean" and len(words) != 2):
            yield f"the words of the {datatype} are {form!r}"
    elif datatype in ("integer", "float") and form is not None:
        yield from _range_faults(form, INTEGER if datatype == "integer" else FLOAT)
    elif datatype in ("string", "datetime", "duration") and form is not None:
        yield f"a {datatype} has no format"


def _range_faults(form: str, number: re.Pattern[str]) -> Iterator[str]:
    match = RANGE.fullmatch(form)
    parts = match.groups() if match else ()
    if not match or any(part is not None and not number.fullmatch(part) for part in parts):
        yield f"the range {form!r} is not [min]:[max][:step]"
        return
    low, high, step = (None if part is None else Decimal(part) for part in parts)
    if low is not None and high is not None and low >= high:
        yield f"the range {form!r} is upside down"
    if step is not None and step <= 0:
        yield f"the step of {form!r} is not positive"


def value_fault(said: Mapping[str, Any], payload: bytes) -> str:
    """Return what is wrong with a value, or ""."""
    try:
        text = payload.decode("utf-8")
    except UnicodeDecodeError:
        return f"{payload!r} is not UTF-8"
    datatype, form = said["datatype"], said.get("format", "")
    return "" if _is_value(datatype, form, text) else f"{payload!r} is no {datatype} in {form!r}"


def _is_value(datatype: str, form: str, text: str) -> bool:
    match datatype:
        case "integer":
            return bool(INTEGER.fullmatch(text)) and -(2**63) <= int(text) < 2**63 and _inside(text, form)
        case "float":
            return bool(FLOAT.fullmatch(text)) and _inside(text, form)
        case "boolean":
            return text in ("true", "false")
        case "enum":
            return text in form.split(",")
        case "datetime":
            return bool(DATETIME.fullmatch(text))
        case _:
            assert datatype == "string", f"{datatype} is not published here"
            return text != ""


def _inside(text: str, form: str) -> bool:
    match = RANGE.fullmatch(form or ":")
    assert match, form
    value = Decimal(text)
    low, high, step = (None if part is None else Decimal(part) for part in match.groups())
    if (low is not None and value < low) or (high is not None and value > high):
        return False
    base = low if low is not None else high if high is not None else value
    return step is None or (value - base) % step == 0


def tree_faults(retained: Mapping[str, bytes], *, domain: str = "homie") -> Iterator[str]:
    """Yield what is wrong with everything retained under `domain`; an empty payload is a deleted topic."""
    devices: dict[str, dict[str, bytes]] = {}
    for topic, payload in retained.items():
        levels = topic.removeprefix(f"{domain}/5/").split("/", 1)
        if topic.startswith(f"{domain}/5/") and payload:
            devices.setdefault(levels[0], {})[levels[1]] = payload
    documents = {}
    for device, values in devices.items():
        if not ID.fullmatch(device):
            yield f"{device!r} is no id"
        if values.get("$state", b"").decode() not in STATES:
            yield f"{device}: $state is {values.get('$state')!r}"
        document = json.loads(values.get("$description", b"null"))
        yield from (f"{device}: {fault}" for fault in description_faults(document))
        documents[device] = document if isinstance(document, dict) else {}
        yield from (f"{device}/{fault}" for fault in _values_faults(values, properties_of(documents[device])))
    yield from _family_faults(documents)


def _values_faults(values: Mapping[str, bytes], properties: Properties) -> Iterator[str]:
    for levels, payload in values.items():
        plain = levels.removesuffix("/$target")
        if levels.startswith("$alert/"):
            if not ID.fullmatch(levels.removeprefix("$alert/")) or not payload.decode("utf-8"):
                yield f"{levels}: {payload!r}"
        elif levels in ("$state", "$description"):
            continue
        elif plain not in properties:
            yield f"{levels} is retained and not described"
        elif properties[plain].get("retained") is False:
            yield f"{levels} is retained and said not to be"
        elif fault := value_fault(properties[plain], payload):
            yield f"{levels}: {fault}"


def _family_faults(documents: Mapping[str, Mapping[str, Any]]) -> Iterator[str]:
    for device, document in documents.items():
        for child in document.get("children", []):
            if child not in documents:
                yield f"{device} names a child {child} that is not there"
            elif documents[child].get("parent") != device:
                yield f"{child} does not name its parent {device}"
        parent, root = document.get("parent"), document.get("root")
        if (parent is None) != (root is None):
            yield f"{device} has a root or a parent without the other"
        if parent is not None and device not in documents.get(parent, {}).get("children", []):
            yield f"{device} names a parent {parent} that does not name it"
