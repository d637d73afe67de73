"""Modules that have a name are found, in the order of their files; two of one name are not let pass."""

from importlib import import_module
from pathlib import Path
from types import ModuleType

import pytest

from bridge.core.found import found_in


def shelf(folder: Path, monkeypatch: pytest.MonkeyPatch, **files: str) -> ModuleType:
    package = folder / folder.name.replace("-", "_")
    package.mkdir()
    for name, text in {"__init__": "", **files}.items():
        (package / f"{name}.py").write_text(text)
    monkeypatch.syspath_prepend(folder)
    return import_module(package.name)


def test_each_file_that_has_a_name_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = shelf(tmp_path, monkeypatch, second='NAME = "a"', first='NAME = "z"', helper="")
    found = found_in(package, lambda module: module.__name__)
    assert list(found.items()) == [("z", f"{package.__name__}.first"), ("a", f"{package.__name__}.second")]


def test_two_files_of_one_name_are_a_fault_of_ours(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = shelf(tmp_path, monkeypatch, one='NAME = "a"', other='NAME = "a"')
    with pytest.raises(AssertionError, match="have one name"):
        found_in(package, lambda module: module)
