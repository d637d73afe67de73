"""Finds the rules: every file of this folder that has `NAME`, `Params` and `demand`.

A file may also name the kinds of readings whose news it answers at once, as `AT_ONCE`, and what it is of no
use without, as `NEEDS`: one of each tuple of kinds of sensors, or "window".
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from types import ModuleType

import bridge.core.rules
from bridge.core.found import found_in
from bridge.core.rules.demand import Demand
from bridge.core.rules.view import View


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A rule's file.

    Attributes:
        name: As the settings call it.
        params: The type of its parameters.
        demand: Its opinion, from a view and such parameters.
        at_once: Kinds of readings that it answers at once.
        needs: One of each must be there: kinds of sensors, or "window".
    """

    name: str
    params: type
    demand: Callable[[View, object], Demand | None]
    at_once: frozenset[str]
    needs: tuple[tuple[str, ...], ...]


@cache
def rules() -> Mapping[str, Rule]:
    """Return every rule by its name, in the order of the file names."""
    return found_in(bridge.core.rules, _rule)


def _rule(module: ModuleType) -> Rule:
    return Rule(
        name=module.NAME,
        params=module.Params,
        demand=module.demand,
        at_once=frozenset(getattr(module, "AT_ONCE", ())),
        needs=getattr(module, "NEEDS", ()),
    )
