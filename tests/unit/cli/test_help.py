"""The help of every command: an example that is this command, and lines that fit a terminal."""

import re

import pytest

from bridge.cli.completion import branches
from bridge.cli.main import main, whole_parser

PATHS = [branch.path for branch in branches(whole_parser(), "hembar")]
WITHOUT_JSON = {
    "commission",  # a dialogue
    "calc",  # its calculators have it
    "completion",  # prints a script
    "demo",  # tells a story
    "run",  # logs JSON with --log-json
    "schema",  # prints JSON
    "simulate-boards",  # stands for boards
}


def help_of(path: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setenv("COLUMNS", "80")
    assert main([*path.split()[1:], "--help"]) == 0
    return capsys.readouterr().out


@pytest.mark.parametrize("path", PATHS[1:])
def test_the_help_of_each_command_has_an_example_of_it(
    path: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    shown = help_of(path, capsys, monkeypatch)
    _, _, examples = shown.partition("xample")
    assert re.search(rf"^  {path} \S|^  {path}$", examples, re.MULTILINE), shown


def test_the_help_of_all_names_each_command(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    shown = help_of("hembar", capsys, monkeypatch)
    for path in PATHS[1:]:
        assert path.split()[1] in shown


@pytest.mark.parametrize("path", [path for path in PATHS[1:] if path.split()[1] not in WITHOUT_JSON])
def test_each_command_that_answers_answers_in_json_too(
    path: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "--json" in help_of(path, capsys, monkeypatch)
