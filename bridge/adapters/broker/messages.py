"""Where the broker is, what goes to it and what comes from it, as plain values; no library needed."""

from __future__ import annotations

from dataclasses import dataclass

from bridge.adapters.doors import shown


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
        qos: The most that the broker should deliver with.
    """

    topic: str
    live: bool = False
    qos: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Address:
    """How to reach the broker, and who we are there.

    Attributes:
        client_id: Fixed: the session of the last run is taken up by it. The second connection adds `-out`.
        keepalive_s: A connection that has died silently is noticed within about twice this; at least 1.
        session_s: How long the broker keeps requests for us while we are away (MQTT 5); 0 for a clean start,
            which the embedded broker needs.
        tls: Encrypt, and check the broker's certificate against `ca_file`, or the machine's own when None.
        cert_file: PEM file of the certificate that we show the broker; None to show none.
        key_file: PEM file of its key; None when it stands in `cert_file`.
    """

    host: str
    port: int
    client_id: str
    username: str | None = None
    password: str | None = None
    tls: bool = False
    ca_file: str | None = None
    cert_file: str | None = None
    key_file: str | None = None
    keepalive_s: int = 10
    session_s: int = 30

    def __str__(self) -> str:
        return f"{self.host}:{self.port}"


def refusal(levels: str, payload: bytes, reason: str) -> str:
    """Return the line of a device's log that answers a request, naming it: others may ask too."""
    return f"refused: {levels} {shown(payload)}: {reason}"
