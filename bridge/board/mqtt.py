"""A small MQTT 3.1.1 client: QoS 1, a will, keepalive, clean session; it never waits.

`poll` does what can be done at once and returns. Packets follow OASIS MQTT 3.1.1 (2014), chapters 2 and 3.
Publishes queue up to a bound; past it the oldest progress goes first. What was not acknowledged when a
connection falls is dropped: whoever owns the client says how things stand after the next greeting.
"""

import select
import socket

try:
    from typing import Any
except ImportError:  # MicroPython has no typing, and looks at no annotation
    pass

KEEPALIVE_S = 5
CONNECT_MS, ACK_MS = 5000, 8000
PACKET_MAX = 4096
WAITING_MAX, IN_FLIGHT_MAX = 40, 8
# EAGAIN, EINPROGRESS, EALREADY of Linux and of the small network stacks alike.
NOT_YET = (11, 115, 114, 119)
TOPIC_MAX = 200

CLOSED, CONNECTING, GREETING, SUBSCRIBING, OPEN = 0, 1, 2, 3, 4


class Client:
    """One connection to a broker at a time.

    Args:
        ears: Is told `connected()` once all subscriptions stand, and `message(topic, payload, retained)`.
    """

    def __init__(self, name: str, ears: "Any", user: "str | None", password: "str | None") -> None:
        self.name, self.ears, self.user, self.password = name, ears, user, password
        self.state = CLOSED
        self._sock: Any = None
        self._poll: Any = None
        self._out, self._in = b"", b""
        self._skip = 0
        self._pid = 0
        self._waiting: list[tuple[str, bytes]] = []
        self._flying: list[tuple[int, int]] = []
        self._since_ms = self._heard_ms = self._sent_ms = 0
        self._topics: list[str] = []

    @property
    def open(self) -> bool:
        return self.state == OPEN

    @property
    def told(self) -> bool:
        """Nothing waits that the broker has not acknowledged, or never will on this connection."""
        return self.state != OPEN or not (self._waiting or self._flying)

    def connect(
        self, address: str, port: int, topics: "list[str]", will_topic: str, will: bytes, now_ms: int
    ) -> None:
        """Begin to connect; the greeting and the subscriptions wait for the network."""
        self.close()
        self._topics = topics
        self._since_ms = self._heard_ms = self._sent_ms = now_ms
        self._waiting, self._flying = [], []
        self._in, self._skip = b"", 0
        self._out = self._greeting(will_topic, will)
        try:
            self._sock = socket.socket()
            self._sock.setblocking(False)
            _no_delay(self._sock)
            where = socket.getaddrinfo(address, port)[0][-1]
            try:
                self._sock.connect(where)
            except OSError as error:
                if error.args[0] not in NOT_YET:
                    raise
            self._poll = select.poll()
            self._poll.register(self._sock, select.POLLIN | select.POLLOUT)
            self.state = CONNECTING
        except OSError:
            self.close()

    def close(self) -> None:
        """Let the connection go without a word, so that the broker speaks the will."""
        self.state = CLOSED
        if self._sock is not None:
            self._sock.close()
        self._sock = self._poll = None

    def farewell(self) -> None:
        """Take leave, so that the broker forgets the will; what was queued goes first as far as it can."""
        if self.state == OPEN:
            self._release(0)
            self._out += b"\xe0\x00"
            self._write(0)
        self.close()

    def publish(self, topic: str, payload: bytes) -> None:
        """Queue a retained message."""
        if self.state != OPEN:
            return
        if len(self._waiting) >= WAITING_MAX:
            at = 0
            for index in range(len(self._waiting)):
                if b'"progress"' in self._waiting[index][1]:
                    at = index
                    break
            self._waiting.pop(at)
        self._waiting.append((topic, payload))

    def idle(self, ms: int) -> None:
        """Wait for the network to speak, `ms` at most."""
        if self._poll is not None:
            self._poll.modify(self._sock, select.POLLIN | (select.POLLOUT if self._out else 0))
            self._poll.poll(ms)

    def poll(self, now_ms: int) -> None:
        """Do what can be done without waiting."""
        if self.state == CLOSED:
            return
        if self.state == CONNECTING:
            self._await_connection()
        else:
            self._read(now_ms)
        if self.state == OPEN:
            self._release(now_ms)
            if now_ms - self._sent_ms > KEEPALIVE_S * 400 and not self._out:
                self._out += b"\xc0\x00"
        if self.state > CONNECTING:
            self._write(now_ms)
        self._check_patience(now_ms)

    # How.

    def _check_patience(self, now_ms: int) -> None:
        slow = CONNECTING <= self.state < OPEN and now_ms - self._since_ms > CONNECT_MS
        unanswered = bool(self._flying) and now_ms - self._flying[0][1] > ACK_MS
        if slow or unanswered or (self.state == OPEN and now_ms - self._heard_ms > KEEPALIVE_S * 1500):
            self.close()

    def _await_connection(self) -> None:
        for event in self._poll.poll(0):
            if event[1] & (select.POLLERR | select.POLLHUP):
                self.close()
                return
            if event[1] & select.POLLOUT:
                self.state = GREETING

    def _greeting(self, will_topic: str, will: bytes) -> bytes:
        # Clean session, will at QoS 1, will retained.
        flags = 0x02 | 0x04 | 0x08 | 0x20
        tail = b""
        if self.user is not None:
            flags |= 0x80
            tail += _text(self.user.encode())
            if self.password is not None:
                flags |= 0x40
                tail += _text(self.password.encode())
        body = b"\x00\x04MQTT\x04" + bytes([flags, 0, KEEPALIVE_S])
        body += _text(self.name.encode()) + _text(will_topic.encode()) + _text(will) + tail
        return _packet(0x10, body)

    def _write(self, now_ms: int) -> None:
        while self._out and self.state != CLOSED:
            try:
                sent = self._sock.send(self._out)
            except OSError as error:
                if error.args[0] not in NOT_YET:
                    self.close()
                return
            if not sent:
                return
            self._sent_ms = now_ms
            self._out = self._out[sent:]

    def _release(self, now_ms: int) -> None:
        """Let waiting messages into the stream, a bounded number unacknowledged at a time."""
        while self._waiting and len(self._flying) < IN_FLIGHT_MAX:
            topic, payload = self._waiting.pop(0)
            self._pid = self._pid % 65535 + 1
            self._flying.append((self._pid, now_ms))
            # QoS 1, retained.
            self._out += _packet(0x33, _text(topic.encode()) + _two(self._pid) + payload)

    def _read(self, now_ms: int) -> None:
        for _ in range(8):
            try:
                data = self._sock.recv(1024)
            except OSError as error:
                if error.args[0] not in NOT_YET:
                    self.close()
                return
            if data is None:
                return
            if not data:
                self.close()
                return
            self._heard_ms = now_ms
            self._take(data)
            if self.state == CLOSED:
                return

    def _take(self, data: bytes) -> None:
        if self._skip:
            gone = min(self._skip, len(data))
            self._skip -= gone
            data = data[gone:]
        self._in += data
        while self.state != CLOSED and self._take_packet():
            pass

    def _take_packet(self) -> bool:
        """Take one packet from what has come; False when there is no whole one."""
        size, at = _remaining(self._in)
        if size < 0:
            if at:
                self.close()
            return False
        if size > PACKET_MAX:
            return self._pass_over(size, at)
        if len(self._in) < at + size:
            return False
        head, body = self._in[0], self._in[at : at + size]
        self._in = self._in[at + size :]
        self._act(head, body)
        return True

    def _pass_over(self, size: int, at: int) -> bool:
        """Acknowledge a message that is too large to keep, and hand on an empty one."""
        need = at + 4 + TOPIC_MAX
        if len(self._in) < min(need, at + size):
            return False
        head, start = self._in[0], self._in[at:need]
        self._skip = max(0, at + size - len(self._in))
        self._in = self._in[at + size :]
        if head & 0xF0 != 0x30 or _number(start) > TOPIC_MAX:
            self.close()
            return False
        length = _number(start) + (4 if head & 0x06 else 2)
        self._act(head, start[:length])
        return True

    def _act(self, head: int, body: bytes) -> None:
        kind = head & 0xF0
        if kind == 0x20:
            if self.state != GREETING or len(body) != 2 or body[1] != 0:
                self.close()
                return
            self.state = SUBSCRIBING
            self._pid = self._pid % 65535 + 1
            wanted = b"".join([_text(topic.encode()) + b"\x01" for topic in self._topics])
            self._out += _packet(0x82, _two(self._pid) + wanted)
        elif kind == 0x90:
            if any(code > 2 for code in body[2:]):
                self.close()
            elif self.state == SUBSCRIBING:
                self.state = OPEN
                self.ears.connected()
        elif kind == 0x40:
            self._flying = [each for each in self._flying if each[0] != _number(body)]
        elif kind == 0x30:
            self._hear(head, body)

    def _hear(self, head: int, body: bytes) -> None:
        length = _number(body)
        at = 2 + length
        if head & 0x06:
            self._out += b"\x40\x02" + body[at : at + 2]
            at += 2
        if len(body) < at:
            self.close()
            return
        try:
            topic = body[2 : 2 + length].decode()
        except ValueError:
            return
        self.ears.message(topic, body[at:], bool(head & 0x01))


def _no_delay(sock: "Any") -> None:
    try:
        # Nagle's algorithm costs 40 ms a message. IPPROTO_TCP is 6 and TCP_NODELAY 1 where names are missing.
        sock.setsockopt(6, 1, 1)
    except OSError:  # a network stack without it still works, only slower
        return


def _packet(head: int, body: bytes) -> bytes:
    size, left = b"", len(body)
    while True:
        left, digit = left // 128, left % 128
        size += bytes([digit | 0x80 if left else digit])
        if not left:
            return bytes([head]) + size + body


def _remaining(data: bytes) -> "tuple[int, int]":
    """The remaining length and where it ends; -1 while it is not all there, -1 and 1 when it is malformed."""
    size = 0
    for at in range(1, 5):
        if len(data) <= at:
            return -1, 0
        size |= (data[at] & 0x7F) << 7 * (at - 1)
        if not data[at] & 0x80:
            return size, at + 1
    return -1, 1


def _text(data: bytes) -> bytes:
    return _two(len(data)) + data


def _two(number: int) -> bytes:
    return bytes([number >> 8, number & 0xFF])


def _number(data: bytes) -> int:
    return (data[0] << 8) + data[1] if len(data) >= 2 else 0
