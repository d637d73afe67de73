"""The notify protocol of sd_notify(3), heard by a service manager of our own."""

from __future__ import annotations

import secrets
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from bridge.adapters.notify import ServiceManager

PID = 4711


@pytest.fixture(params=["path", "abstract"])
def manager(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[socket.socket, str]]:
    name = f"hembar-{secrets.token_hex(8)}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as end:
        if request.param == "path":
            address = str(tmp_path / "notify")
            end.bind(address)
        else:
            address = f"@{name}"
            end.bind(f"\0{name}")
        end.setblocking(False)
        yield end, address


def test_each_message_is_one_datagram_of_lines(manager: tuple[socket.socket, str]) -> None:
    end, address = manager
    service = ServiceManager({"NOTIFY_SOCKET": address}, pid=PID)
    service.tell("READY=1", "STATUS=serving 3 shades")
    service.tell("WATCHDOG=1")
    assert end.recv(4096) == b"READY=1\nSTATUS=serving 3 shades"
    assert end.recv(4096) == b"WATCHDOG=1"


def test_without_a_manager_nothing_happens() -> None:
    ServiceManager({}, pid=PID).tell("READY=1")


def test_a_manager_that_is_gone_is_no_fault(tmp_path: Path) -> None:
    ServiceManager({"NOTIFY_SOCKET": str(tmp_path / "gone")}, pid=PID).tell("READY=1")


@pytest.mark.parametrize(
    ("environment", "watchdog_s"),
    [
        ({}, None),
        ({"WATCHDOG_USEC": "30000000"}, 30.0),
        ({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "4711"}, 30.0),
        ({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "4712"}, None),
        ({"WATCHDOG_USEC": "0"}, None),
        ({"WATCHDOG_USEC": "-5"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
        ({"WATCHDOG_USEC": "٣"}, None),
    ],
)
def test_the_watchdog_is_ours_only_when_it_names_us(
    environment: dict[str, str], watchdog_s: float | None
) -> None:
    assert ServiceManager(environment, pid=PID).watchdog_s == watchdog_s
