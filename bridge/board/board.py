"""A whole board: its channels, its link, its fingers and its wind contact. It knows no socket.

Messages come in through `message` and leave through `publish`, which the network side sets while it is
connected; without it a board goes on with what it was told.
"""

import json

from bridge.board import words
from bridge.board.channel import Channel
from bridge.board.orders import read_json, read_order

try:
    from typing import Any
except ImportError:  # MicroPython has no typing, and looks at no annotation
    pass

# A finger counts once the button has been so for this long.
DEBOUNCE_MS = 30
# A retraction that somebody stopped is taken up again after this pause while the contact still warns.
WIND_AGAIN_MS = 30_000


class Button:
    """One debounced input."""

    def __init__(self) -> None:
        self.down = False
        self._raw, self._since_ms = False, 0

    def changed(self, raw: bool, now_ms: int) -> bool:
        """Whether it has just become pressed, or open again."""
        if raw != self._raw:
            self._raw, self._since_ms = raw, now_ms
        if raw != self.down and now_ms - self._since_ms >= DEBOUNCE_MS:
            self.down = raw
            return True
        return False


class Board:
    """Everything on a board but its network.

    Args:
        settings: A `settings.Settings`.
        hardware: A `hardware.Hardware`.
        records: Its flash, in which this boot has been counted.
    """

    def __init__(self, settings: "Any", hardware: "Any", records: "Any") -> None:
        self.settings, self.hardware, self.records = settings, hardware, records
        self.stem: str = settings.root + "/" + settings.board
        self.channels = [
            Channel(fit, hardware.channels[number], records, number, hardware.ints)
            for number, fit in enumerate(settings.channels)
        ]
        self._buttons = [{name: Button() for name in ("up", "stop", "down")} for _ in self.channels]
        self._contact, self._wind_ms = Button(), 0
        self._greeted = False
        self.publish: Any = None

    @property
    def link_topic(self) -> str:
        return self.stem + "/link"

    @property
    def topics(self) -> "list[str]":
        """What it subscribes to."""
        orders = [self.stem + "/" + str(number) + "/order" for number in range(len(self.channels))]
        return [self.link_topic] + orders

    @property
    def moving(self) -> bool:
        return any(channel.moving for channel in self.channels)

    def link(self, word: str) -> bytes:
        """What its link topic is to say: `up` on connecting, `off` on a clean stop; `lost` is its will."""
        return json.dumps({"link": word, "boot": self.records.boot}, separators=(",", ":")).encode()

    def connected(self) -> None:
        """Greet the broker: the link, then each channel's report."""
        self.publish(self.link_topic, self.link(words.UP))
        for channel in self.channels:
            channel.said.clear()
            channel.say(words.TOLD if self._greeted else words.BOOT)
        self._greeted = True
        self._speak()

    def message(self, topic: str, payload: bytes, retained: bool) -> None:
        """Take one message from the broker."""
        if topic == self.link_topic:
            said = read_json(payload)
            if said is not None and said.get("link") == words.LOST:
                self.publish(self.link_topic, self.link(words.UP))
        elif topic in self.topics and not retained:
            channel = self.channels[int(topic.split("/")[-2])]
            channel.obey(read_order(payload), self.hardware.now_ms())
            self._speak()

    def tick(self, now_ms: int) -> None:
        """Look after motions, fingers and wind; to be called every few milliseconds."""
        for number, channel in enumerate(self.channels):
            channel.tick(now_ms)
            self._feel(number, channel, now_ms)
        self._feel_wind(now_ms)
        self._speak()

    def _feel(self, number: int, channel: Channel, now_ms: int) -> None:
        for name, button in self._buttons[number].items():
            if button.changed(self.hardware.channels[number].pressed(name), now_ms):
                if button.down:
                    channel.press(name, now_ms)
                elif name != "stop":
                    channel.release()

    def _feel_wind(self, now_ms: int) -> None:
        if self.settings.wind_contact is None:
            return
        warns = self._contact.changed(self.hardware.wind(), now_ms) and self._contact.down
        again = self._contact.down and now_ms - self._wind_ms >= WIND_AGAIN_MS
        for channel in self.channels:
            channel.alarm = self._contact.down and channel.fit.exterior
            if channel.alarm and (warns or (again and not channel.moving and channel.raisable)):
                channel.wind(now_ms)
        if warns or again:
            self._wind_ms = now_ms

    def _speak(self) -> None:
        for number, channel in enumerate(self.channels):
            if self.publish is not None:
                for report in channel.said:
                    payload = json.dumps(report, separators=(",", ":")).encode()
                    self.publish(self.stem + "/" + str(number) + "/report", payload)
            channel.said.clear()
