"""`hembar completion`: a script for the shell that completes commands, options and fixed words.

The scripts are made from the parsers themselves and ask nothing while a person types.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from bridge.cli.parser import HelpFormatter, Parser

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers

EXAMPLE = (
    "Examples:\n"
    "  hembar completion bash > ~/.local/share/bash-completion/completions/hembar\n"
    "  hembar completion zsh > ~/.zfunc/_hembar      # a folder that is in fpath\n"
    "  hembar completion fish > ~/.config/fish/completions/hembar.fish"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Branch:
    """One command.

    Attributes:
        path: The words that lead there: `hembar calc roll`.
        words: What may come next that is no option, each with its help.
        options: The long options, each with its help.
    """

    path: str
    words: tuple[tuple[str, str], ...]
    options: tuple[tuple[str, str], ...]

    @property
    def all(self) -> tuple[tuple[str, str], ...]:
        """Everything that may come next."""
        return (*self.words, *self.options)


def add_command(subparsers: Subparsers) -> None:
    """Add `completion` to the commands."""
    parser = subparsers.add_parser(
        "completion",
        help="print a script that completes this command in your shell",
        description="Prints a script for your shell: with it, Tab completes commands and options.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("shell", choices=tuple(SCRIPTS), help="the shell that is to read it")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the script."""
    from bridge.cli.main import whole_parser  # noqa: PLC0415  it imports this module

    print(SCRIPTS[args.shell](tuple(branches(whole_parser(), "hembar"))))
    return 0


def branches(parser: argparse.ArgumentParser, path: str) -> Iterator[Branch]:
    """Yield a parser's branch and those below it, whatever is still to be built included."""
    if isinstance(parser, Parser) and parser.build is not None:
        build, parser.build = parser.build, None
        build(None)
    words: list[tuple[str, str]] = []
    options: list[tuple[str, str]] = []
    below: list[tuple[str, argparse.ArgumentParser]] = []
    for action in parser._actions:  # noqa: SLF001  argparse shows its tree nowhere else
        if isinstance(action, argparse._SubParsersAction):  # noqa: SLF001  as above
            helps = {choice.dest: _one_line(choice.help) for choice in action._choices_actions}  # noqa: SLF001
            words += [(name, helps.get(name, "")) for name in action.choices]
            below += list(action.choices.items())
        elif action.option_strings:
            options += [(name, _one_line(action.help)) for name in action.option_strings if name[:2] == "--"]
        elif action.choices is not None:
            words += [(str(choice), "") for choice in action.choices]
    yield Branch(path=path, words=tuple(words), options=tuple(options))
    for name, inner in below:
        yield from branches(inner, f"{path} {name}")


def _one_line(help_text: str | None) -> str:
    return " ".join((help_text or "").split())


def bash(tree: tuple[Branch, ...]) -> str:
    """Return the script for bash."""
    paths = "|".join(f'"{branch.path}"' for branch in tree[1:])
    cases = "\n".join(
        f'        "{branch.path}") words="{" ".join(word for word, _ in branch.all)}" ;;' for branch in tree
    )
    return f"""# bash completion for hembar
_hembar() {{
    local path=hembar words="" index
    for ((index = 1; index < COMP_CWORD; index++)); do
        case "$path ${{COMP_WORDS[index]}}" in
            {paths}) path="$path ${{COMP_WORDS[index]}}" ;;
        esac
    done
    case "$path" in
{cases}
    esac
    COMPREPLY=($(compgen -W "$words" -- "${{COMP_WORDS[COMP_CWORD]}}"))
}}
complete -o default -F _hembar hembar"""


def zsh(tree: tuple[Branch, ...]) -> str:
    """Return the script for zsh."""
    paths = "|".join(_quoted(branch.path) for branch in tree[1:])
    cases = "\n".join(
        f"        {_quoted(branch.path)}) next=({' '.join(_described(*each) for each in branch.all)}) ;;"
        for branch in tree
    )
    return f"""#compdef hembar
_hembar() {{
    local branch=hembar index
    local -a next
    for ((index = 2; index < CURRENT; index++)); do
        case "$branch $words[index]" in
            ({paths}) branch="$branch $words[index]" ;;
        esac
    done
    case "$branch" in
{cases}
    esac
    _describe hembar next || _files
}}
if [ "$funcstack[1]" = "_hembar" ]; then _hembar "$@"; else compdef _hembar hembar; fi"""


def fish(tree: tuple[Branch, ...]) -> str:
    """Return the script for fish."""
    paths = " ".join(_quoted(branch.path) for branch in tree[1:])
    lines = [
        "# fish completion for hembar",
        "function __hembar_branch",
        "    set -l branch hembar",
        "    for word in (commandline -opc)[2..-1]",
        '        contains -- "$branch $word" ' + paths + '; and set branch "$branch $word"',
        "    end",
        "    echo $branch",
        "end",
    ]
    for branch in tree:
        condition = f'test (__hembar_branch) = "{branch.path}"'
        here = f"complete -c hembar -n {_quoted(condition)}"
        lines += [f"{here} -a {_quoted(word)} -d {_quoted(said)}" for word, said in branch.words]
        lines += [f"{here} -l {name[2:]} -d {_quoted(said)}" for name, said in branch.options]
    return "\n".join(lines)


def _quoted(text: str) -> str:
    """Quote for zsh and fish alike: a quote inside is closed, escaped, opened again."""
    return "'" + text.replace("\\", "").replace("'", "'\\''") + "'"


def _described(word: str, said: str) -> str:
    return _quoted(f"{word}:{said}" if said else word)


SCRIPTS: dict[str, Callable[[tuple[Branch, ...]], str]] = {"bash": bash, "zsh": zsh, "fish": fish}
