"""The argument parser of all commands: refusals name a remedy, and a branch is built when it is named."""

import argparse
from collections.abc import Callable, Sequence
from typing import NoReturn

from bridge.core.errors import RequestError


class HelpFormatter(argparse.HelpFormatter):
    """Wraps a description to the terminal and leaves an epilog of several lines as it is."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        return text if "\n" in text else super()._fill_text(text, width, indent)


class Parser(argparse.ArgumentParser):
    """An argument parser that may add its subcommands late, when it knows which one is wanted.

    Attributes:
        build: Called once with the name of the subcommand, or None, before the first parsing.
    """

    build: Callable[[str | None], None] | None = None

    def error(self, message: str) -> NoReturn:
        """Refuse the command line.

        Raises:
            RequestError: always.
        """
        raise RequestError(where=self.prog, problem=message, remedy=f"see `{self.prog} --help`")

    def parse_known_args(  # type: ignore[override]  # the overloads differ in types of namespaces that we lack
        self, args: Sequence[str] | None = None, namespace: argparse.Namespace | None = None
    ) -> tuple[argparse.Namespace, list[str]]:
        """Build the branch that is named, then parse."""
        if self.build is not None:
            build, self.build = self.build, None
            build(next((word for word in args or () if not word.startswith("-")), None))
        return super().parse_known_args(args, namespace)
