"""A real broker of one's own: a free loopback port, its own folder, ended by its own pid.

Folders whose tests need it import the fixtures into their conftest.py.
"""

import getpass
import os
import shutil
import signal
import socket
import subprocess
import time
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from random import SystemRandom

import pytest

READY_WITHIN_S = 10.0
# Below Linux's range for outgoing connections (32768 up): a client that keeps dialling a port
# of that range while its broker is down can end up connected to itself.
PORTS = range(15000, 32000)


class BrokerError(Exception):
    """The broker did not start, or somebody else answers on its port."""


@dataclass
class Mosquitto:
    """One broker process; after `kill` or `stop` the same port serves again with `restart`."""

    program: str
    folder: Path
    extra: tuple[str, ...] = ()
    host: str = "127.0.0.1"
    port: int = 0
    process: subprocess.Popen[bytes] | None = field(default=None, init=False)

    @property
    def pid(self) -> int:
        assert self.process is not None, "the broker has not been started"
        return self.process.pid

    @property
    def alive(self) -> bool:
        return self.process is not None and self.process.poll() is None

    @property
    def log(self) -> str:
        """What the broker has written since its first start."""
        return (self.folder / "mosquitto.log").read_text(errors="replace")

    def start(self) -> None:
        """Start on a free port, or on `port` again, and return once this very process answers."""
        assert not self.alive, "the broker is running already"
        if not self.port:
            self.port = self._free_port()
        self._start_on(self.port)

    def kill(self) -> None:
        """SIGKILL: retained messages and sessions that are not on disk are lost."""
        self._end(signal.SIGKILL)

    def stop(self) -> None:
        """SIGTERM: the broker saves what it keeps and closes its connections."""
        self._end(signal.SIGTERM)

    def restart(self) -> None:
        """Start again on the same port, stopping first if it still runs."""
        if self.alive:
            self.stop()
        self.start()

    def _free_port(self) -> int:
        for port in SystemRandom().sample(PORTS, k=50):
            with socket.socket() as trial:
                try:
                    trial.bind((self.host, port))
                except OSError:
                    continue
                return port
        raise BrokerError("fifty ports were tried and all are taken")

    def _end(self, how: signal.Signals) -> None:
        if self.process is None or self.process.poll() is not None:
            return
        self.process.send_signal(how)
        try:
            self.process.wait(timeout=10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait(timeout=10)

    def _start_on(self, port: int) -> None:
        settings = [
            f"listener {port} {self.host}",
            "allow_anonymous true",
            f"user {getpass.getuser()}",  # as root it would change to a user that may not write here
            f"persistence_location {self.folder}/",
            "log_dest stderr",
            "log_type all",
            "connection_messages true",
            *self.extra,
        ]
        config = self.folder / "mosquitto.conf"
        config.write_text("\n".join(settings) + "\n")
        with (self.folder / "mosquitto.log").open("ab") as log:
            self.process = subprocess.Popen(
                [self.program, "-c", str(config)], stdin=subprocess.DEVNULL, stdout=log, stderr=log
            )
        try:
            self._wait_until_it_answers(port)
        except BaseException:
            self._end(signal.SIGKILL)
            raise

    def _wait_until_it_answers(self, port: int) -> None:
        give_up = time.monotonic() + READY_WITHIN_S
        while time.monotonic() < give_up:
            if not self.alive:
                raise BrokerError(f"the broker ended at once: {self.log}")
            name = f"probe-{uuid.uuid4().hex[:12]}"
            # Only the broker's own log tells it from a stranger on the same port.
            if answers(self.host, port, name) and f" as {name} " in self.log:
                return
            time.sleep(0.01)
        raise BrokerError(f"the broker did not answer within {READY_WITHIN_S} s: {self.log}")


def answers(host: str, port: int, client_id: str) -> bool:
    """Say whether a broker on the port accepts a plain MQTT 3.1.1 connection (OASIS, 2014, 3.1 and 3.2)."""
    name = client_id.encode()
    body = b"\x00\x04MQTT\x04\x02\x00\x0a" + len(name).to_bytes(2, "big") + name
    try:
        with socket.create_connection((host, port), timeout=1) as probe:
            probe.sendall(bytes([0x10, len(body)]) + body)
            accepted = probe.recv(4) == b"\x20\x02\x00\x00"
            probe.sendall(b"\xe0\x00")
            return accepted
    except OSError:
        return False


def mosquitto_program() -> str:
    """Return where Mosquitto is, or skip the test; with CI set, fail it."""
    found = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
    if found:
        return found
    missing = "Mosquitto is not installed (Debian: apt-get install mosquitto)"
    if os.environ.get("CI"):
        pytest.fail(missing)
    pytest.skip(missing)


@pytest.fixture
def brokers(tmp_path: Path) -> Iterator[Callable[..., Mosquitto]]:
    """Give a function that starts a broker with extra configuration lines; all end with the test."""
    program = mosquitto_program()
    started: list[Mosquitto] = []

    def start(*extra: str) -> Mosquitto:
        folder = tmp_path / f"mosquitto-{len(started)}"
        folder.mkdir()
        broker = Mosquitto(program, folder, extra)
        started.append(broker)
        broker.start()
        return broker

    yield start
    for broker in started:
        broker.stop()


@pytest.fixture
def mosquitto(brokers: Callable[..., Mosquitto]) -> Mosquitto:
    """Give a running broker with Debian's defaults, open to loopback, that keeps nothing on disk."""
    return brokers()


@pytest.fixture
def topic_prefix() -> str:
    """Give a topic level that no other test uses."""
    return f"test-{uuid.uuid4().hex[:12]}"
