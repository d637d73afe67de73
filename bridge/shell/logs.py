"""Structured lines on standard error: fixed names, everything that varies in fields.

A payload is cut at 200 bytes and a password is never given to a logger at all.
"""

from __future__ import annotations

import logging
import sys
from datetime import datetime
from typing import TextIO

import structlog
from structlog.typing import FilteringBoundLogger

from bridge.core.outcome import Field, Level, Note

SHOWN_BYTES = 200
_LEVELS = {
    Level.DEBUG: logging.DEBUG,
    Level.INFO: logging.INFO,
    Level.WARNING: logging.WARNING,
    Level.ERROR: logging.ERROR,
}


def begin(*, verbose: bool, as_json: bool, to: TextIO = sys.stderr) -> FilteringBoundLogger:
    """Set structlog up for this process and return the logger.

    Args:
        verbose: Show debug lines too.
        as_json: One JSON object a line instead of text for people.
        to: Where the lines go.
    """
    last = (
        structlog.processors.JSONRenderer()
        if as_json
        else structlog.dev.ConsoleRenderer(colors=to.isatty(), pad_event_to=28)
    )
    structlog.configure(
        processors=[
            structlog.processors.add_log_level,
            structlog.processors.MaybeTimeStamper(fmt="iso", utc=True),
            last,
        ],
        wrapper_class=structlog.make_filtering_bound_logger(logging.DEBUG if verbose else logging.INFO),
        logger_factory=structlog.PrintLoggerFactory(file=to),
        cache_logger_on_first_use=False,
    )
    # Bound once: the lazy one would be made anew for every line.
    logger: FilteringBoundLogger = structlog.get_logger().bind()
    return logger


def write(logger: FilteringBoundLogger, note: Note, *, at: datetime) -> None:
    """Write one note of the core's as one line, stamped with the aware UTC of the event that led to it."""
    fields: dict[str, Field] = {**dict(note.fields), "timestamp": f"{at:%Y-%m-%dT%H:%M:%S.%fZ}"}
    if note.shade is not None:
        fields["shade"] = note.shade
    if note.text:
        fields["text"] = note.text
    logger.log(_LEVELS[note.level], note.name, **fields)


def shown(payload: bytes) -> str:
    """Return a payload fit for a log line."""
    cut = payload[:SHOWN_BYTES].decode("utf-8", "backslashreplace")
    return cut if len(payload) <= SHOWN_BYTES else f"{cut}… ({len(payload)} bytes)"
