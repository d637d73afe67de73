"""Boards by the thousand in one process: a client of the real broker speaks for a hundred of them.

They obey the contract as far as a bridge at work needs it: `tell` is answered, `go` begins at once and ends
after a while, all else is acknowledged. Driven by hand like the meter, so that it waits for nobody.
"""

from __future__ import annotations

import contextlib
import json
import select
import socket
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from heapq import heappop, heappush

import paho.mqtt.client as paho
from paho.mqtt.enums import MQTTErrorCode

from bridge.core.errors import LinkError
from bridge.shell.bench.house import Place
from bridge.shell.bench.meter import connected, socket_of

BOARDS_A_CLIENT = 100
# Thousands of boards on a machine that is busy otherwise.
PATIENCE_S = 900.0
# A move of a real shade takes tens of seconds; here each takes as long, so that waves can be told apart.
TRAVEL_S = 2.0


@dataclass(slots=True)
class Channel:
    """One channel: what it has said, and where it is."""

    place: Place
    client: int
    n: int = 0
    seq: int = 0
    count: int = 0
    to: int = 0
    ordered_s: float | None = None


class Crowd:
    """All boards of a house.

    Args:
        host: The broker.
        port: Speaks MQTT 5.
        name: The bridge's device in the tree, and what its boards' topics begin with.
        places: The shades.

    Attributes:
        boot: The boot that all boards are in.
        told: Channels that have answered in this boot.
        going: Channels that have been ordered to go since it was cleared, and when.
        arrived: How many moves have ended.
        known: Topics on which the bridge has said that a position is referenced.
    """

    def __init__(self, host: str, port: int, name: str, places: list[Place]) -> None:
        self._host, self._port, self._root = host, port, f"{name}-boards"
        self._places = places
        boards = list(dict.fromkeys(each.board for each in places))
        self._groups = [boards[at : at + BOARDS_A_CLIENT] for at in range(0, len(boards), BOARDS_A_CLIENT)]
        of = {board: number for number, group in enumerate(self._groups) for board in group}
        self.channels = {
            (each.board, each.channel): Channel(place=each, client=of[each.board]) for each in places
        }
        self.boot = 0
        self.told: set[tuple[str, int]] = set()
        self.going: dict[tuple[str, int], float] = {}
        self.arrived = 0
        self._arrivals: list[tuple[float, str, int]] = []
        self._granted = 0
        self._clients: list[paho.Client] = []
        self._marks = 0
        self._mark = f"homie/5/{name}-{places[0].shade}/reason/release"
        self.known: set[str] = set()

    def come(self, *, powered: bool) -> None:
        """Connect every board, in a new boot when they have just got their power; each says that it is up."""
        self._granted = 0
        self.told.clear()
        if powered:
            self.boot += 1
            for channel in self.channels.values():
                channel.n = channel.seq = 0
        for number, group in enumerate(self._groups):
            client = connected(self._host, self._port, f"{self._root}-crowd-{number}")
            client.on_message = self._ordered
            client.on_subscribe = self._subscribed
            self._clients.append(client)
            watched = [self._mark, "homie/5/+/knowledge/grade"] if number == 0 else []
            orders = [f"{self._root}/{board}/+/order" for board in group]
            client.subscribe([(each, 1) for each in (*watched, *orders)])
        self.until(lambda: self._granted == len(self._groups), "the boards' subscriptions")
        said = json.dumps({"link": "up", "boot": self.boot}).encode()
        for number, group in enumerate(self._groups):
            for board in group:
                self._say(number, f"{self._root}/{board}/link", said, retain=True)

    def say(self, topic: str, payload: bytes) -> float:
        """Publish as whoever asks or measures; return when it left."""
        at_s = time.perf_counter()
        self._say(0, topic, payload)
        return at_s

    def fence(self) -> None:
        """Wait until everything said before now has been decided and shown."""
        before = self._marks
        self.say(f"{self._mark}/set", b"release")
        self.until(lambda: self._marks > before, "the bridge to catch up")

    def live(self, seconds: float) -> None:
        """Let the boards live for a while."""
        until_s = time.perf_counter() + seconds
        while (left_s := until_s - time.perf_counter()) > 0:
            self.turn(min(left_s, 0.02))

    def report(self, shade: int) -> None:
        """Let a shade's channel report where it is though nothing has happened."""
        place = self._places[shade]
        self._report(self.channels[place.board, place.channel], "told")

    def until(self, wanted: Callable[[], bool], what: str, *, within_s: float = PATIENCE_S) -> None:
        """Let the boards live until `wanted`.

        Raises:
            LinkError: it does not come in time.
        """
        give_up_s = time.perf_counter() + within_s
        while not wanted():
            if time.perf_counter() > give_up_s:
                raise self._gone(f"waited {within_s:.0f} s in vain for {what}")
            self.turn(0.02)

    def turn(self, wait_s: float) -> None:
        """Serve every connection once, and let those arrive whose time has come."""
        ready, _, _ = select.select([socket_of(each) for each in self._clients], [], [], wait_s)
        for client in self._clients:
            sock = socket_of(client)
            if sock in ready:
                if client.loop_read() is not MQTTErrorCode.MQTT_ERR_SUCCESS:
                    raise self._gone("the connection of some boards broke")
                sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_QUICKACK, 1)
            if client.want_write():
                client.loop_write()
            client.loop_misc()
        now_s = time.perf_counter()
        while self._arrivals and self._arrivals[0][0] <= now_s:
            _, board, number = heappop(self._arrivals)
            channel = self.channels[board, number]
            channel.count = channel.to
            self.arrived += 1
            self._report(channel, "arrived")

    def leave(self) -> None:
        """End every connection."""
        for client in self._clients:
            client.disconnect()
            with contextlib.suppress(OSError, ValueError):
                client.loop_write()
        self._clients.clear()

    def _subscribed(self, *_: object) -> None:
        self._granted += 1

    def _ordered(self, _client: paho.Client, _data: object, message: paho.MQTTMessage) -> None:
        if message.topic.startswith("homie/"):
            self._watched(message.topic, bytes(message.payload))
            return
        _, board, number, _ = message.topic.split("/")
        order = json.loads(message.payload)
        channel = self.channels[board, int(number)]
        if order.get("boot") != self.boot or order["seq"] <= channel.seq:
            return
        channel.seq = order["seq"]
        if order["do"] == "go":
            now_s = time.perf_counter()
            self.going.setdefault((board, int(number)), now_s)
            channel.to = order["to"]
            heappush(self._arrivals, (now_s + TRAVEL_S, board, int(number)))
            self._report(channel, "started", moving=True)
            return
        asked = order["do"] == "tell"
        if asked:
            self.told.add((board, int(number)))
        self._report(channel, "told" if asked else "stopped", answers=order["seq"] if asked else None)

    def _watched(self, topic: str, payload: bytes) -> None:
        if topic == self._mark:
            self._marks += 1
        elif payload == b"referenced":
            self.known.add(topic)

    def _report(
        self, channel: Channel, why: str, *, moving: bool = False, answers: int | None = None
    ) -> None:
        channel.n += 1
        said = {
            "v": 1,
            "boot": self.boot,
            "n": channel.n,
            "count": channel.count,
            "kept": True,
            "moving": moving,
            "awake": moving,
            "why": why,
            "seq": channel.seq,
            "to": channel.to,
            "answers": answers,
            "senses": [],
        }
        payload = json.dumps(said, separators=(",", ":")).encode()
        topic = f"{self._root}/{channel.place.board}/{channel.place.channel}/report"
        self._say(channel.client, topic, payload)

    def _say(self, number: int, topic: str, payload: bytes, *, retain: bool = False) -> None:
        if self._clients[number].publish(topic, payload, 1, retain).rc is not MQTTErrorCode.MQTT_ERR_SUCCESS:
            raise self._gone("the connection of some boards broke")

    def _gone(self, problem: str) -> LinkError:
        where = f"broker {self._host}:{self._port}"
        return LinkError(where=where, problem=problem, remedy="run the bench again on a calmer machine")


@contextlib.contextmanager
def gathered(host: str, port: int, name: str, places: list[Place]) -> Iterator[Crowd]:
    """Give boards that all leave in the end."""
    crowd = Crowd(host, port, name, places)
    try:
        yield crowd
    finally:
        crowd.leave()
