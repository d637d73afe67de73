"""The bridge under test as a process of its own: an invented house of any size, and the time to READY."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from bridge.core.errors import LinkError

READY_WITHIN_S = 120.0
STOP_WITHIN_S = 10.0
CHANNELS = 4

_TOP = """\
[site]
name = "Bench House"
latitude_deg = 38.5
longitude_deg = -28.5
timezone = "Atlantic/Azores"

[broker]
host = "{host}"
port = {port}
client_id = "{name}"

[boards]
root = "{name}-boards"

[tree]
device = "{name}"
"""
# A drive that hardly slips, so that any number of rounds leaves the position referenced.
_SHADE = """
[shades.{shade}]
mounting = "interior"
tube_mm = 38
cloth_mm = 0.5
drop_mm = 1800
wraps_left = 1.5

[shades.{shade}.drive]
pulses_per_rev = 800
gear = "57/11"
top_pps = 3200
ramp_pps2 = 4000
confirmed = true

[shades.{shade}.link]
kind = "contract"
board = "{board}"
channel = {channel}

[shades.{shade}.unpowered]
holds = "everywhere"

[shades.{shade}.trust]
slip_per_move_mm = 0.01
slip_per_turn_mm = 0.001
local_button = false
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A shade and the channel that drives it."""

    shade: str
    board: str
    channel: int


def places(shades: int) -> list[Place]:
    """Return the shades of a bench house, four to a board."""
    return [
        Place(shade=f"s{number:04d}", board=f"b{number // CHANNELS:04d}", channel=number % CHANNELS)
        for number in range(shades)
    ]


def settings_text(name: str, shades: int, *, host: str, port: int) -> str:
    """Return the settings file of a house whose topics all begin with `name`."""
    top = _TOP.format(name=name, host=host, port=port)
    return top + "".join(
        _SHADE.format(shade=each.shade, board=each.board, channel=each.channel) for each in places(shades)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Running:
    """A bridge that runs."""

    name: str
    shades: int
    pid: int
    ready_s: float


@contextlib.contextmanager
def bridge(
    name: str,
    shades: int,
    folder: Path,
    *,
    state: Path,
    host: str,
    port: int,
    more: str = "",
    text: Callable[..., str] = settings_text,
) -> Iterator[Running]:
    """Run `hembar run` for a house of so many shades; give it once it has said READY.

    Args:
        name: Tells this bridge from others on the same broker.
        shades: How many.
        folder: Where settings and log are put.
        state: Where its journal is kept.
        host: The broker.
        port: The broker.
        more: Settings after those of the house.
        text: Makes those of the house, as `settings_text` does.

    Raises:
        LinkError: it does not become ready.
    """
    settings = folder / f"{name}.toml"
    settings.write_text(f"{text(name, shades, host=host, port=port)}\n{more}", encoding="utf-8")
    words = [sys.executable, "-m", "bridge.cli", "run", str(settings), "--state", str(state)]
    with contextlib.ExitStack() as stack:
        manager, address = stack.enter_context(_service_manager())
        log = stack.enter_context((folder / f"{name}.log").open("ab"))
        began_s = time.perf_counter()
        process = subprocess.Popen(  # noqa: S603  # the words are our own
            words,
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            env={**os.environ, "NOTIFY_SOCKET": address},
        )
        try:
            _await_ready(manager, process)
            ready_s = time.perf_counter() - began_s
            yield Running(name=name, shades=shades, pid=process.pid, ready_s=ready_s)
        finally:
            _end(process)


@contextlib.contextmanager
def _service_manager() -> Iterator[tuple[socket.socket, str]]:
    with (
        tempfile.TemporaryDirectory(prefix="hembar-notify-") as folder,
        socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as end,
    ):
        address = f"{folder}/notify"
        end.bind(address)
        end.settimeout(0.1)
        yield end, address


def _await_ready(manager: socket.socket, process: subprocess.Popen[bytes]) -> None:
    give_up_s = time.perf_counter() + READY_WITHIN_S
    while time.perf_counter() < give_up_s and process.poll() is None:
        try:
            if b"READY=1" in manager.recv(4096).split(b"\n"):
                return
        except TimeoutError:
            continue
    raise LinkError(
        where="bench", problem="the bridge did not become ready", remedy="try `hembar demo` first"
    )


def _end(process: subprocess.Popen[bytes]) -> None:
    if process.poll() is None:
        process.send_signal(signal.SIGTERM)
    try:
        process.wait(STOP_WITHIN_S)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
