"""`hembar why SHADE`: what moved it, or kept it, as it was written down when that was decided.

Reads the journal's own decisions and derives nothing again, so the answer is what the service acted on.
"""

from __future__ import annotations

import argparse
import json
import textwrap
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from bridge.cli.naming import named
from bridge.cli.parser import HelpFormatter
from bridge.cli.usual_place import USUALLY, journal_path, settings_path
from bridge.core.errors import ConfigError, RequestError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from bridge.adapters.journal.reading import Entry
    from bridge.cli.answers import Subparsers
    from bridge.core.outcome import Note
    from bridge.settings.plain import Settings

EXAMPLE = (
    "Examples:\n  hembar why study\n"
    "  hembar why study --journal /var/lib/hembar/journal.db --at 2026-06-20T15:30+02:00"
)
DECIDED = "rule.shade.decided"
# What moved a shade, ended or alarmed it; each has a sentence for people.
TOLD = ("request.accepted", "request.ended", "shade.retract.interrupted", "shade.retract.refused",
        "shade.moved.locally", "shade.reference.met")  # fmt: skip
LATEST = 3
WIDTH = 100


def add_command(subparsers: Subparsers) -> None:
    """Add `why` to the commands."""
    parser = subparsers.add_parser(
        "why",
        help="why a shade is where it is: the rule, those that lost, the next look",
        description="Says what the rules decided about a shade at a time, with the numbers they had then, "
        "which rules lost, and when the rules look next; and what else has moved it. Reads the journal only; "
        "the service may be running. Exit 0, 1 when nothing has been decided about it by then.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("shade", metavar="SHADE", help="its id, such as study")
    parser.add_argument("--at", metavar="TIME", help="ISO 8601 with an offset; now by default")
    where = parser.add_mutually_exclusive_group()
    where.add_argument(
        "--settings", metavar="FILE", type=Path, help=f"these name the journal; by default {USUALLY}"
    )
    where.add_argument("--journal", metavar="FILE", type=Path, help="the journal itself")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print what was decided; return 1 when nothing was."""
    from bridge.adapters.journal.reading import entries_until  # noqa: PLC0415  50 ms that others need not pay

    at = None if args.at is None else _time(args.at)
    journal = args.journal or _journal_of(settings_path(args.settings), args.shade)
    about = entries_until(journal, shade=args.shade, until=at)
    said = told(args.shade, about.entries, at or about.last_utc)
    zone = UTC if about.timezone is None else ZoneInfo(about.timezone)
    print(json.dumps(said, ensure_ascii=False) if args.json else "\n".join(in_words(said, zone)))
    return 0 if said["decided"] or said["events"] else 1


def _time(text: str) -> datetime:
    try:
        at = datetime.fromisoformat(text)
    except ValueError as error:
        raise _refused(text, "it is no ISO 8601 time") from error
    if at.tzinfo is None:
        raise _refused(text, "it has no offset from UTC")
    return at.astimezone(UTC)


def _refused(text: str, problem: str) -> RequestError:
    return RequestError(
        where="hembar why --at", problem=f"{text!a}: {problem}", remedy="write it like 2026-06-20T15:30+02:00"
    )


def _journal_of(path: Path, shade: str) -> Path:
    from bridge.settings.load import load  # noqa: PLC0415  heavy, and not always wanted

    settings: Settings = load(path)
    named(shade, {each.id: each for each in settings.house.shades}, among="these settings")
    journal = journal_path(settings)
    if journal is None:
        raise ConfigError(
            where=str(path), problem="it does not say where the journal is kept", remedy="give --journal FILE"
        )
    return journal


def told(shade: str, entries: Sequence[Entry], at: datetime | None) -> dict[str, Any]:
    """Return what is told of a shade from its events until a time, the newest last.

    Args:
        shade: Its id.
        entries: About the shade, from old to new.
        at: The time that was asked about, or of the last event; None without any.
    """
    decided = next((pair for pair in _notes(shade, reversed(entries)) if pair[1].name == DECIDED), None)
    events = [
        (entry, note) for entry, note in _notes(shade, entries) if note.name in TOLD and _sentence(note)
    ]
    return {
        "shade": shade,
        "at": None if at is None else at.isoformat(),
        "decided": None if decided is None else _decision(*decided, at),
        "events": [
            {"utc": entry.event.at.utc.isoformat(), "row": entry.row, "text": _sentence(note)}
            for entry, note in events[-LATEST:]
        ],
    }


def _notes(shade: str, entries: Iterable[Entry]) -> Iterator[tuple[Entry, Note]]:
    for entry in entries:
        for note in entry.decisions.notes:
            if note.shade == shade:
                yield entry, note


def _sentence(note: Note) -> str:
    fields = dict(note.fields)
    if note.name == "request.accepted":
        return f"{fields.get('want')} from {fields.get('source')} was taken up"
    return note.text


def _decision(entry: Entry, note: Note, at: datetime | None) -> dict[str, Any]:
    fields = {key: str(value) for key, value in note.fields}
    look = datetime.fromisoformat(fields["next_look"])
    every = timedelta(seconds=float(fields["every_s"]))
    return {
        "utc": entry.event.at.utc.isoformat(),
        "row": entry.row,
        "did": note.text,
        "rule": fields["rule"] or None,
        "why": fields["why"],
        "lost": _list(fields["lost"]),
        "also": _list(fields["also"]),
        "next_look": _after(look, at, every).isoformat(),
        "next_move": _next_move(fields, at),
    }


def _next_move(fields: dict[str, str], at: datetime | None) -> dict[str, Any] | None:
    """Return the next move of the plan; None when none was foreseen, or its time has passed."""
    # Older journals do not have it.
    when = fields.get("next_at", "")
    if not when or (at is not None and datetime.fromisoformat(when) < at):
        return None
    return {"utc": when, "open_pct": int(fields["next_pct"]), "rule": fields["next_rule"] or None}


def _list(text: str) -> list[str]:
    return text.split("\n") if text else []


def _after(look: datetime, at: datetime | None, every: timedelta) -> datetime:
    """Return the first look after the time that was asked about; looks are evenly spaced."""
    if at is None or at < look:
        return look
    return look + ((at - look) // every + 1) * every


def in_words(said: dict[str, Any], zone: tzinfo) -> list[str]:
    """Return the lines for people, by the clocks of the house."""
    decided = said["decided"]
    if decided is None and not said["events"]:
        return [f"{said['shade']}: the journal has no decision about it by then"]
    lines = []
    if decided is not None:
        by = f" by the {decided['rule']} rule" if decided["rule"] else ""
        lines += [f"{said['shade']}: {decided['did']}{by}", *_wrapped(decided["why"])]
        lines += [line for each in decided["lost"] for line in _wrapped(f"lost: {each}")]
        lines += [line for each in decided["also"] for line in _wrapped(f"in agreement: {each}")]
        lines.append(f"  decided {_clock(decided['utc'], zone)} (event {decided['row']})")
        lines += _next_lines(decided, zone)
    for each in said["events"]:
        lines += _wrapped(f"{_clock(each['utc'], zone)}  {each['text']}")
    return lines


def _clock(utc: str, zone: tzinfo) -> str:
    """Return an instant as the clocks of the house show it, with their offset from UTC."""
    return f"{datetime.fromisoformat(utc).astimezone(zone):%Y-%m-%d %H:%M:%S %z}"


def _next_lines(decided: dict[str, Any], zone: tzinfo) -> list[str]:
    coming = decided["next_move"]
    lines = []
    if coming is not None:
        by = f" by the {coming['rule']} rule" if coming["rule"] else ""
        when = _clock(coming["utc"], zone)
        lines = _wrapped(f"next move {when}: to {coming['open_pct']} %{by}, if the sky does as foreseen")
    return [*lines, f"  next look {_clock(decided['next_look'], zone)}"]


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")
