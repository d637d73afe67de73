"""A short visit to the broker for one command: read the device tree, ask for something, watch what comes.

Blocking, on paho alone, so that a command starts fast. What the values mean is the command's business; the
words by which a request is taken or refused are the tree's: its `$target` or event value, or a log line
`refused: ...` that names it.
"""

from __future__ import annotations

import secrets
import socket
import time
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from types import TracebackType
from typing import Any, Self

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.subscribeoptions import SubscribeOptions

from bridge.adapters.broker.encryption import encryption
from bridge.adapters.broker.messages import Address, Incoming, refusal
from bridge.adapters.doors import read_json
from bridge.core.errors import LinkError

QUIET_S = 0.3
# What one change of a shade publishes comes within this, and is one line to a watcher.
BURST_S = 0.1
BURST_LONGEST_S = 0.5
_POLL_S = 0.05
# MQTT 5.0 (OASIS, 2019), table 3-1.
_UNSUPPORTED_VERSION = 132


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What came of a request: taken, refused with a reason, or neither in time (`taken` is None)."""

    taken: bool | None
    reason: str = ""


class Visit:
    """One connection, open inside `with`.

    Args:
        address: The broker; `client_id` is only a stem here, since visits may overlap.
        domain: What the tree's topics begin with.
        root: Id of the bridge's own device.
        patience_s: How long to wait for the broker itself.

    Raises:
        LinkError: from every method, when the broker is not there or goes away.
    """

    def __init__(
        self, address: Address, *, domain: str = "homie", root: str = "hembar", patience_s: float = 3.0
    ) -> None:
        self._address = address
        self._prefix = f"{domain}/5/"
        self._root = root
        self._patience_s = patience_s
        self._client: paho.Client | None = None
        self._code: int | None = None
        self._granted: dict[int, bool] = {}
        self._seen: dict[str, bytes] = {}
        self._live: deque[tuple[str, bytes]] = deque(maxlen=1000)
        self._heard_s = self._handed_back_s = 0.0
        self._changed: dict[str, None] = {}
        self._overheard_topic: str | None = None
        self._overheard: deque[Incoming] = deque(maxlen=1000)
        self._v5 = True

    def __enter__(self) -> Self:
        try:
            self._connect(MQTTProtocolVersion.MQTTv5)
        except _OldBrokerError:
            self._connect(MQTTProtocolVersion.MQTTv311)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._client is not None:
            self._client.disconnect()
            self._client = None

    def tree(self) -> dict[str, dict[str, bytes]]:
        """Return what the broker holds: by device id, the root's first, values by levels below the device.

        Empty when no bridge has ever been here.
        """
        self._subscribe([self._root])
        description = self._seen.get(f"{self._prefix}{self._root}/$description")
        if description is None:
            return {}
        said = read_json(description, where=f"{self._prefix}{self._root}/$description", limit=1 << 20)
        named = said.get("children", []) if isinstance(said, dict) else []
        children = [child for child in named if isinstance(child, str) and child.replace("-", "").isalnum()]
        if children:
            self._subscribe(children)
        return {device: self.device(device) for device in (self._root, *children)}

    def device(self, device: str) -> dict[str, bytes]:
        """Return what has been read of a device so far, by the levels below it."""
        prefix = f"{self._prefix}{device}/"
        return {
            topic.removeprefix(prefix): payload
            for topic, payload in self._seen.items()
            if topic.startswith(prefix) and payload
        }

    def ask(self, device: str, levels: str, payload: bytes, *, within_s: float) -> Answer:
        """Publish to `<levels>/set` of a device and wait until the bridge takes or refuses it.

        Ask only while the root's `$state` is `ready`: a tree that is being opened publishes old targets anew.
        """
        prefix = f"{self._prefix}{device}/"
        self._subscribe([device])
        self._live.clear()
        self._publish(f"{prefix}{levels}/set", payload)
        taken = {(f"{prefix}{levels}/$target", payload), (f"{prefix}{levels}", payload)}
        refused = refusal(levels, payload, "").encode()
        deadline_s = time.monotonic() + within_s
        while time.monotonic() < deadline_s:
            self._turn()
            while self._live:
                topic, said = self._live.popleft()
                if said and (topic, said) in taken:  # an empty value is a deletion, never an answer
                    return Answer(taken=True)
                if topic == f"{prefix}$log/warn" and said.startswith(refused):
                    return Answer(taken=False, reason=said.removeprefix(refused).decode("utf-8", "replace"))
        return Answer(taken=None)

    def follow(
        self, device: str, done: Callable[[Mapping[str, bytes]], bool], *, within_s: float
    ) -> tuple[dict[str, bytes], bool]:
        """Watch a device until `done` says so of its values; returns them, and whether it did in time.

        What belongs to the same change and comes a moment later is among them; `done` must still hold then: a
        shade that has met its switch stands for a moment before it goes back to its limit.
        """
        self._subscribe([device])
        deadline_s = time.monotonic() + within_s
        while True:
            while not done(values := self.device(device)):
                if time.monotonic() >= deadline_s:
                    return values, False
                self._turn()
            settled_s = time.monotonic() + BURST_LONGEST_S
            while time.monotonic() < min(settled_s, self._heard_s + BURST_S):
                self._turn()
            if done(values := self.device(device)):
                return values, True

    def changes(self, *, within_s: float | None = None) -> Iterator[str]:
        """Yield the id of each device whose values change, once for each burst of messages, after `tree`.

        Ends after `within_s`, never when None. A new child of the root is read and yielded as well.
        """
        until_s = None if within_s is None else time.monotonic() + within_s
        began_s = time.monotonic()
        self._changed.clear()
        while until_s is None or time.monotonic() < until_s:
            if not self._changed:
                began_s = time.monotonic()
            self._turn()
            now_s = time.monotonic()
            if not self._changed or (now_s - self._heard_s < BURST_S and now_s - began_s < BURST_LONGEST_S):
                continue
            changed, self._changed = list(self._changed), {}
            if self._root in changed:
                self.tree()
            yield from changed

    def overhear(self, topic: str, *, within_s: float) -> Iterator[Incoming]:
        """Yield what is published on any topic from now on; `retained`: its sender retains (MQTT 5 only)."""
        assert self._client is not None, "a visit is open inside `with` only"
        self._overheard_topic = topic
        if self._v5:
            options = SubscribeOptions(qos=1, retainAsPublished=True, retainHandling=2)
            self._await_grant(*self._client.subscribe(topic, options=options))
        else:
            self._await_grant(*self._client.subscribe(topic, 1))
        until_s = time.monotonic() + within_s
        while time.monotonic() < until_s:
            self._turn()
            while self._overheard:
                message = self._overheard.popleft()
                if (
                    self._v5 or not message.retained
                ):  # before MQTT 5 the flag means an old message, handed back
                    yield message

    def _connect(self, version: MQTTProtocolVersion) -> None:
        v5 = self._v5 = version is MQTTProtocolVersion.MQTTv5
        client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"{self._address.client_id}-{secrets.token_hex(4)}",
            clean_session=None if v5 else True,
            protocol=version,
            reconnect_on_failure=False,
        )
        if self._address.username is not None:
            client.username_pw_set(self._address.username, self._address.password)
        client.connect_timeout = self._patience_s
        client.on_socket_open = _no_delay
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        self._code = None
        try:
            if (context := encryption(self._address)) is not None:
                client.tls_set_context(context)
            client.connect(self._address.host, self._address.port, self._address.keepalive_s)
        except OSError as error:
            raise self._gone(error.strerror or str(error) or "no answer in time") from error
        self._client = client
        self._await_connack(v5=v5)

    def _await_connack(self, *, v5: bool) -> None:
        assert self._client is not None
        deadline_s = time.monotonic() + self._patience_s
        code = MQTTErrorCode.MQTT_ERR_SUCCESS
        while self._code is None and code is MQTTErrorCode.MQTT_ERR_SUCCESS:
            if time.monotonic() >= deadline_s:
                break
            code = self._client.loop(_POLL_S)
        if self._code == 0:
            return
        self._client = None
        if v5 and self._code in (None, _UNSUPPORTED_VERSION):
            raise _OldBrokerError
        problem = (
            "it does not answer" if self._code is None else f"it refused the connection, code {self._code}"
        )
        raise self._gone(problem)

    def _subscribe(self, devices: list[str]) -> None:
        """Subscribe and return once the retained messages are here."""
        assert self._client is not None
        fence = f"{self._address.client_id}/visit/{secrets.token_hex(8)}"
        filters = [(f"{self._prefix}{device}/#", 1) for device in devices]
        deadline_s = time.monotonic() + self._patience_s
        self._await_grant(*self._client.subscribe([*filters, (fence, 1)]))
        # What was retained comes before this comes back; where it may not, that no more follows must do.
        self._publish(fence, b"-")
        self._heard_s = self._handed_back_s = time.monotonic()
        while fence not in self._seen and time.monotonic() < self._handed_back_s + QUIET_S:
            self._turn(deadline_s)
        self._seen.pop(fence, None)
        self._client.unsubscribe(fence)

    def _await_grant(self, code: MQTTErrorCode, mid: int | None) -> None:
        if code is not MQTTErrorCode.MQTT_ERR_SUCCESS or mid is None:
            raise self._gone("the connection broke")
        deadline_s = time.monotonic() + self._patience_s
        while mid not in self._granted:
            self._turn(deadline_s)
        if not self._granted[mid]:
            raise self._gone("it refused the subscription")

    def _publish(self, topic: str, payload: bytes) -> None:
        assert self._client is not None
        info = self._client.publish(topic, payload, qos=1)
        if info.rc is not MQTTErrorCode.MQTT_ERR_SUCCESS:
            raise self._gone("the connection broke")

    def _turn(self, deadline_s: float | None = None) -> None:
        assert self._client is not None, "a visit is open inside `with` only"
        if deadline_s is not None and time.monotonic() >= deadline_s:
            raise self._gone("it does not answer")
        if self._client.loop(_POLL_S) is not MQTTErrorCode.MQTT_ERR_SUCCESS:
            raise self._gone("the connection broke")

    def _gone(self, problem: str) -> LinkError:
        return LinkError(
            where=f"broker {self._address}",
            problem=problem,
            remedy="start the broker, or correct [broker] or --broker",
        )

    def _on_connect(self, _client: paho.Client, _data: Any, _flags: Any, code: Any, _properties: Any) -> None:
        self._code = int(code.value)

    def _on_subscribe(self, _client: paho.Client, _data: Any, mid: int, codes: Any, _properties: Any) -> None:
        self._granted[mid] = all(code.value < 128 for code in codes)

    def _on_message(self, _client: paho.Client, _data: Any, message: paho.MQTTMessage) -> None:
        self._heard_s = time.monotonic()
        if message.retain:
            self._handed_back_s = self._heard_s
        topic, payload = message.topic, bytes(message.payload)
        if topic == self._overheard_topic:
            self._overheard.append(
                Incoming(topic=topic, payload=payload, retained=bool(message.retain), qos=message.qos)
            )
            return
        if not message.retain:
            self._live.append((topic, payload))
        if not topic.endswith("/set") and "/$log/" not in topic:
            if topic.startswith(self._prefix) and self._seen.get(topic) != payload:
                self._changed[topic.removeprefix(self._prefix).split("/")[0]] = None
            self._seen[topic] = payload


class _OldBrokerError(Exception):
    """The broker does not speak MQTT 5."""


def _no_delay(_client: paho.Client, _data: object, sock: Any) -> None:
    if isinstance(sock, socket.socket):
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
