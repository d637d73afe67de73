"""A broker of one's own for the demo, on a free loopback port: Mosquitto where it is installed, else iotcore.

It is a child process that ends with `stop` or with us, however we end; Ctrl-C does not reach it. A port that
somebody else took in the meantime is noticed, not talked to. What it retains is gone with it, and anybody on
this machine may connect: not for a real house.
"""

from __future__ import annotations

import importlib.util
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from types import TracebackType
from typing import Literal, Self

from bridge.core.errors import LinkError

HOST = "127.0.0.1"
READY_S = 10.0
STOP_S = 3.0
# Below the ports of outgoing connections (32768 up on Linux): a client that dials such a port while its
# broker is down can end up connected to itself.
PORTS = range(15000, 32000)
Name = Literal["mosquitto", "iotcore"]

# Both children end when their standard input closes: that happens also when we are killed.
_KEEP_MOSQUITTO = """
import os, subprocess, sys, threading
broker = subprocess.Popen(sys.argv[1:], stdin=subprocess.DEVNULL)
threading.Thread(target=lambda: (os.read(0, 1), broker.terminate()), daemon=True).start()
os._exit(broker.wait() & 255)
"""
_BE_IOTCORE = """
import logging, os, sys, threading
logging.disable(logging.CRITICAL)  # it writes an error for every packet
from iotcore import IotCoreBroker
threading.Thread(target=lambda: (os.read(0, 1), os._exit(0)), daemon=True).start()
broker = IotCoreBroker(config_path=sys.argv[1])
broker.check_ports()
broker.run_forever()
"""
_MOSQUITTO_CONF = """\
listener {port} {host}
allow_anonymous true
persistence false
log_dest stderr
log_type error
log_type warning
log_type notice
connection_messages true
"""
# Two small segments: with its own default, memory grows by 262 MB per million messages.
_IOTCORE_ROUTER = """\
id = 0
[router]
id = 0
max_connections = 200
max_outgoing_packet_count = 200
max_segment_size = 1048576
max_segment_count = 2
"""
_IOTCORE_LISTENER = """\
[{kind}.1]
name = "{kind}"
listen = "{host}:{port}"
next_connection_delay_ms = 1
[{kind}.1.connections]
connection_timeout_ms = 5000
max_payload_size = 1048576
max_inflight_count = 100
dynamic_filters = true
"""


