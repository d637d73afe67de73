"""From the settings' broker to an address that the session can use, password included."""

from __future__ import annotations

from pathlib import Path

from bridge.adapters.broker.messages import Address
from bridge.core.errors import ConfigError
from bridge.settings.plain import BrokerSettings


def address_of(broker: BrokerSettings, *, role: str = "") -> Address:
    """Return how to reach the broker, the password read from its file.

    Args:
        broker: As the owner wrote it.
        role: Of a command beside the service; the service itself has none.

    Raises:
        ConfigError: the password file can't be read.
    """
    password = None
    if broker.password_file is not None:
        try:
            password = broker.password_file.read_text(encoding="utf-8").split("\n")[0]
        except (OSError, UnicodeDecodeError) as error:
            raise ConfigError(
                where=f"[broker] password_file = {str(broker.password_file)!r}",
                problem=f"it can't be read: {error}",
                remedy="correct the path or its permissions",
            ) from error
    return Address(
        host=broker.host,
        port=broker.port,
        client_id=f"{broker.client_id}-{role}" if role else broker.client_id,
        session_s=broker.session_s,
        username=broker.username,
        password=password,
        tls=broker.tls,
        ca_file=_text(broker.ca_file),
        cert_file=_text(broker.cert_file),
        key_file=_text(broker.key_file),
    )


def _text(path: Path | None) -> str | None:
    return None if path is None else str(path)
