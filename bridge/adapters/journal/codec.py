"""Events, decisions and the whole house as JSON bytes, and back.

The same value always gives the same bytes, so that a replay can be compared byte for byte. Fractions are
exact text, instants ISO 8601 in UTC; an infinite number stands as `Infinity`. Derived fields are not
written: they follow from their inputs. Files, checksums and time are not known here.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, datetime, time
from fractions import Fraction
from functools import cache
from typing import Any, get_args

from cattrs import BaseConverter, Converter
from cattrs.gen import make_dict_structure_fn, make_dict_unstructure_fn, override
from cattrs.preconf.json import configure_converter

from bridge.core.events import Event
from bridge.core.outcome import Decisions
from bridge.core.rules.catalogue import rules
from bridge.core.state import House, kept
from bridge.core.surroundings import RuleChoice

_dumps = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode


def encode_event(event: Event) -> bytes:
    return _dumps(_converter().unstructure(event)).encode()


def encode_decisions(decisions: Decisions) -> bytes:
    return _dumps(_converter().unstructure(decisions)).encode()


def encode_house(house: House) -> bytes:
    return _dumps(_converter().unstructure(house)).encode()


def decode_event(data: bytes) -> Event:
    """Raise ValueError when this is no event that this version knows."""
    event: Event = _value(data, Event)
    return event


def decode_decisions(data: bytes) -> Decisions:
    """Raise ValueError when these are no decisions that this version knows."""
    decisions: Decisions = _value(data, Decisions)
    return decisions


def decode_house(data: bytes) -> House:
    """Raise ValueError when this is no house that this version knows."""
    house: House = _value(data, House)
    return house


def _value(data: bytes, kind: Any) -> Any:
    try:
        return _converter().structure(json.loads(data), kind)
    except Exception as error:
        # Whatever a dataclass finds wrong with old or strange numbers, the caller has one way to go on.
        raise ValueError(f"not readable by this version: {type(error).__name__}: {error}") from error


@cache
def _converter() -> Converter:
    converter = Converter(detailed_validation=False)
    configure_converter(converter)
    converter.register_unstructure_hook(float, float)  # an int there would come back as other bytes
    converter.register_unstructure_hook(Fraction, str)
    converter.register_structure_hook(Fraction, lambda text, _: Fraction(text))
    converter.register_unstructure_hook(datetime, _instant)
    converter.register_structure_hook(datetime, lambda text, _: datetime.fromisoformat(text))
    converter.register_unstructure_hook(time, time.isoformat)
    converter.register_structure_hook(time, lambda text, _: time.fromisoformat(text))
    converter.register_structure_hook_factory(_has_kinds, _by_kind)
    converter.register_unstructure_hook(RuleChoice, lambda choice: _rule_out(choice, converter))
    converter.register_structure_hook(RuleChoice, lambda said, _: _rule_in(said, converter))
    left = override(omit=True)  # the agenda follows from all else
    converter.register_unstructure_hook(House, make_dict_unstructure_fn(House, converter, agenda=left))
    house = make_dict_structure_fn(House, converter, agenda=left, _cattrs_detailed_validation=False)
    converter.register_structure_hook(House, lambda said, kind: _keeping(house(said, kind)))
    return converter


def _keeping(house: House) -> House:
    """Return the house with its shades as they are kept at work."""
    return replace(house, shades=kept(house))


def _rule_out(choice: RuleChoice, converter: Converter) -> dict[str, Any]:
    """A rule's parameters are of its own file's type, which follows from its name."""
    return {"rule": choice.rule, "params": converter.unstructure(choice.params)}


def _rule_in(said: Any, converter: Converter) -> RuleChoice:
    """A rule that this version does not have, or not like that, is kept by name and asks nothing."""
    rule = rules().get(said["rule"])
    if rule is None or said["params"] is None:
        return RuleChoice(rule=said["rule"], params=None)
    try:
        params: object = converter.structure(said["params"], rule.params)
    except (KeyError, TypeError, ValueError):
        return RuleChoice(rule=said["rule"], params=None)
    return RuleChoice(rule=said["rule"], params=params)


def _has_kinds(union: Any) -> bool:
    return bool(get_args(union)) and all(_kind(member) is not None for member in get_args(union))


def _kind(member: Any) -> object:
    known = fields(member) if is_dataclass(member) else ()
    return next((part.default for part in known if part.name == "kind"), None)


def _by_kind(union: Any, converter: BaseConverter) -> Callable[[Any, Any], Any]:
    members = {_kind(member): member for member in get_args(union)}
    hooks = {kind: converter.get_structure_hook(member) for kind, member in members.items()}
    return lambda value, _: hooks[value["kind"]](value, members[value["kind"]])


def _instant(at: datetime) -> str:
    assert at.tzinfo is not None, "an instant without a zone means another one on another machine"
    return at.astimezone(UTC).isoformat()
