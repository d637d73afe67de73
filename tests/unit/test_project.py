import ast
import subprocess
import sys
import tomllib
from importlib.metadata import PackageNotFoundError, distribution, version
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

import bridge

ROOT = Path(__file__).parents[2]
SOURCES = sorted((ROOT / "bridge").rglob("*.py"))
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())

DEMO_COMMAND = "python3 -m venv .venv && .venv/bin/pip install -q '.[demo]' && .venv/bin/hembar demo"
TEST_COMMAND = (
    "python3 -m venv .venv && .venv/bin/pip install -q -e '.[tests]' && .venv/bin/python -m pytest -n auto"
)

ROOMS = {"adapters", "board", "cli", "core", "ports", "settings", "shell", "simulate"}
CORE_ROOMS = {"command", "commissioning", "plan", "position", "rules", "shade", "sun"}


def rooms_in(folder: Path) -> set[str]:
    found = {path.stem for path in folder.glob("*.py")} | {path.parent.name for path in folder.glob("*/*.py")}
    return found - {"__init__"}


def test_the_version_is_the_one_of_the_distribution() -> None:
    assert bridge.__version__ == version("hembar") == PROJECT["project"]["version"]


def test_the_package_has_no_other_names_by_surprise() -> None:
    with pytest.raises(AttributeError, match="no attribute 'no_such_name'"):
        _ = bridge.no_such_name


def test_the_rooms_are_the_designed_ones_and_all_have_a_place_among_the_layers() -> None:
    layers = PROJECT["tool"]["importlinter"]["contracts"][0]["layers"]

    assert rooms_in(ROOT / "bridge") <= ROOMS
    assert {layer.strip("()") for layer in layers} == ROOMS


def test_the_folders_of_the_core_are_the_designed_ones() -> None:
    assert {path.parent.name for path in (ROOT / "bridge/core").glob("*/*.py")} <= CORE_ROOMS


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_module_opens_with_at_most_twelve_lines_and_has_at_most_four_hundred(path: Path) -> None:
    text = path.read_text()
    opening = ast.get_docstring(ast.parse(text))

    assert opening, "the module says nothing of what it is for"
    assert len(opening.splitlines()) <= 12
    assert len(text.splitlines()) <= 400


@pytest.mark.parametrize("command", [DEMO_COMMAND, TEST_COMMAND])
def test_the_readme_prints_the_commands_that_are_tried(command: str) -> None:
    assert command in (ROOT / "README.md").read_text().splitlines()


def test_the_command_that_ci_runs_is_the_one_of_the_readme() -> None:
    assert TEST_COMMAND in (ROOT / ".ci/run").read_text()


@pytest.mark.parametrize(
    ("room", "code", "allowed"),
    [
        ("core", "import time\n\nprint(time.time())\n", False),
        ("core", "import random\n\nprint(random.random())\n", False),
        ("simulate", "import random\n\nprint(random.uniform(0, 1))\n", False),
        ("simulate", "import random\n\nprint(random.Random(7).uniform(0, 1))\n", True),
        ("adapters", "from datetime import UTC, datetime\n\nprint(datetime.now(UTC))\n", False),
        ("shell", "from datetime import UTC, datetime\n\nprint(datetime.now(UTC))\n", True),
    ],
)
def test_only_the_shell_asks_a_clock_or_draws_without_a_seed(room: str, code: str, *, allowed: bool) -> None:
    ruff = [sys.executable, "-m", "ruff", "check", "--quiet", "--no-cache", "--select", "TID251"]
    done = subprocess.run(
        [*ruff, "--stdin-filename", f"bridge/{room}/example.py", "-"],
        input=code,
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=False,
    )

    assert done.returncode == (0 if allowed else 1), done.stdout + done.stderr


def pins() -> dict[str, str]:
    lines = (ROOT / ".ci/constraints.txt").read_text().splitlines()
    return {canonicalize_name(name): pin for name, _, pin in (line.partition("==") for line in lines[1:])}


def directly_wanted() -> list[Requirement]:
    project = PROJECT["project"]
    groups = [
        project["dependencies"],
        *project["optional-dependencies"].values(),
        PROJECT["build-system"]["requires"],
    ]
    return [Requirement(each) for group in groups for each in group if not each.startswith("hembar")]


def test_what_is_installed_together_has_a_pin_and_one_that_is_allowed() -> None:
    for each in directly_wanted():
        assert each.specifier.contains(pins()[canonicalize_name(each.name)]), each


def test_what_the_dependencies_bring_along_has_a_pin_too() -> None:
    waiting, seen = [each.name for each in directly_wanted()], set[str]()
    while waiting:
        name = canonicalize_name(waiting.pop())
        if name in seen:
            continue
        seen.add(name)
        try:
            brought = distribution(name).requires or []
        except PackageNotFoundError:
            continue  # not installed here: another extra, or another machine's
        waiting += [each.name for each in map(Requirement, brought) if wanted_here(each)]
    assert seen <= pins().keys(), seen - pins().keys()


def wanted_here(each: Requirement) -> bool:
    return each.marker is None or each.marker.evaluate({"extra": ""})
