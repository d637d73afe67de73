"""TLS to the broker: whom we trust, and what we show of ourselves."""

from __future__ import annotations

import ssl
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bridge.adapters.broker.messages import Address


def encryption(address: Address) -> ssl.SSLContext | None:
    """Return how to encrypt the way to a broker; None for a plain one.

    Read anew for each connection, so that a renewed certificate needs no restart.

    Raises:
        OSError: a file is missing or is no certificate or key (`ssl.SSLError` is one).
    """
    if not address.tls:
        return None
    context = ssl.create_default_context(cafile=address.ca_file)
    if address.cert_file is not None:
        context.load_cert_chain(address.cert_file, address.key_file)
    return context
