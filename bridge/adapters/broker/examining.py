"""A visit that looks the broker over: what it lets through, what it still holds, what certificate it shows.

Every probe is harmless by what it carries; what is safe to send is the caller's business.
"""

from __future__ import annotations

import ssl
import time
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import MQTTErrorCode

from bridge.adapters.broker.messages import Incoming
from bridge.adapters.broker.oneshot import QUIET_S, Visit

# MQTT 5.0 (OASIS, 2019), 2.4: reason codes from 0x80 on are failures.
FAILED = 0x80
ACKNOWLEDGED_WITHIN_S = 2.0


class Examination(Visit):
    """One connection, open inside `with`; see `Visit`.

    Attributes:
        packet_max: The largest packet that the broker takes, in bytes; None when it names no bound.
    """

    packet_max: int | None = None

    def allowed(self, topic: str, payload: bytes, *, retain: bool = False) -> bool | None:
        """Publish and return whether the broker let it through; None when it does not say (before MQTT 5)."""
        client = self._open_client()
        self._published: dict[int, int] = getattr(self, "_published", {})
        client.on_publish = self._on_publish
        info = client.publish(topic, payload, qos=1, retain=retain)
        if info.rc is not MQTTErrorCode.MQTT_ERR_SUCCESS:
            raise self._gone("the connection broke")
        until_s = time.monotonic() + ACKNOWLEDGED_WITHIN_S
        while info.mid not in self._published and time.monotonic() < until_s:
            self._turn()
        code = self._published.pop(info.mid, None)
        return None if code is None or not self._v5 else code < FAILED

    def comes_back(self, topic: str, payload: bytes) -> bool:
        """Publish, not retained, to a topic of our own and say whether the very same bytes come back."""
        return topic in self.come_back({topic: payload}, [topic])

    def come_back(self, probes: Mapping[str, bytes], filters: Sequence[str]) -> set[str]:
        """Publish, not retained, and return the topics from which the very same bytes come back."""
        client = self._open_client()
        back: set[str] = set()

        def keep(_client: paho.Client, _data: Any, message: paho.MQTTMessage) -> None:
            if not message.retain and probes.get(message.topic) == bytes(message.payload):
                back.add(message.topic)

        client.on_message = keep
        try:
            self._await_grant(*client.subscribe([(each, 1) for each in filters]))
            for topic, payload in probes.items():
                self._publish(topic, payload)
            until_s, known = time.monotonic() + ACKNOWLEDGED_WITHIN_S, 0
            while len(back) < len(probes) and time.monotonic() < until_s:
                self._turn()
                if len(back) > known:
                    until_s, known = time.monotonic() + ACKNOWLEDGED_WITHIN_S, len(back)
            client.unsubscribe(list(filters))
        finally:
            client.on_message = self._on_message
        return back

    def held(self, filters: Sequence[str]) -> list[Incoming]:
        """Return what is retained on some filters."""
        found = self.heard(filters, within_s=QUIET_S)
        return [each for each in found if each.retained and each.payload]

    def heard(self, filters: Sequence[str], *, within_s: float) -> list[Incoming]:
        """Return what comes until `within_s` have passed in silence, twenty times that at most."""
        client = self._open_client()
        self._heard_all: list[Incoming] = []
        client.on_message = self._keep
        try:
            self._await_grant(*client.subscribe([(each, 1) for each in filters]))
            began_s = self._heard_s = time.monotonic()
            while time.monotonic() < min(self._heard_s + within_s, began_s + 20 * within_s):
                self._turn()
            client.unsubscribe(list(filters))
        finally:
            client.on_message = self._on_message
        return self._heard_all

    def certificate_until(self) -> datetime | None:
        """Return when the certificate that the broker shows expires; None without TLS."""
        sock = self._open_client().socket()
        said = sock.getpeercert() if isinstance(sock, ssl.SSLSocket) else None
        ends = (said or {}).get("notAfter")
        return datetime.fromtimestamp(ssl.cert_time_to_seconds(ends), UTC) if isinstance(ends, str) else None

    def _open_client(self) -> paho.Client:
        assert self._client is not None, "a visit is open inside `with` only"
        return self._client

    def _keep(self, _client: paho.Client, _data: Any, message: paho.MQTTMessage) -> None:
        self._heard_s = time.monotonic()
        self._heard_all.append(
            Incoming(
                topic=message.topic,
                payload=bytes(message.payload),
                retained=bool(message.retain),
                qos=message.qos,
            )
        )

    def _on_publish(self, _client: paho.Client, _data: Any, mid: int, code: Any, _properties: Any) -> None:
        self._published[mid] = int(code.value)

    def _on_connect(self, client: paho.Client, data: Any, flags: Any, code: Any, properties: Any) -> None:
        super()._on_connect(client, data, flags, code, properties)
        self.packet_max = getattr(properties, "MaximumPacketSize", None)
