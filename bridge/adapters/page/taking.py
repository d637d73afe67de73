"""What is asked over HTTP becomes the same events as from anywhere else; the core decides about them."""

from __future__ import annotations

from typing import TypeVar

from pydantic import ValidationError

from bridge.adapters.doors import read_json
from bridge.adapters.page import words
from bridge.adapters.page.doorman import BODY_BYTES
from bridge.adapters.page.refusals import RefusalError, shown
from bridge.core.errors import LinkError
from bridge.core.events import Button, Nudge, Percent, Place, Press, Want

SOURCE = "the page"
WantedT = TypeVar("WantedT", bound=words.Wanted)


def read(body: bytes, kind: type[WantedT]) -> WantedT:
    """Return what a body asks for.

    Raises:
        RefusalError: it is not JSON, or not of this form.
    """
    try:
        value = read_json(body, where="the body", limit=BODY_BYTES)
    except LinkError as error:
        raise RefusalError(
            400, "not-json", error.problem, "send one JSON object", where="the body"
        ) from error
    try:
        return kind.model_validate(value)
    except ValidationError as error:
        fault = error.errors(include_url=False, include_context=False, include_input=False)[0]
        place = "/".join(str(part) for part in fault["loc"]) or "the body"
        problem = f"{shown(place)}: {fault['msg'].removeprefix('Value error, ')}"
        raise RefusalError(
            422,
            "wrong-values",
            problem,
            f"send {', '.join(kind.model_fields) or 'an empty object'} as /api/openapi.json describes it",
            where="the body",
        ) from error


def want_of(asked: words.AskWanted) -> Want:
    """Return what is wanted of a shade or a group."""
    if asked.open_pct is not None:
        return Percent(open_pct=asked.open_pct)
    if asked.nudge_pct is not None:
        return Nudge(by_pct=asked.nudge_pct)
    assert asked.button is not None, "the model has seen to it that one is given"
    return Press(button=Button(asked.button))


def place_of(asked: words.PlaceWanted) -> Place:
    """Return the limit that is meant."""
    return Place(asked.place)
