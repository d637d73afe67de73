"""Reads one table through its pydantic model and tells each fault in words of our own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from annotated_types import Ge, Gt, Le
from pydantic import ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from bridge.settings.faults import Place, RefusedValueError, listed, number, shown, shown_key
from bridge.settings.fields import Table, TableT
from bridge.settings.keys import refuse_unknown

_REASONS: dict[str, Callable[[Mapping[str, Any]], str]] = {
    "greater_than": lambda ctx: f"it must be greater than {number(ctx['gt'])}",
    "greater_than_equal": lambda ctx: f"it must be at least {number(ctx['ge'])}",
    "less_than_equal": lambda ctx: f"it must be at most {number(ctx['le'])}",
    "finite_number": lambda _: "it must be a finite number",
    "float_type": lambda _: "it must be a number",
    "int_type": lambda _: "it must be a whole number",
    "bool_type": lambda _: "it must be true or false, without quotes",
    "list_type": lambda _: "it must be a list in brackets",
    "too_short": lambda _: "it must not be empty",
    "too_long": lambda ctx: f"it must have at most {ctx['max_length']} parts",
    "string_type": lambda _: "it must be text in quotes",
    "string_too_short": lambda _: "it must not be empty",
    "string_too_long": lambda ctx: f"it must be at most {ctx['max_length']} characters long",
    "literal_error": lambda ctx: f"it must be {ctx['expected'].replace(chr(39), chr(34))}",
}


def read_part(
    place: Place, raw: Mapping[str, object], part: type[TableT], *, excused: frozenset[str] = frozenset()
) -> TableT | None:
    """Return the values of `part` found in `raw`, or refuse what is wrong with them and return None.

    Args:
        place: The table that `raw` is.
        raw: The table as read; keys that `part` doesn't have are not looked at.
        part: The model.
        excused: Keys whose absence has been explained already.
    """
    known = {key: value for key, value in raw.items() if key in part.model_fields}
    try:
        return part.model_validate(known)
    except ValidationError as error:
        for fault in error.errors(include_url=False):
            _refuse(place, part, fault, excused)
        return None


def read_table(
    place: Place,
    raw: Mapping[str, object],
    key: str,
    table: type[TableT],
    *,
    excused: frozenset[str] = frozenset(),
) -> TableT | None:
    """Return the table `key` of `raw`, or refuse what is wrong with it and return None.

    Args:
        place: The table that `raw` is.
        raw: The table as read.
        key: A table in it; one that needs no key may be absent.
        table: The model.
        excused: Keys of `raw` whose absence has been explained already.
    """
    here = place.inside(key)
    needs = [name for name, field in table.model_fields.items() if field.is_required()]
    if needs and key not in raw:
        if key not in excused:
            here.refuse("the table is missing", f"add {here.table} with {listed(needs)}")
        return None
    values = sub_table(place, raw, key)
    if values is None:
        return None
    return read_part(here, values, table, excused=refuse_unknown(here, values, table))


def sub_table(
    place: Place, raw: Mapping[str, object], key: str, *, tell: bool = True
) -> dict[str, object] | None:
    """Return the table `key` of `raw`, empty when it isn't there; refuse what is none, unless told before."""
    here = place.inside(key)
    value = raw.get(key, {})
    if not isinstance(value, dict):
        if tell:
            place.refuse(f"{key} = {shown(value)} must be a table", f"write it as {here.table}")
        return None
    return value


def wanted(field: FieldInfo) -> str:
    """Return a field's description as the end of a sentence, with its range."""
    assert field.description, "every setting is described"
    words = field.description.rstrip(".")
    words = words if words[:2].isupper() or words[:1] == '"' else words[:1].lower() + words[1:]
    low = next((number(float(str(m.ge))) for m in field.metadata if isinstance(m, Ge)), None)
    low = next((f"above {number(float(str(m.gt)))}" for m in field.metadata if isinstance(m, Gt)), low)
    high = next((number(float(str(m.le))) for m in field.metadata if isinstance(m, Le)), None)
    return f"{words} ({low} to {high})" if low and high else words


def _refuse(place: Place, part: type[Table], fault: ErrorDetails, excused: frozenset[str]) -> None:
    key = str(fault["loc"][0])
    field = part.model_fields[key]
    if fault["type"] == "missing":
        if key not in excused:
            place.refuse(f"{key} is missing", f"add {key}: {wanted(field)}")
        return
    context = fault.get("ctx", {})
    own = context.get("error")
    if isinstance(own, RefusedValueError):
        reason, remedy = own.reason, own.remedy
    else:
        tell = _REASONS.get(fault["type"])
        reason = tell(context) if tell else fault["msg"]
        remedy = f"give {key}: {wanted(field)}"
    place.refuse(f"{shown_key(key)} = {shown(fault['input'])}: {reason}", remedy)
