"""What goes to the broker and what comes from it, as plain values: made by the tree, moved by the session."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Publication:
    """One message to be published; an empty retained payload deletes the topic."""

    topic: str
    payload: bytes
    qos: int = 1
    retain: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Incoming:
    """One message heard; `retained` when the broker handed it back, or its sender retained a wish."""

    topic: str
    payload: bytes
    retained: bool
    qos: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Subscription:
    """One topic filter.

    Attributes:
        topic: The filter, wildcards allowed.
        live: Wishes rather than states: retained ones are not asked for, and keep their flag where the broker
            can do that (MQTT 5), so that they can be refused.
    """

    topic: str
    live: bool = False
