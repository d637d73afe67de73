"""The real daemon under a service manager of our own: READY, STOPPING, and a watchdog with a meaning."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.mosquitto import Mosquitto
from tests.running import HEMBAR, opened, settings_for

WATCHDOG_S = 1.5
# A port of the reserved block below all brokers of these tests, on which nobody listens: tcpmux, RFC 1078.
NOBODY = 1


@dataclass
class Service:
    """The daemon as a manager sees it."""

    process: subprocess.Popen[bytes]
    manager: socket.socket

    def hear(self, within_s: float) -> list[str] | None:
        """Return the lines of the next datagram; None when none comes in time."""
        self.manager.settimeout(within_s)
        try:
            return self.manager.recv(4096).decode().split("\n")
        except TimeoutError:
            return None

    def until(self, line: str, *, within_s: float = 10.0) -> list[str]:
        give_up_s = time.monotonic() + within_s
        while (left_s := give_up_s - time.monotonic()) > 0:
            said = self.hear(left_s)
            if said is not None and line in said:
                return said
        raise AssertionError(f"waited {within_s} s in vain for {line}")

    def forget(self) -> None:
        """Drop what has been said so far."""
        self.manager.setblocking(False)
        try:
            while True:
                self.manager.recv(4096)
        except BlockingIOError:
            return


Start = Callable[[int], Service]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    running: list[Service] = []

    def begin(port: int) -> Service:
        manager = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        manager.bind(str(tmp_path / "notify"))
        settings = settings_for(port, tmp_path / "house.toml")
        told = {"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": str(int(WATCHDOG_S * 1e6))}
        with (tmp_path / "log").open("ab") as log:
            process = subprocess.Popen(
                [str(HEMBAR), "run", str(settings), "--state", str(tmp_path / "state")],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                env={**os.environ, **told},
            )
        running.append(Service(process, manager))
        return running[-1]

    yield begin
    for service in running:
        if service.process.poll() is None:
            service.process.send_signal(signal.SIGCONT)
            service.process.kill()
        service.process.wait(5)
        service.manager.close()


def test_it_is_ready_once_its_journal_is_recovered_though_no_broker_answers(
    start: Start, tmp_path: Path
) -> None:
    service = start(NOBODY)
    said = service.until("READY=1")
    assert "STATUS=serving 3 shades" in said
    assert (tmp_path / "state" / "journal.db").exists()


def test_it_says_that_it_stops_and_stops_within_two_seconds(start: Start, mosquitto: Mosquitto) -> None:
    service = start(mosquitto.port)
    service.until("READY=1")
    began_s = time.monotonic()
    service.process.send_signal(signal.SIGTERM)
    service.until("STOPPING=1", within_s=2.0)
    assert service.process.wait(5) == 0
    assert time.monotonic() - began_s < 2.0


@pytest.mark.parametrize("with_broker", [True, False])
def test_an_idle_daemon_pings_in_time(start: Start, mosquitto: Mosquitto, with_broker: bool) -> None:
    service = start(mosquitto.port if with_broker else NOBODY)
    service.until("READY=1")
    for _ in range(4):
        service.until("WATCHDOG=1", within_s=WATCHDOG_S)


def test_a_daemon_that_no_longer_decides_loses_its_watchdog(start: Start, mosquitto: Mosquitto) -> None:
    service = start(mosquitto.port)
    service.until("WATCHDOG=1")
    service.process.send_signal(signal.SIGSTOP)
    os.waitid(os.P_PID, service.process.pid, os.WSTOPPED | os.WNOWAIT)
    service.forget()
    assert service.hear(WATCHDOG_S) is None
    service.process.send_signal(signal.SIGCONT)
    service.until("WATCHDOG=1", within_s=WATCHDOG_S)


def test_a_disk_that_hangs_loses_the_watchdog(start: Start, mosquitto: Mosquitto, tmp_path: Path) -> None:
    """The pings come from the loop that decides and writes, not from one beside it."""
    service = start(mosquitto.port)
    service.until("READY=1")
    service.until("WATCHDOG=1")
    program = shutil.which("strace")
    if program is None:
        pytest.skip("strace is not installed (Debian: apt-get install strace)")
    hang = ["-e", "trace=pwrite64", "-e", "inject=pwrite64:delay_enter=4000000"]
    words = [program, "-f", "-qq", "-p", str(service.process.pid), "-o", str(tmp_path / "trace"), *hang]
    strace = subprocess.Popen(words, stdin=subprocess.DEVNULL)
    try:
        until_s = time.monotonic() + 5.0
        while "TracerPid:\t0" in Path(f"/proc/{service.process.pid}/status").read_text():
            assert time.monotonic() < until_s, "it was not traced"
            time.sleep(0.01)
        _board_speaks(mosquitto)
        silent = [service.hear(WATCHDOG_S) is None for _ in range(4)]
        assert any(silent)
    finally:
        strace.terminate()
        strace.wait(10)


def _board_speaks(mosquitto: Mosquitto) -> None:
    with opened(mosquitto.host, mosquitto.port) as mouth:
        mouth.say("shade-boards/attic-board/link", b'{"link":"up","boot":3}')
