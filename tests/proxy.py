"""A TCP relay between a client and its broker, whose wire can be cut and mended: a partition for one."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Iterator


class Proxy:
    """Listens on a free loopback port; while it is cut, nothing passes and nothing is closed."""

    def __init__(self, port: int) -> None:
        self._to = port
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self._open = threading.Event()
        self._open.set()
        self._ended = threading.Event()
        self._sockets: list[socket.socket] = []
        threading.Thread(target=self._accept, daemon=True).start()

    def cut(self) -> None:
        """Hold everything on the wire back."""
        self._open.clear()

    def mend(self) -> None:
        """Let what was held back go on, late."""
        self._open.set()

    def close(self) -> None:
        self._ended.set()
        self._open.set()
        for each in (self._listener, *self._sockets):
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)
            each.close()

    def _accept(self) -> None:
        while not self._ended.is_set():
            try:
                near, _ = self._listener.accept()
                far = socket.create_connection(("127.0.0.1", self._to), timeout=5)
            except OSError:
                if self._ended.is_set():
                    return
                time.sleep(0.05)
                continue
            far.settimeout(None)
            self._sockets += [near, far]
            for one, other in ((near, far), (far, near)):
                one.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                threading.Thread(target=self._pump, args=(one, other), daemon=True).start()

    def _pump(self, one: socket.socket, other: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := one.recv(65536):
                self._open.wait()
                other.sendall(data)
        for each in (one, other):
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)


@contextlib.contextmanager
def relayed(port: int) -> Iterator[Proxy]:
    proxy = Proxy(port)
    try:
        yield proxy
    finally:
        proxy.close()
