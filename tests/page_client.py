"""The page of a real daemon, called over real sockets."""

from __future__ import annotations

import http.client
import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any


def free_port() -> int:
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        return int(trial.getsockname()[1])


@dataclass
class Client:
    """One browser, as far as requests go."""

    port: int
    headers: dict[str, str] = field(default_factory=dict)

    def get(self, path: str, **headers: str) -> tuple[int, dict[str, str], bytes]:
        return self._call("GET", path, None, headers)

    def said(self, path: str) -> Any:
        status, _, body = self.get(path)
        assert status == 200, (status, body)
        return json.loads(body)

    def change(self, path: str, asked: object, **headers: str) -> tuple[int, Any]:
        own = {
            "Origin": f"http://127.0.0.1:{self.port}",
            "X-Hembar": "1",
            "Content-Type": "application/json",
        }
        status, _, body = self._call("POST", path, json.dumps(asked).encode(), {**own, **headers})
        return status, json.loads(body)

    def entered(self, key: str) -> str:
        """Change the key for a cookie, and return that."""
        origin = {"Origin": f"http://127.0.0.1:{self.port}", "X-Hembar": "1"}
        headers = {**origin, "Content-Type": "application/json"}
        status, told, _ = self._call("POST", "/api/enter", json.dumps({"key": key}).encode(), headers)
        assert status == 200
        return told["set-cookie"].partition(";")[0]

    def wait_open(self, within_s: float = 40.0) -> None:
        until = time.monotonic() + within_s
        while time.monotonic() < until:
            try:
                self.get("/")
            except OSError:
                time.sleep(0.05)
            else:
                return
        raise AssertionError("the page did not open")

    def _call(
        self, method: str, path: str, body: bytes | None, headers: dict[str, str]
    ) -> tuple[int, dict[str, str], bytes]:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        try:
            connection.request(method, path, body, {**self.headers, **headers})
            reply = connection.getresponse()
            return reply.status, {name.lower(): value for name, value in reply.getheaders()}, reply.read()
        finally:
            connection.close()


class Listener:
    """An event stream that is read by a thread, each event with the time at which it came."""

    def __init__(self, port: int, **headers: str) -> None:
        self.events: list[tuple[str, Any, float]] = []
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
        self._connection.request("GET", "/api/events", headers=headers)
        self._reply = self._connection.getresponse()
        assert self._reply.status == 200
        self.ended = threading.Event()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        event = ""
        try:
            for line in self._reply:
                name, _, said = line.decode().rstrip("\n").partition(": ")
                if name == "event":
                    event = said
                elif name == "data":
                    self.events.append((event, json.loads(said), time.monotonic()))
        except (OSError, http.client.HTTPException, AttributeError, ValueError):
            pass
        finally:
            self.ended.set()

    def wait(
        self, wanted: Callable[[str, Any], bool], what: str, *, within_s: float = 15.0
    ) -> tuple[Any, float]:
        until = time.monotonic() + within_s
        while time.monotonic() < until:
            for event, said, at_s in list(self.events):
                if wanted(event, said):
                    return said, at_s
            time.sleep(0.005)
        raise AssertionError(f"waited {within_s} s in vain: {what}")

    def close(self) -> None:
        if self._connection.sock is not None:
            self._connection.sock.close()
        self._connection.close()


@contextmanager
def listening(port: int, **headers: str) -> Iterator[Listener]:
    listener = Listener(port, **headers)
    try:
        yield listener
    finally:
        listener.close()


def shade_in(said: Any, shade: str) -> dict[str, Any]:
    """Return one shade of a house or a change; empty when it is not in it."""
    return next((each for each in said.get("shades", []) if each["id"] == shade), {})
