"""The completion scripts, read by the shells themselves where they are on this machine."""

import shutil
import subprocess

import pytest

from bridge.cli.completion import bash, branches, fish, zsh
from bridge.cli.main import COMMANDS, main, whole_parser

TREE = tuple(branches(whole_parser(), "hembar"))


def completed(*words: str) -> list[str]:
    """Return what bash offers for the last of the words."""
    program = shutil.which("bash")
    if program is None:
        pytest.skip("no bash on this machine")
    script = f"""{bash(TREE)}
COMP_WORDS=("$@")
COMP_CWORD=$(($# - 1))
_hembar
printf '%s\\n' "${{COMPREPLY[@]}}"
"""
    run = subprocess.run(
        [program, "--norc", "-c", script, "bash", *words], capture_output=True, text=True, check=True
    )
    assert run.stderr == ""
    return run.stdout.split()


def test_bash_completes_a_command() -> None:
    assert completed("hembar", "mo") == ["move"]
    assert set(completed("hembar", "")) >= {name for name, _, _ in COMMANDS}


def test_bash_completes_below_a_command() -> None:
    assert completed("hembar", "calc", "ro") == ["roll"]
    assert completed("hembar", "pause", "o") == ["on", "off"]
    assert completed("hembar", "confirm", "study", "l") == ["lower"]


def test_bash_completes_options_of_the_command_at_hand() -> None:
    assert completed("hembar", "move", "study", "--w") == ["--wait"]
    assert completed("hembar", "status", "--js") == ["--json"]
    assert completed("hembar", "status", "--w") == []


@pytest.mark.parametrize(("shell", "write"), [("bash", bash), ("zsh", zsh), ("fish", fish)])
def test_each_script_is_sound_to_its_shell_and_is_what_the_command_prints(
    shell: str, write: object, capsys: pytest.CaptureFixture[str]
) -> None:
    assert callable(write)
    script = write(TREE)
    assert main(["completion", shell]) == 0
    assert capsys.readouterr().out == f"{script}\n"
    for name, _, _ in COMMANDS:
        assert f"hembar {name}" in script
    program = shutil.which(shell)
    if program is not None:
        run = subprocess.run([program, "-n"], input=script, capture_output=True, text=True, check=False)
        assert (run.returncode, run.stderr) == (0, "")


def test_fish_completes_a_command() -> None:
    program = shutil.which("fish")
    if program is None:
        pytest.skip("no fish on this machine")
    script = f"{fish(TREE)}\ncomplete -C 'hembar mo'\ncomplete -C 'hembar pause o'"
    run = subprocess.run([program, "--no-config"], input=script, capture_output=True, text=True, check=True)
    assert [line.split("\t")[0] for line in run.stdout.splitlines()] == ["move", "off", "on"]


def test_another_shell_is_refused() -> None:
    assert main(["completion", "csh"]) == 2
