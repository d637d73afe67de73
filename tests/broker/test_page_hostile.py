"""Hostile callers against the real daemon: refused, and meanwhile a move over the broker still works."""

from __future__ import annotations

import contextlib
import resource
import socket
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.house_process import House, running_house
from tests.mosquitto import Mosquitto
from tests.page_client import Client, free_port, listening

pytestmark = pytest.mark.broker
MANY = 10_000
# asyncio, sqlite, the broker and the log beside the page's own bound.
FILES_MAX = 500


@pytest.fixture
def served(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[tuple[House, Client]]:
    port = free_port()
    with running_house(mosquitto, tmp_path, more=f"[page]\nport = {port}\n") as house:
        page = Client(port)
        page.wait_open()
        house.find_top("study")
        yield house, page


def moves_over_the_broker(house: House, percent: str) -> float:
    """Return how long an order took to follow a request over MQTT."""
    seen = len(house.ear.motion_orders("attic-board", 0))
    began = time.monotonic()
    house.ear.say("homie/5/hembar-study/opening/position/set", percent)
    house.ear.wait(lambda: len(house.ear.motion_orders("attic-board", 0)) > seen, "the order")
    return time.monotonic() - began


def open_files(house: House) -> int:
    assert house.bridge.process is not None
    return len(list(Path(f"/proc/{house.bridge.process.pid}/fd").iterdir()))


def connected(port: int) -> socket.socket:
    made = socket.socket()
    made.settimeout(15)
    made.connect(("127.0.0.1", port))
    return made


def test_thousands_of_connections_are_turned_away_and_the_house_goes_on(served: tuple[House, Client]) -> None:
    house, page = served
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(hard, MANY + 500), hard))
    held: list[socket.socket] = []
    try:
        for _ in range(MANY):
            made = socket.socket()
            made.setblocking(False)
            with contextlib.suppress(BlockingIOError, OSError):
                made.connect(("127.0.0.1", page.port))
            held.append(made)
        assert moves_over_the_broker(house, "60") < 2.0
        assert open_files(house) < FILES_MAX
        house.ear.wait(lambda: house.motion("study") == "lowering", "study is lowering")
    finally:
        for each in held:
            each.close()
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
    page.wait_open()
    house.wait_at_rest("study", "60")
    text = page.get("/metrics")[2].decode()
    turned = next(line for line in text.splitlines() if 'ended_total{why="too-many"}' in line)
    assert int(turned.rpartition(" ")[2]) > 100


def test_callers_that_dribble_their_headers_or_never_speak_are_ended(served: tuple[House, Client]) -> None:
    house, page = served
    silent = [connected(page.port) for _ in range(20)]
    slow = [connected(page.port) for _ in range(20)]
    began = time.monotonic()
    for each in slow:
        each.sendall(b"GET /api/house HTTP/1.1\r\nHost: 127.0.0.1\r\n")
    ended = False
    while not ended and time.monotonic() - began < 14:
        for each in slow:
            with contextlib.suppress(OSError):
                each.sendall(b"X-A: b\r\n")
        time.sleep(0.5)
        ended = all(_ended(each) for each in (*silent, *slow))
    assert ended
    assert moves_over_the_broker(house, "70") < 2.0
    for each in (*silent, *slow):
        each.close()


def _ended(made: socket.socket) -> bool:
    made.setblocking(False)
    try:
        return made.recv(4096) == b""
    except BlockingIOError:
        return False
    except OSError:
        return True


def test_a_body_that_never_comes_is_not_waited_for(served: tuple[House, Client]) -> None:
    _, page = served
    made = connected(page.port)
    origin = f"http://127.0.0.1:{page.port}"
    head = f"POST /api/stop HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\nOrigin: {origin}\r\nX-Hembar: 1\r\n"
    made.sendall(f"{head}Content-Type: application/json\r\nContent-Length: 100\r\n\r\n{{".encode())
    began = time.monotonic()
    with contextlib.suppress(ConnectionResetError):
        assert made.recv(4096) == b""
    assert time.monotonic() - began < 14
    made.close()


