import socket
import time
from collections.abc import Callable
from typing import Any

import pytest

from bridge.board import mqtt
from bridge.board.network import Network
from bridge.board.settings import Settings
from tests.board_rig import Rig, settings


class Radio:
    def __init__(self) -> None:
        self.joined = False
        self.tries: list[int] = []
        self.now_ms = 0

    def up(self) -> bool:
        return self.joined

    def join(self) -> None:
        self.tries.append(self.now_ms)


def test_wifi_is_tried_again_after_growing_pauses_and_the_broker_only_once_it_is_there() -> None:
    rig, radio = Rig(), Radio()
    network = Network(Settings(settings()), rig.board, radio, 0)
    for radio.now_ms in range(0, 600_000, 100):
        network.tick(radio.now_ms)
    gaps = [after - before for before, after in zip(radio.tries, radio.tries[1:], strict=False)]
    assert 4000 <= gaps[0] <= 6100
    assert all(47_900 <= gap <= 72_100 for gap in gaps[5:])
    assert network.client.state == mqtt.CLOSED
    assert rig.board.publish is None


# One side of a real loopback connection, a hand-made broker on the other.


class Ears:
    def __init__(self) -> None:
        self.heard: list[tuple[str, bytes, bool]] = []
        self.greeted = 0

    def connected(self) -> None:
        self.greeted += 1

    def message(self, topic: str, payload: bytes, retained: bool) -> None:
        self.heard.append((topic, payload, retained))


class Line:
    def __init__(self) -> None:
        self.ears, self.now_ms = Ears(), 0
        self.client = mqtt.Client("den-board", self.ears, None, None)
        with socket.create_server(("127.0.0.1", 0)) as server:
            host, port = server.getsockname()
            self.client.connect(host, port, ["a/order"], "a/link", b"{}", 0)
            self.broker, _ = server.accept()
        self.broker.settimeout(5)
        self.until(lambda: self.client.state == mqtt.GREETING)
        assert self.take(1) == b"\x10"

    def until(self, done: Callable[[], bool]) -> None:
        give_up = time.monotonic() + 5
        while not done():
            assert time.monotonic() < give_up
            self.client.poll(self.now_ms)

    def take(self, size: int) -> bytes:
        self.client.poll(self.now_ms)
        return self.broker.recv(size)

    def open(self) -> None:
        self.broker.recv(4096)
        self.broker.sendall(b"\x20\x02\x00\x00")
        self.until(lambda: self.client.state == mqtt.SUBSCRIBING)
        self.client.poll(self.now_ms)
        assert self.broker.recv(4096)[:1] == b"\x82"
        self.broker.sendall(b"\x90\x03\x00\x01\x01")
        self.until(lambda: self.client.open)

    def close(self) -> None:
        self.client.close()
        self.broker.close()


@pytest.fixture
def line() -> Any:
    made = Line()
    yield made
    made.close()


def publish(topic: bytes, payload: bytes) -> bytes:
    body = len(topic).to_bytes(2, "big") + topic + b"\x00\x07" + payload
    size, left = b"", len(body)
    while True:
        left, digit = divmod(left, 128)
        size += bytes([digit | (0x80 if left else 0)])
        if not left:
            return b"\x32" + size + body


def test_packets_that_come_byte_by_byte_are_put_together_and_acknowledged(line: Line) -> None:
    line.open()
    for byte in publish(b"a/order", b"hello" * 50):
        line.broker.sendall(bytes([byte]))
        line.client.poll(0)
    line.until(lambda: bool(line.ears.heard))
    assert line.ears.heard == [("a/order", b"hello" * 50, False)]
    assert line.take(4) == b"\x40\x02\x00\x07"


def test_a_message_too_large_to_keep_is_passed_over_and_the_next_one_heard(line: Line) -> None:
    line.open()
    line.broker.sendall(publish(b"a/order", b"9" * 60_000) + publish(b"a/order", b"next"))
    line.until(lambda: len(line.ears.heard) == 2)
    assert [payload for _, payload, _ in line.ears.heard] == [b"", b"next"]


def test_a_broker_that_refuses_or_falls_silent_is_left(line: Line) -> None:
    line.broker.sendall(b"\x20\x02\x00\x05")
    line.until(lambda: line.client.state == mqtt.CLOSED)
    silent = Line()
    silent.open()
    silent.now_ms = 2500
    assert silent.take(2) == b"\xc0\x00"
    silent.now_ms = 8000
    silent.client.poll(silent.now_ms)
    assert silent.client.state == mqtt.CLOSED
    silent.close()


def test_the_queue_is_bounded_and_drops_the_oldest_progress_first(line: Line) -> None:
    line.open()
    line.client.publish("a/report", b'{"why":"started"}')
    for number in range(200):
        line.client.publish("a/report", b'{"why":"progress","n":%d}' % number)
    line.client.publish("a/report", b'{"why":"arrived"}')
    sent = b""
    for pid in range(2, 60):
        line.client.poll(0)
        line.broker.sendall(b"\x40\x02" + pid.to_bytes(2, "big"))
        time.sleep(0.001)
    line.client.poll(0)
    line.broker.settimeout(0.2)
    try:
        while data := line.broker.recv(65536):
            sent += data
    except TimeoutError:
        assert sent
    assert sent.count(b"progress") == mqtt.WAITING_MAX - 2
    assert sent.count(b"started") == sent.count(b"arrived") == 1
    assert sent.index(b"started") < sent.index(b"progress") < sent.index(b"arrived")
