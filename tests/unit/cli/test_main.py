import argparse
import subprocess
import sys
from collections.abc import Callable
from types import ModuleType
from typing import Any

import pytest

from bridge.cli import main as cli
from bridge.core.errors import BridgeError, ConfigError, LinkError, RequestError

Raise = Callable[[BaseException], None]


@pytest.fixture
def command_raises(monkeypatch: pytest.MonkeyPatch) -> Raise:
    """Make `fail` the only command; it raises what the test gives it."""

    def arrange(error: BaseException) -> None:
        def run(args: argparse.Namespace) -> int:
            raise error

        def add_command(subparsers: Any) -> None:
            subparsers.add_parser("fail").set_defaults(run=run)

        module = ModuleType("bridge.cli.failing")
        vars(module)["add_command"] = add_command
        monkeypatch.setitem(sys.modules, "bridge.cli.failing", module)
        monkeypatch.setattr(cli, "COMMANDS", (("fail", "fails", "bridge.cli.failing"),))

    return arrange


@pytest.mark.parametrize(
    ("error", "code"), [(RequestError, 2), (LinkError, 69), (ConfigError, 78), (BridgeError, 1)]
)
def test_an_error_tells_where_what_and_the_remedy_and_sets_the_exit_code(
    error: type[BridgeError], code: int, command_raises: Raise, capsys: pytest.CaptureFixture[str]
) -> None:
    command_raises(error(where="shades.toml [study]", problem="drop is 0", remedy="measure it"))
    assert cli.main(["fail"]) == code
    assert capsys.readouterr() == ("", "shades.toml [study]: drop is 0\n  measure it\n")


def test_an_interrupt_ends_as_a_shell_reports_it(command_raises: Raise) -> None:
    command_raises(KeyboardInterrupt())
    assert cli.main(["fail"]) == 130


def test_without_a_command_the_help_is_shown_and_it_is_a_mistake(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main([]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    for name, help_line, _ in cli.COMMANDS:
        assert name in shown.err
        assert help_line.split()[0] in shown.err


def test_help_and_version_are_no_mistakes(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["--help"]) == 0
    assert "not a safety device" in capsys.readouterr().out
    assert cli.main(["--version"]) == 0
    assert capsys.readouterr().out.startswith("hembar ")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["frobnicate"], "hembar: argument COMMAND: invalid choice: 'frobnicate'"),
        (["calc", "nothing"], "hembar calc: argument CALCULATOR: invalid choice: 'nothing'"),
        (["calc"], "hembar calc: the following arguments are required: CALCULATOR"),
        (["calc", "move", "--nothing"], "hembar: unrecognized arguments: --nothing"),
        (["calc", "move", "--step", "9"], "hembar: unrecognized arguments: --step 9"),
    ],
)
def test_a_misspelt_command_line_says_where_help_is(
    words: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(words) == 2
    err = capsys.readouterr().err
    assert message in err
    assert "--help`" in err


def test_every_command_of_the_table_registers_itself(capsys: pytest.CaptureFixture[str]) -> None:
    for name, _, _ in cli.COMMANDS:
        assert cli.main([name, "--help"]) == 0
        assert f"usage: hembar {name}" in capsys.readouterr().out


def test_a_reader_that_leaves_is_no_traceback() -> None:
    code = "import sys; from bridge.cli.main import main; sys.exit(main())"
    words = ["calc", "move", "--steps", "9", "--top-pps", "9", "--ramp-pps2", "9"]
    with subprocess.Popen(
        [sys.executable, "-c", code, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait() == 141
