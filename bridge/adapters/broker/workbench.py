"""A visit to the broker that speaks with the boards themselves, for one person at work on one shade.

It hears what it subscribes to, retained messages told apart, and publishes what it is given. What a message
means, and who may say it, is the caller's business.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterable
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import MQTTErrorCode

from bridge.adapters.broker.messages import Incoming
from bridge.adapters.broker.oneshot import QUIET_S, Visit

WAITING_MAX = 1000


class Workbench(Visit):
    """One connection for the boards, besides all that a visit does; raises as `Visit` does."""

    def __init__(self, *args: Any, **named: Any) -> None:
        super().__init__(*args, **named)
        self._wanted: tuple[str, ...] = ()
        self._waiting: deque[Incoming] = deque(maxlen=WAITING_MAX)

    def listen(self, filters: Iterable[str]) -> list[Incoming]:
        """Subscribe, and return what the broker holds there, also when it was subscribed to before."""
        assert self._client is not None, "a visit is open inside `with` only"
        filters = tuple(filters)
        self._wanted = tuple(dict.fromkeys((*self._wanted, *filters)))
        self._await_grant(*self._client.subscribe([(each, 1) for each in filters]))
        self.idle(QUIET_S)
        return self.heard()

    def heard(self) -> list[Incoming]:
        """Return what has come since the last time, oldest first."""
        found = list(self._waiting)
        self._waiting.clear()
        return found

    def idle(self, seconds: float) -> None:
        """Let the connection live for a while."""
        until_s = time.monotonic() + seconds
        while time.monotonic() < until_s:
            self._turn()

    def wait(self, done: Callable[[Incoming], bool], *, within_s: float) -> bool:
        """Take messages until `done` says so of one; False when none did in time."""
        until_s = time.monotonic() + within_s
        while True:
            while self._waiting:
                if done(self._waiting.popleft()):
                    return True
            if time.monotonic() >= until_s:
                return False
            self._turn()

    def say(self, topic: str, payload: bytes, *, retain: bool) -> None:
        """Publish at QoS 1, and see it leave."""
        assert self._client is not None, "a visit is open inside `with` only"
        info = self._client.publish(topic, payload, qos=1, retain=retain)
        if info.rc is not MQTTErrorCode.MQTT_ERR_SUCCESS:
            raise self._gone("the connection broke")
        deadline_s = time.monotonic() + self._patience_s
        while not info.is_published():
            self._turn(deadline_s)

    def _on_message(self, client: paho.Client, data: Any, message: paho.MQTTMessage) -> None:
        if any(paho.topic_matches_sub(each, message.topic) for each in self._wanted):
            self._waiting.append(
                Incoming(
                    topic=message.topic,
                    payload=bytes(message.payload),
                    retained=bool(message.retain),
                    qos=message.qos,
                )
            )
            return
        super()._on_message(client, data, message)