class Embedded:
    """One broker process.

    Args:
        name: Which one; the first that the machine has when None.
        options: More lines for Mosquitto's own settings.

    Attributes:
        host: Loopback.
        port: Speaks MQTT 5.
        port_v3: Speaks MQTT 3.1.1; the same one with Mosquitto.
        session_s: For `Address.session_s`: iotcore does not resend retained messages in a kept session.
    """

    def __init__(self, name: Name | None = None, *, options: str = "") -> None:
        self._options = options
        self.name: Name = name or _installed()
        self.host = HOST
        self.port = self.port_v3 = 0
        self.session_s = 30 if self.name == "mosquitto" else 0
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    @property
    def alive(self) -> bool:
        """Whether the process runs."""
        return self._process is not None and self._process.poll() is None

    def start(self, *, port: int | None = None) -> None:
        """Start it, on a free port unless one is given, and return once it answers.

        Raises:
            LinkError: it is not installed, or does not answer within ten seconds.
        """
        assert self._process is None, "the broker runs already"
        self.port = port or _free_port()
        self.port_v3 = self.port if self.name == "mosquitto" else _free_port(after=self.port)
        self._folder = tempfile.TemporaryDirectory(prefix="hembar-broker-")
        folder = Path(self._folder.name)
        with (folder / "log").open("ab") as log:
            self._process = subprocess.Popen(  # noqa: S603  # the arguments are our own
                self._command(folder), stdin=subprocess.PIPE, stdout=log, stderr=log, start_new_session=True
            )
        try:
            self._wait(folder / "log")
        except BaseException:
            self.stop()
            raise

    def restart(self) -> None:
        """End it and start it again on the same port; what it has kept is gone."""
        port = self.port
        self.stop()
        self.start(port=port)

    def stop(self) -> None:
        """End it; does nothing when it does not run."""
        process, self._process = self._process, None
        if process is not None:
            assert process.stdin is not None
            process.stdin.close()
            try:
                process.wait(timeout=STOP_S)
            except subprocess.TimeoutExpired:
                os.killpg(
                    process.pid, signal.SIGKILL
                )  # its own session: the keeper and its broker, nobody else
                process.wait()
        if self._folder is not None:
            self._folder.cleanup()
            self._folder = None

    def _command(self, folder: Path) -> list[str]:
        config = folder / "broker.toml"  # iotcore goes by the ending
        python = [sys.executable, "-P", "-c"]
        if self.name == "mosquitto":
            # Started by root, it would change to a user that may not read this folder.
            user = "user root\n" if hasattr(os, "geteuid") and os.geteuid() == 0 else ""
            config.write_text(_MOSQUITTO_CONF.format(host=HOST, port=self.port) + user + self._options)
            program = _mosquitto()
            if program is None:
                raise _missing()
            return [*python, _KEEP_MOSQUITTO, program, "-c", str(config)]
        listeners = [("v4", self.port_v3), ("v5", self.port)]
        parts = [_IOTCORE_LISTENER.format(kind=kind, host=HOST, port=port) for kind, port in listeners]
        config.write_text(_IOTCORE_ROUTER + "".join(parts))
        return [*python, _BE_IOTCORE, str(config)]

    def _wait(self, log: Path) -> None:
        give_up_s = time.monotonic() + READY_S
        while time.monotonic() < give_up_s:
            if not self.alive:
                break
            probe = f"probe-{secrets.token_hex(6)}"
            if _answers(self.port_v3, probe) and self._ours(probe, log):
                return
            time.sleep(0.02)
        said = log.read_text(errors="replace").strip().splitlines()[-1:] or ["it said nothing"]
        raise LinkError(
            where=f"embedded broker {self.name}",
            problem=f"it does not answer on {HOST}:{self.port} ({said[0][:200]})",
            remedy="try again, or give --broker the name of one that runs",
        )

    def _ours(self, probe: str, log: Path) -> bool:
        # Only Mosquitto's log tells it from a stranger that was quicker to take the port; iotcore checks.
        return self.name == "iotcore" or f" as {probe} " in log.read_text(errors="replace")


def _installed() -> Name:
    if _mosquitto() is not None:
        return "mosquitto"
    if importlib.util.find_spec("iotcore") is not None:
        return "iotcore"
    raise _missing()


def _mosquitto() -> str | None:
    return shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")


def _missing() -> LinkError:
    return LinkError(
        where="embedded broker",
        problem="neither Mosquitto nor iotcore is installed",
        remedy="install Mosquitto or pip install 'hembar[demo]'",
    )


def _free_port(*, after: int | None = None) -> int:
    first = secrets.randbelow(len(PORTS)) if after is None else PORTS.index(after) + 1
    for step in range(len(PORTS)):
        port = PORTS[(first + step) % len(PORTS)]
        with socket.socket() as trial:
            try:
                trial.bind((HOST, port))
            except OSError:
                continue
        return port
    raise LinkError(
        where=HOST, problem="every port from 15000 to 31999 is taken", remedy="close some programs"
    )


def _answers(port: int, client_id: str) -> bool:
    """Say whether MQTT 3.1.1 is spoken there (OASIS, 2014, sections 3.1 and 3.2)."""
    name = client_id.encode()
    body = b"\x00\x04MQTT\x04\x02\x00\x0a" + len(name).to_bytes(2, "big") + name
    try:
        with socket.create_connection((HOST, port), timeout=1) as probe:
            probe.sendall(bytes([0x10, len(body)]) + body)
            accepted = probe.recv(4) == b"\x20\x02\x00\x00"
            probe.sendall(b"\xe0\x00")
            return accepted
    except OSError:
        return False
