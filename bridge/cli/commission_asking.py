"""Questions to a person in a terminal, or to a file of answers when it is to go by itself.

A file of answers is TOML: the key of a question, and a text or a list of texts that are used up in turn.
"""

from __future__ import annotations

import shutil
import sys
import textwrap
import tomllib
from collections import deque
from collections.abc import Iterable
from pathlib import Path

from bridge.core.commissioning.state import Question
from bridge.core.errors import RequestError

WIDTH_MOST = 100


def read_answers(path: Path | None, given: Iterable[str]) -> dict[str, deque[str]]:
    """Return the answers of a file, then those of the command line (KEY=TEXT), by key.

    Raises:
        RequestError: the file can't be read, or an answer has no key.
    """
    found: dict[str, deque[str]] = {}
    if path is not None:
        try:
            said = tomllib.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError) as error:
            raise RequestError(
                where=f"--answers {path}",
                problem=str(error),
                remedy="give a TOML file with a text for each key",
            ) from error
        for key, value in said.items():
            found[key] = deque(str(each) for each in (value if isinstance(value, list) else [value]))
    for each in given:
        key, sign, text = each.partition("=")
        if not sign:
            raise RequestError(
                where=f"--answer {each!r}", problem="it has no =", remedy="write it like --answer drop=1800"
            )
        found.setdefault(key.strip(), deque()).append(text.strip())
    return found


class Asker:
    """Asks; what the answers hold is not asked."""

    def __init__(self, answers: dict[str, deque[str]]) -> None:
        self._answers = answers
        self._last: tuple[str, tuple[str, ...]] = ("", ())

    def ask(self, question: Question) -> str:
        """Return the answer to a question, its default for an empty one; `quit` at the end of the input.

        Raises:
            RequestError: there is neither an answer nor somebody to ask.
        """
        print()
        self._show(question)
        default = "" if question.default is None else f", Enter: {question.default}"
        prompt = f"({question.key}) [{question.hint}{default}] > "
        waiting = self._answers.get(question.key)
        if waiting:
            text = waiting.popleft()
            print(f"{prompt}{text}", flush=True)
        elif sys.stdin.isatty():
            try:
                text = input(prompt).strip()
            except EOFError:
                text = "quit"
        else:
            raise RequestError(
                where=f"question {question.key}",
                problem="there is nobody to ask here, and no answer left for it",
                remedy=f"run it in a terminal, or give --answer {question.key}=...; it goes on where it was",
            )
        return text or question.default or ""

    def _show(self, question: Question) -> None:
        """Print what leads to a question, of one that is asked again only what is new."""
        key, shown = self._last
        columns = min(WIDTH_MOST, shutil.get_terminal_size((WIDTH_MOST, 24)).columns)
        for line in question.text:
            if key == question.key and line in shown:
                continue
            indent = " " * (len(line) - len(line.lstrip()))
            hang = indent + ("  " if line.lstrip().startswith("- ") else "")
            lines = textwrap.wrap(line.strip(), columns, initial_indent=indent, subsequent_indent=hang)
            print("\n".join(lines))
        self._last = (question.key, question.text)

    def agreed(self, key: str, *text: str) -> bool:
        """Return whether the person says yes, asked until it is yes or no."""
        while True:
            word = self.ask(Question(key=key, text=text, hint="yes / no", default="yes")).lower()
            if word in ("yes", "y"):
                return True
            if word in ("no", "n", "quit"):
                return False
