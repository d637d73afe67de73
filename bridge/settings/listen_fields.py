"""The values that only a [[listen]] table has: strangers' topics, JSON pointers, the owner's words."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import AfterValidator, Field, PlainValidator, WithJsonSchema

from bridge.adapters.broker.listen import is_pointer, word_means
from bridge.core.events import Button
from bridge.settings.faults import RefusedValueError, quoted, shown

WORDS_MAX = 100
WORD_BYTES_MAX = 120


def _heard_topic(value: str) -> str:
    """Strangers choose these topics, so blanks and empty levels are theirs to have."""
    if not value.isprintable() or any(c in value for c in "#+") or value.startswith("$"):
        raise RefusedValueError(
            "it must be one topic without wildcards or a leading $",
            "name the one topic that is published; a wildcard would let any other one move the shade",
        )
    return value


def _pointer(value: str) -> str:
    if not is_pointer(value):
        raise RefusedValueError(
            "it is no JSON pointer (RFC 6901)",
            'write "/position", or "/rooms/0/level"; a / in a key is ~1 and a ~ is ~0',
        )
    return value


def _words(value: object) -> dict[str, Any]:
    if not isinstance(value, dict) or not 0 < len(value) <= WORDS_MAX:
        raise RefusedValueError(
            f"it must be a table of 1 to {WORDS_MAX} words",
            'write it like { "tea time" = 40, "halt" = "stop" }',
        )
    for word, meaning in value.items():
        if not word or not word.isprintable() or len(word.encode()) > WORD_BYTES_MAX:
            raise RefusedValueError(
                f"{quoted(word)} is no word of 1 to {WORD_BYTES_MAX} visible bytes",
                "write it as it is published",
            )
        if word_means(meaning) is None:
            raise RefusedValueError(
                f"{quoted(word)} means {shown(meaning)}",
                'let each word mean a whole percent open from 0 to 100, or "up", "stop" or "down"',
            )
    return value


HeardTopic = Annotated[str, Field(min_length=1, max_length=200), AfterValidator(_heard_topic)]
Pointer = Annotated[str, Field(max_length=200), AfterValidator(_pointer)]
Words = Annotated[
    dict[str, Any],
    PlainValidator(_words),
    WithJsonSchema(
        {
            "type": "object",
            "minProperties": 1,
            "maxProperties": WORDS_MAX,
            "additionalProperties": {
                "anyOf": [
                    {"type": "integer", "minimum": 0, "maximum": 100},
                    {"enum": [button.value for button in Button]},
                ]
            },
        }
    ),
]
