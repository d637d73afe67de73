"""Which bridge is in charge: one retained JSON message that names it and its term.

Topic: `<boards root>/claim`. Who gives way is decided in core; the boards refuse lower terms in any case.
"""

from __future__ import annotations

import json
from dataclasses import dataclass

from bridge.adapters.broker.messages import Incoming, Publication
from bridge.adapters.doors import read_json
from bridge.core.errors import LinkError

BYTES_MAX = 200
# A higher term would leave no room to outbid it within what the board contract can carry.
TERM_MAX = 2**31 - 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """A bridge, by the name of its run, and its term."""

    bridge: str
    term: int


def topic_of(boards_root: str) -> str:
    """Return where the bridge in charge names itself."""
    return f"{boards_root}/claim"


def written(claim: Claim, *, boards_root: str) -> Publication:
    """Return what claims the house."""
    payload = json.dumps({"bridge": claim.bridge, "term": claim.term}).encode()
    return Publication(topic=topic_of(boards_root), payload=payload, qos=1, retain=True)


def read(message: Incoming) -> Claim | None:
    """Return the claim in a message; None when it is none."""
    try:
        said = read_json(message.payload, where=message.topic, limit=BYTES_MAX)
    except LinkError:
        return None
    if not isinstance(said, dict):
        return None
    bridge, term = said.get("bridge"), said.get("term")
    if not isinstance(bridge, str) or not isinstance(term, int) or isinstance(term, bool):
        return None
    return Claim(bridge=bridge, term=term) if 0 <= term <= TERM_MAX else None
