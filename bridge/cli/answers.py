"""What every calculator shares: reading numbers and times strictly, refusing, printing one answer."""

import argparse
import json
import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from bridge.cli.parser import HelpFormatter
from bridge.core.errors import RequestError

if TYPE_CHECKING:
    Subparsers = argparse._SubParsersAction[argparse.ArgumentParser]  # noqa: SLF001  argparse names it only so

Row = tuple[str, str, str]
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One result, for people and for programs; notes are sentences under the table."""

    sections: Sequence[tuple[str, Sequence[Row]]]
    document: dict[str, Any]
    notes: Sequence[str] = ()


def command(
    subparsers: "Subparsers",
    name: str,
    compute: Callable[[argparse.Namespace], Answer],
    *,
    what: str,
    example: str,
) -> argparse.ArgumentParser:
    parser = subparsers.add_parser(
        name,
        help=what,
        description=f"{what[0].upper()}{what[1:]}.",
        epilog=f"Example:\n  hembar calc {name} {example}",
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")

    def run(args: argparse.Namespace) -> int:
        answer = compute(args)
        print(json.dumps(answer.document, allow_nan=False) if args.json else table(answer))
        return 0

    parser.set_defaults(run=run)
    return parser


def table(answer: Answer) -> str:
    """Return an answer as people read it."""
    rows = [row for _, section in answer.sections for row in section]
    label_width = max(len(label) for label, _, _ in rows)
    value_width = max(len(value) for _, value, _ in rows)
    lines: list[str] = []
    for title, section in answer.sections:
        lines += ["", title] if lines else [title]
        for label, value, remark in section:
            lines.append(f"  {label:<{label_width}}  {value:>{value_width}}  {remark}".rstrip())
    for note in answer.notes:
        lines += ["", note]
    return "\n".join(lines)


def number(text: str) -> float:
    """Read a plain decimal number; NaN, infinity, underscores and foreign digits are refused."""
    value = float(text) if _NUMBER.fullmatch(text) else math.nan
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"{text!r} is not a number; write it like 51.5, with a point")
    return value


def seconds(text: str) -> float:
    """Read a length of time in seconds, above 0."""
    value = number(text)
    if value <= 0:
        raise argparse.ArgumentTypeError(f"{text!r} is no length of time; give seconds, more than 0")
    return value


def whole_number(text: str) -> int:
    if not re.fullmatch(r"\d{1,9}", text, re.ASCII):
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number; write it like 2026")
    return int(text)


def instant(text: str) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"{text!r} is not a time; write it like 2026-07-15T17:45:00+02:00"
        ) from None


def calendar_date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a date; write it like 2026-07-15") from None


def time_zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise argparse.ArgumentTypeError(
            f"{name!r} is not a time zone; name one of the IANA database, like Europe/Berlin"
        ) from None


def option(name: str) -> str:
    return "--" + name.replace("_", "-")


def given(args: argparse.Namespace, names: Sequence[str]) -> list[str]:
    return [name for name in names if getattr(args, name) is not None]


def need(args: argparse.Namespace, *names: str) -> None:
    missing = [option(name) for name in names if getattr(args, name) is None]
    if missing:
        raise RequestError(
            where=" and ".join(missing),
            problem="missing"
            if len(missing) == 1
            else "both missing"
            if len(missing) == 2
            else "all missing",
            remedy="add it; --help shows an example"
            if len(missing) == 1
            else "add them; --help shows an example",
        )