@pytest.mark.parametrize("length", ["Content-Length: 10000000\r\n", "Transfer-Encoding: chunked\r\n"])
def test_ten_megabytes_are_refused_and_not_kept(served: tuple[House, Client], length: str) -> None:
    house, page = served
    made = connected(page.port)
    origin = f"http://127.0.0.1:{page.port}"
    head = f"POST /api/stop HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\nOrigin: {origin}\r\nX-Hembar: 1\r\n"
    made.sendall(f"{head}Content-Type: application/json\r\n{length}\r\n".encode())
    with contextlib.suppress(OSError):
        for _ in range(160):
            part = b"x" * 65536
            made.sendall(b"10000\r\n" + part + b"\r\n" if "chunked" in length else part)
    with contextlib.suppress(ConnectionResetError):
        assert b" 413 " in made.recv(65536)[:20]
    made.close()
    text = page.get("/metrics")[2].decode()
    assert 'hembar_page_refusals_total{error="too-large"} 1' in text
    assert moves_over_the_broker(house, "80") < 2.0


@pytest.mark.parametrize(
    "rubbish",
    [
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
        b"GET / HTTP/9.9\r\n\r\n",
        b"\x00" * 5000,
        b"GET " + b"/" * 100_000 + b" HTTP/1.1\r\nHost: a\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\n" + b"X: y\r\n" * 20_000 + b"\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost : a\r\n\r\n",
        b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
        b"GET http://evil.example/ HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
    ],
)
def test_what_is_no_proper_request_ends_the_connection_and_nothing_else(
    served: tuple[House, Client], rubbish: bytes
) -> None:
    house, page = served
    made = connected(page.port)
    with contextlib.suppress(OSError):
        made.sendall(rubbish)
        answer = made.recv(65536)
        assert not answer.startswith(b"HTTP/1.1 2")
    made.close()
    assert page.get("/api/house")[0] == 200
    assert not [line for line in house.bridge.lines() if line["event"] == "page.request.failed"]


def test_a_name_rebound_to_this_machine_and_another_site_move_nothing(served: tuple[House, Client]) -> None:
    house, page = served
    seen = len(house.ear.motion_orders("attic-board", 0))
    evil = {"Host": "evil.example", "Origin": "http://evil.example"}
    assert page.change("/api/shades/study/ask", {"open_pct": 10}, **evil)[0] == 421
    assert page.change("/api/shades/study/ask", {"open_pct": 10}, Origin="http://evil.example")[0] == 403
    assert page.get("/api/house", Host="evil.example")[0] == 421
    refused = house.bridge.logged("page.request.refused")
    assert [line["error"] for line in refused] == ["wrong-host", "wrong-origin", "wrong-host"]
    assert len(house.ear.motion_orders("attic-board", 0)) == seen


def test_paths_lead_nowhere_and_lines_of_the_log_stay_lines(served: tuple[House, Client]) -> None:
    house, page = served
    for path in ("/../../etc/passwd", "/%2e%2e/%2e%2e/etc/passwd", "/..%5c..%5c", "/a%0d%0aforged%1b%5b2J"):
        assert page.get(path)[0] == 404
    for line in house.bridge.log.read_text().splitlines():
        assert line.startswith("{")
        assert line.isprintable()


def test_a_reader_that_stops_reading_is_dropped_and_others_see_all(served: tuple[House, Client]) -> None:
    house, page = served
    stuck = connected(page.port)
    stuck.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
    stuck.sendall(f"GET /api/events HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\n\r\n".encode())
    with listening(page.port) as looking:
        looking.wait(lambda event, _: event == "house", "the house")
        assert moves_over_the_broker(house, "50") < 2.0
        looking.wait(lambda event, said: event == "change" and "lowering" in str(said), "study is lowering")
    stuck.close()
