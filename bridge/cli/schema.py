"""`hembar schema`: the JSON Schema of the settings file, for editors."""

from __future__ import annotations

import argparse
import json

from bridge.cli.parser import HelpFormatter


def add_command(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> None:  # argparse has no public name
    """Add `schema` to the commands."""
    parser = subparsers.add_parser(
        "schema",
        help="print the JSON Schema of the settings file, for editors",
        description="Prints the JSON Schema (draft 2020-12) of the settings file, units included. "
        "`hembar check` finds more than a schema can say.",
        epilog="Example:\n  hembar schema > hembar.schema.json",
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:  # noqa: ARG001 - every command takes them
    """Print the schema; return the exit code."""
    from bridge.settings.schema import settings_schema  # noqa: PLC0415 - other commands need not wait for pydantic

    print(json.dumps(settings_schema(), indent=2))
    return 0
