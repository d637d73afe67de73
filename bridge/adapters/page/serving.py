"""The server: a socket, uvicorn's connections on it, everything at its path. One object for each opening.

It lives in the loop of whoever opens it and has no thread, no signal handler and no timer of its own while
nobody calls. Opening may fail; nothing here ever ends the bridge.
"""

from __future__ import annotations

import asyncio
import logging
import socket

from structlog.typing import FilteringBoundLogger
from uvicorn.config import Config
from uvicorn.server import ServerState

from bridge.adapters.page import openapi
from bridge.adapters.page.connections import Bounds, Connection, as_app
from bridge.adapters.page.doorman import Doorman
from bridge.adapters.page.files import Files, read_files
from bridge.adapters.page.home import Home
from bridge.adapters.page.keys import Keys
from bridge.adapters.page.metrics import Measured, metrics_text
from bridge.adapters.page.options import PageSettings, bracketed
from bridge.adapters.page.routes import Routes
from bridge.adapters.page.streams import Streams

KEEP_ALIVE_S = 15
HEADER_BYTES = 16384
# Connections taken up in one turn of the loop; the kernel may keep more waiting.
TOGETHER, WAITING = 8, 128
END_S = 0.3


class PageServer:
    """The page at one address.

    Args:
        settings: The `[page]` table.
        key: What lets people in; "" lets in everybody who reaches it.
        home: The bridge.
        log: The logger.
    """

    def __init__(self, settings: PageSettings, key: str, home: Home, log: FilteringBoundLogger) -> None:
        # What uvicorn would say is said by us, without what a stranger sent.
        logging.getLogger("uvicorn.error").setLevel(logging.CRITICAL + 1)
        loop = asyncio.get_running_loop()
        self._settings, self._log = settings, log
        self.streams = Streams(home, loop)
        keys = Keys(key)
        self._bounds = Bounds(settings.proxies)
        routes = Routes(home, keys, openapi.document, lambda: metrics_text(home, self._measured()))
        self._doorman = Doorman(
            routes.router(self.streams, Files(read_files())),
            hosts=settings.hosts,
            proxies=settings.proxies,
            keys=keys,
            clock=lambda: home.now().mono_s,
            log=log,
        )
        self._state = ServerState()
        self._config = Config(
            as_app(self._doorman),
            loop="none",
            lifespan="off",
            http="h11",
            ws="none",
            interface="asgi3",
            log_config=None,
            access_log=False,
            proxy_headers=False,
            server_header=False,
            date_header=False,
            timeout_keep_alive=KEEP_ALIVE_S,
            h11_max_incomplete_event_size=HEADER_BYTES,
        )
        self._server: asyncio.Server | None = None

    @property
    def app(self) -> Doorman:
        """What answers, as an ASGI application."""
        return self._doorman

    def _measured(self) -> Measured:
        return Measured(
            answered=self._doorman.answered,
            refused=self._doorman.refused,
            connections=self._bounds.open,
            turned_away=self._bounds.closed,
            too_slow=self._bounds.slow,
            malformed=self._bounds.malformed,
            streams=len(self.streams),
        )

    async def open(self) -> None:
        """Begin to listen.

        Raises:
            OSError: the address can't be had.
        """
        loop = asyncio.get_running_loop()
        self._config.load()
        listening = socket.create_server(
            (self._settings.host, self._settings.port),
            family=socket.AF_INET6 if ":" in self._settings.host else socket.AF_INET,
        )
        self._server = await loop.create_server(
            lambda: Connection(self._config, self._state, self._bounds), sock=listening, backlog=TOGETHER
        )
        listening.listen(WAITING)
        at = f"http://{bracketed(self._settings.host)}:{self._settings.port}/"
        self._log.info("page.server.opened", url=at, keyed=self._doorman.keyed)

    async def close(self) -> None:
        """Tell those who look, end every connection and stop listening, within a moment."""
        if self._server is not None:
            self._server.close()
        self.streams.end("the bridge stops")
        tasks = list(self._state.tasks)
        if tasks:
            await asyncio.wait(tasks, timeout=END_S)
        for connection in list(self._state.connections):
            if isinstance(connection, Connection):
                connection.transport.abort()
        for task in self._state.tasks:
            task.cancel()
