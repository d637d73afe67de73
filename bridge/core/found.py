"""Files that are found by themselves: each module of a package that says what it is called, as `NAME`."""

from __future__ import annotations

import pkgutil
from collections.abc import Callable, Mapping
from importlib import import_module
from types import MappingProxyType, ModuleType
from typing import TypeVar

Thing = TypeVar("Thing")


def found_in(package: ModuleType, made: Callable[[ModuleType], Thing]) -> Mapping[str, Thing]:
    """Return what is made of each such module, by its name, in the order of the file names."""
    names = sorted(each.name for each in pkgutil.iter_modules(package.__path__))
    modules = [import_module(f"{package.__name__}.{name}") for name in names]
    named = [module for module in modules if hasattr(module, "NAME")]
    found = {str(module.NAME): made(module) for module in named}
    assert len(found) == len(named), f"two files of {package.__name__} have one name"
    return MappingProxyType(found)
