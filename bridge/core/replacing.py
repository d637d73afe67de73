"""Frozen values made anew in a fraction of the usual time; every event makes dozens of them.

The `__init__` of a frozen dataclass sets each field by a call, and `dataclasses.replace` looks up the kind of
each field besides. Here the fields are filled in on a draft: an instance of a class with the same slots which
is not frozen, and which then becomes the wanted one by its class. Type checkers see the standard ones.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

__all__ = ["quick", "replace"]

if TYPE_CHECKING:
    from dataclasses import replace
    from typing import TypeVar

    _Kind = TypeVar("_Kind")

    def quick(kind: type[_Kind]) -> type[_Kind]:
        """Give a frozen dataclass with slots a quicker `__init__` that does the same."""
        return kind
else:
    from dataclasses import MISSING, fields
    from dataclasses import replace as standard_replace
    from functools import cache

    _HELD = object()

    def _written(kind, head, lines):
        """Return a function written out for the fields of a class, as dataclasses write theirs."""
        draft = type(kind.__name__, (), {"__slots__": tuple(each.name for each in fields(kind))})
        found = {"_draft": draft, "_kind": kind, "_held": _HELD, "_set": object.__setattr__}
        found |= {f"_{each.name}_": each.default for each in fields(kind)}
        found |= {f"_{each.name}_made": each.default_factory for each in fields(kind)}
        exec(f"def written({head}):\n" + "\n".join(f"    {line}" for line in lines), found)  # noqa: S102
        return found["written"]

    def quick(kind):
        """Give a frozen dataclass with slots a quicker `__init__` that does the same."""
        given, lines = [], ["_set(self, '__class__', _draft)"]
        for each in fields(kind):
            assert each.init, (kind, each.name)
            if each.default_factory is not MISSING:
                given.append(f"{each.name}=_held")
                lines.append(
                    f"self.{each.name} = _{each.name}_made() if {each.name} is _held else {each.name}"
                )
                continue
            given.append(each.name if each.default is MISSING else f"{each.name}=_{each.name}_")
            lines.append(f"self.{each.name} = {each.name}")
        lines.append("self.__class__ = _kind")
        if hasattr(kind, "__post_init__"):
            lines.append("self.__post_init__()")
        written = _written(kind, f"self, *, {', '.join(given)}", lines)
        written.__name__, written.__qualname__ = "__init__", f"{kind.__qualname__}.__init__"
        written.__annotations__ = kind.__init__.__annotations__
        kind.__init__ = written
        return kind

    @cache
    def _copier(kind):
        """Return what makes another `kind` of one."""
        derives = hasattr(kind, "__post_init__") or not all(each.init for each in fields(kind))
        if derives or kind.__bases__ != (object,) or "__slots__" not in kind.__dict__:
            return standard_replace
        names = [each.name for each in fields(kind)]
        lines = ["_made = _draft()"]
        lines += [f"_made.{name} = _value.{name} if {name} is _held else {name}" for name in names]
        lines += ["_made.__class__ = _kind", "return _made"]
        return _written(kind, f"_value, /, *, {', '.join(f'{name}=_held' for name in names)}", lines)

    def replace(value, /, **changes):
        """Return `value` with other values in the fields named."""
        return _copier(value.__class__)(value, **changes)
