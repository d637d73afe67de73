"""Keeping in touch: Wi-Fi, then the broker, each tried again after growing pauses. It never waits.

Knows nothing of motors; a board without a network is a board all the same.
"""

from bridge.board import mqtt, words

try:
    from typing import Any
except ImportError:  # MicroPython has no typing, and looks at no annotation
    pass

RETRY_MS, RETRY_MOST_MS = 200, 2000
WIFI_RETRY_MS, WIFI_RETRY_MOST_MS = 5000, 60_000
# A connection that falls sooner has not shown that all is well, so the pauses go on growing.
STEADY_MS = 5000


class Pauses:
    """Growing pauses, some 20 % apart from those of other boards: after a power cut all call at once."""

    def __init__(self, first_ms: int, most_ms: int, seed: int) -> None:
        self.first_ms, self.most_ms, self.seed = first_ms, most_ms, seed & 0xFFFF
        self.reset()

    def reset(self) -> None:
        self.next_ms = self.first_ms

    def pause_ms(self) -> int:
        # A linear congruence; it need not be good, only different.
        self.seed = (self.seed * 77 + 12345) & 0xFFFF
        pause = self.next_ms * (80 + self.seed % 41) // 100
        self.next_ms = min(self.most_ms, 2 * self.next_ms)
        return pause


class Network:
    """The way from a board to its broker.

    Args:
        settings: A `settings.Settings`.
        board: A `board.Board`, which is told of the connection.
        wifi: `up()`, `join()` and `leave()`; None where the network is simply there.
    """

    def __init__(self, settings: "Any", board: "Any", wifi: "Any", now_ms: int) -> None:
        self.settings, self.board, self.wifi = settings, board, wifi
        self.client = mqtt.Client(settings.board, self, settings.user, settings.password)
        seed = sum(settings.board.encode()) * 31 + board.records.boot
        self._pauses = Pauses(RETRY_MS, RETRY_MOST_MS, seed)
        self._wifi_pauses = Pauses(WIFI_RETRY_MS, WIFI_RETRY_MOST_MS, seed)
        self._next_ms, self._next_wifi_ms = now_ms, now_ms
        self._began_ms = now_ms
        self._tried = self._leaving = False

    def connected(self) -> None:
        """The client has come through."""
        self.board.publish = self.client.publish
        self.board.connected()

    def message(self, topic: str, payload: bytes, retained: bool) -> None:
        """The client has heard something; who takes leave obeys nothing any more."""
        if not self._leaving:
            self.board.message(topic, payload, retained)

    def tick(self, now_ms: int) -> None:
        """Do what is due."""
        if self.wifi is not None and not self._wifi_up(now_ms):
            return
        if self.client.state != mqtt.CLOSED:
            self.client.poll(now_ms)
        if self.client.state == mqtt.CLOSED:
            self.board.publish = None
            if self._tried:
                self._tried = False
                if now_ms - self._began_ms > STEADY_MS:
                    self._pauses.reset()
                self._next_ms = now_ms + self._pauses.pause_ms()
            elif now_ms - self._next_ms >= 0:
                self._call(now_ms)

    def _wifi_up(self, now_ms: int) -> bool:
        if self.wifi.up():
            self._wifi_pauses.reset()
            self._next_wifi_ms = now_ms
            return True
        self.client.close()
        self.board.publish = None
        if now_ms - self._next_wifi_ms >= 0:
            self.wifi.join()
            self._next_wifi_ms = now_ms + self._wifi_pauses.pause_ms()
        return False

    def _call(self, now_ms: int) -> None:
        self._tried, self._began_ms = True, now_ms
        board, settings = self.board, self.settings
        will = board.link(words.LOST)
        self.client.connect(settings.address, settings.port, board.topics, board.link_topic, will, now_ms)

    def say_off(self) -> None:
        """Say `off` on the link topic; nothing is said or obeyed after it."""
        self._leaving = True
        if self.client.open:
            self.client.publish(self.board.link_topic, self.board.link(words.OFF))
        self.board.publish = None

    def told(self, now_ms: int) -> bool:
        """Say whether the broker has acknowledged all: a connection closed before it has may lose some."""
        self.client.poll(now_ms)
        return self.client.told

    def farewell(self) -> None:
        """Take leave of the broker."""
        if self.client.open:
            self.client.farewell()
