"""The real daemon as a process, and an independent ear and mouth on the broker, for tests of the whole."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

HEMBAR = Path(sys.executable).parent / "hembar"
STARTS_WITHIN_S = 10.0


@dataclass
class Heard:
    """One message as it came from the broker."""

    topic: str
    payload: bytes
    retained: bool
    at_s: float

    @property
    def said(self) -> Any:
        return json.loads(self.payload)


class Ear:
    """Hears everything on a broker from the moment it is opened, and can speak."""

    def __init__(self, host: str, port: int) -> None:
        self.messages: list[Heard] = []
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        self._client.on_message = self._on_message
        self._client.on_connect = lambda client, *_: client.subscribe("#", 1)
        self._subscribed = threading.Event()
        self._client.on_subscribe = lambda *_: self._subscribed.set()
        self._client.connect(host, port)
        self._client.loop_start()
        assert self._subscribed.wait(5), "the test's own client could not subscribe"

    def _on_message(self, _client: object, _userdata: object, message: mqtt.MQTTMessage) -> None:
        heard = Heard(message.topic, bytes(message.payload), bool(message.retain), time.monotonic())
        self.messages.append(heard)

    @property
    def connected(self) -> bool:
        return self._client.is_connected()

    def say(self, topic: str, payload: bytes | str, *, retain: bool = False, qos: int = 1) -> None:
        self._client.publish(topic, payload, qos=qos, retain=retain).wait_for_publish(5)

    def tell(self, topic: str, payload: str) -> None:
        """Publish without waiting: whoever should hear it may be about to die."""
        self._client.publish(topic, payload, qos=1)

    def latest(self, topic: str) -> bytes | None:
        for message in reversed(self.messages):
            if message.topic == topic:
                return message.payload
        return None

    def orders(self, board: str, channel: int, *, since: int = 0) -> list[Heard]:
        """Return what was ordered; a self-test's probe of the right to order is none."""
        topic = f"shade-boards/{board}/{channel}/order"
        return [each for each in self.messages[since:] if each.topic == topic and each.payload != b"{}"]

    def motion_orders(self, board: str, channel: int, *, since: int = 0) -> list[dict[str, Any]]:
        said = [each.said for each in self.orders(board, channel, since=since)]
        return [each for each in said if each["do"] in ("go", "seek")]

    def wait(self, wanted: Callable[[], bool], what: str, *, within_s: float = 10.0) -> None:
        until = time.monotonic() + within_s
        while not wanted():
            assert time.monotonic() < until, f"waited {within_s} s in vain: {what}"
            time.sleep(0.01)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


# What every settings file of a test begins with.
SITE = """\
[site]
name = "Gull House"
latitude_deg = 38.5
longitude_deg = -28.5
timezone = "Atlantic/Azores"
[broker]
host = "127.0.0.1"
port = {port}
"""


def begun(*words: str, log: Path) -> subprocess.Popen[bytes]:
    """Start a command of hembar as a process that writes to a file."""
    with log.open("ab") as to:
        return subprocess.Popen(
            [str(HEMBAR), *words],
            stdin=subprocess.DEVNULL,
            stdout=to,
            stderr=to,
            env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )


@dataclass
class Bridge:
    """`hembar run` as a process of its own."""

    settings: Path
    state: Path
    log: Path
    process: subprocess.Popen[bytes] | None = field(default=None, init=False)

    def start(self) -> None:
        assert self.process is None or self.process.poll() is not None
        state = ("--state", str(self.state))
        self.process = begun("run", str(self.settings), *state, "--log-json", "--verbose", log=self.log)

    def kill(self) -> None:
        assert self.process is not None
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(5)

    def stop(self) -> int:
        assert self.process is not None
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
        return self.process.wait(5)

    def lines(self) -> list[dict[str, Any]]:
        """Every structured line so far; a last one that is still being written is left out."""
        lines = []
        for line in self.log.read_text().splitlines():
            try:
                lines.append(json.loads(line))
            except ValueError:
                continue
        return lines

    def logged(self, event: str) -> list[dict[str, Any]]:
        return [line for line in self.lines() if line.get("event") == event]


@contextmanager
def opened(host: str, port: int) -> Iterator[Ear]:
    ear = Ear(host, port)
    try:
        yield ear
    finally:
        ear.close()


def settings_for(
    port: int,
    to: Path,
    *,
    local_button: bool | None = None,
    more: str = "",
    longitude_deg: float | None = None,
) -> Path:
    """Write the demo house's settings for a broker on `port`, its motors as fast as they bear, and `more`."""
    source = Path(__file__).parents[1] / "bridge" / "simulate" / "demo_house.toml"
    text = source.read_text().replace("port = 1883", f"port = {port}")
    for slow in ("top_pps = 3200", "top_pps = 2600", "top_pps = 3000"):
        text = text.replace(slow, "top_pps = 4000")
    if local_button is not None:
        text = text.replace("local_button = true", f"local_button = {str(local_button).lower()}")
    if longitude_deg is not None:
        text = text.replace("longitude_deg = -8.5", f"longitude_deg = {longitude_deg}")
    to.write_text(f"{text}\n{more}")
    return to
