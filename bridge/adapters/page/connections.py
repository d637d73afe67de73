"""uvicorn's HTTP connection with limits: how many, how long for a request, how long for a slow reader.

The bridge's sockets and files come first: connections above a bound are closed before a byte of them is read.
uvicorn itself bounds the time between requests only.
"""

from __future__ import annotations

import asyncio
import json
from collections import Counter
from ipaddress import ip_address
from typing import Any

import h11
from uvicorn.config import Config
from uvicorn.protocols.http.h11_impl import H11Protocol
from uvicorn.server import ServerState

from bridge.adapters.page.doorman import STREAM, Doorman
from bridge.adapters.page.options import Network
from bridge.adapters.page.rates import client_of
from bridge.adapters.page.refusals import RefusalError

CONNECTIONS_MAX = 320
CONNECTIONS_A_CLIENT = 160
# For headers and body to come, from the first byte or the opening on.
REQUEST_S = 10.0
# For a whole answer to be read, however long it took to make it.
ANSWER_READ_S = 60.0
LINGER_S = 5.0


class Bounds:
    """What all connections share.

    Attributes:
        open: How many are open.
        closed: How many were closed at once, because there were too many.
        slow: How many were ended because they were too slow.
        malformed: How many sent what is no HTTP.
    """

    def __init__(self, proxies: tuple[Network, ...]) -> None:
        self.open, self.closed, self.slow, self.malformed = 0, 0, 0, 0
        self._per: Counter[str] = Counter()
        self._proxies = proxies

    def enter(self, address: str) -> bool:
        """Count a connection in, or say no."""
        name = client_of(address)
        if self.open >= CONNECTIONS_MAX or (
            self._per[name] >= CONNECTIONS_A_CLIENT and not self._is_proxy(address)
        ):
            self.closed += 1
            return False
        self.open += 1
        self._per[name] += 1
        return True

    def leave(self, address: str) -> None:
        """Count a connection out."""
        name = client_of(address)
        self.open -= 1
        self._per[name] -= 1
        if not self._per[name]:
            del self._per[name]

    def _is_proxy(self, address: str) -> bool:
        return any(ip_address(address) in each for each in self._proxies)


class Connection(H11Protocol):
    """One connection.

    Args:
        config: uvicorn's.
        state: What uvicorn's connections share.
        bounds: What ours share.
    """

    def __init__(self, config: Config, state: ServerState, bounds: Bounds) -> None:
        super().__init__(config=config, server_state=state, app_state={})
        self._bounds = bounds
        self._address = ""
        self._counted = False
        self._deadline: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as uvicorn's
        peer = transport.get_extra_info("peername")
        self._address = str(peer[0]) if peer else ""
        if not self._bounds.enter(self._address):
            self.transport = transport
            transport.abort()
            return
        self._counted = True
        super().connection_made(transport)
        self.app_state["abort"] = self._break_off
        self._within(REQUEST_S)

    def connection_lost(self, exc: Exception | None) -> None:
        self._within(None)
        if self._counted:
            self._bounds.leave(self._address)
            super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        if not self._counted:
            return
        waiting = self._deadline is None
        super().data_received(data)
        if self.transport.is_closing():
            return
        if self.conn.their_state in (h11.IDLE, h11.SEND_BODY):
            if waiting:
                self._within(REQUEST_S)
        elif self.conn.their_state is h11.DONE and not self._streams():
            self._within(ANSWER_READ_S)
        else:
            self._within(None)

    def on_response_complete(self) -> None:
        self._within(None)
        super().on_response_complete()

    def timeout_keep_alive_handler(self) -> None:
        super().timeout_keep_alive_handler()
        # What is still to be written waits for a reader that may never read it.
        self._within(LINGER_S)

    def send_400_response(self, msg: str) -> None:  # noqa: ARG002  the words are ours
        self._bounds.malformed += 1
        refusal = RefusalError(400, "malformed", "this is no HTTP request that is read here", "send HTTP/1.1")
        body = json.dumps(refusal.document).encode()
        headers = [
            (b"content-type", b"application/json"),
            (b"content-length", b"%d" % len(body)),
            (b"connection", b"close"),
        ]
        try:
            head = self.conn.send(h11.Response(status_code=400, headers=headers, reason=b"Bad Request"))
            self.transport.write((head or b"") + body)
        except h11.LocalProtocolError:
            self.transport.abort()
            return
        self.transport.close()
        self._within(LINGER_S)

    def _streams(self) -> bool:
        return bool(self.scope) and self.scope["path"] == STREAM

    def _within(self, seconds: float | None) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
        self._deadline = None if seconds is None else self.loop.call_later(seconds, self._too_slow)

    def _too_slow(self) -> None:
        self._bounds.slow += 1
        self._break_off()

    def _break_off(self) -> None:
        self.transport.abort()


def as_app(doorman: Doorman) -> Any:
    """Return an ASGI application in the form that uvicorn's types ask for."""
    return doorman
