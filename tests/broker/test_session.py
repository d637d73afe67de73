import asyncio
import contextlib
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import AsyncIterator, Callable, Iterator
from dataclasses import dataclass, field
from itertools import repeat
from pathlib import Path

import aiomqtt
import pytest

from bridge.adapters.broker.embedded import Embedded
from bridge.adapters.broker.messages import Address, Incoming, Publication, Subscription
from bridge.adapters.broker.oneshot import Visit
from bridge.adapters.broker.queues import Dropped
from bridge.adapters.broker.session import Hooks, Session
from bridge.core.errors import LinkError
from tests.mosquitto import Mosquitto

WITHIN_S = 15.0
# What came first on each connection through a proxy, and the way to break it.
Proxied = list[tuple[bytes, asyncio.StreamWriter]]


@dataclass
class Told:
    """All that a session told its owner, in sequence."""

    up: list[str] = field(default_factory=list)
    downs: int = 0
    messages: list[Incoming] = field(default_factory=list)
    dropped: list[Dropped] = field(default_factory=list)
    troubles: list[LinkError] = field(default_factory=list)
    _news: asyncio.Event = field(default_factory=asyncio.Event)

    def hooks(self) -> Hooks:
        return Hooks(
            on_up=lambda version: self._tell(lambda: self.up.append(version)),
            on_down=lambda: self._tell(self._down),
            on_message=lambda message: self._tell(lambda: self.messages.append(message)),
            on_dropped=lambda dropped: self._tell(lambda: self.dropped.append(dropped)),
            on_trouble=lambda error, _: self._tell(lambda: self.troubles.append(error)),
        )

    def payloads(self, topic: str) -> list[bytes]:
        return [message.payload for message in self.messages if message.topic == topic]

    async def until(self, true: Callable[[], bool]) -> None:
        async with asyncio.timeout(WITHIN_S):
            while not true():
                self._news.clear()
                await self._news.wait()

    def _tell(self, note: Callable[[], None]) -> None:
        note()
        self._news.set()

    def _down(self) -> None:
        self.downs += 1


def every_50_ms() -> Iterator[float]:
    return repeat(0.05)


def session(address: Address, told: Told, prefix: str) -> Session:
    def state(word: bytes) -> Publication:
        return Publication(topic=f"{prefix}/root/$state", payload=word, retain=True)

    return Session(
        address,
        subscriptions=[
            Subscription(topic=f"{prefix}/wish/set", live=True),
            Subscription(topic=f"{prefix}/report"),
        ],
        greeting=state(b"init"),
        will=state(b"lost"),
        farewell=state(b"disconnected"),
        hooks=told.hooks(),
        delays=every_50_ms,
    )


@contextlib.asynccontextmanager
async def running(
    host: str, port: int, prefix: str, *, session_s: int = 30, password: str | None = None
) -> AsyncIterator[tuple[Session, Told]]:
    told = Told()
    address = Address(
        host=host,
        port=port,
        client_id=prefix,
        session_s=session_s,
        username=password and "somebody",
        password=password,
        keepalive_s=5,
    )
    live = session(address, told, prefix)
    task = asyncio.create_task(live.run())
    try:
        yield live, told
    finally:
        task.cancel()
        await asyncio.wait([task])


@contextlib.asynccontextmanager
async def onlooker(broker: Mosquitto, *topics: str) -> AsyncIterator[aiomqtt.Client]:
    async with aiomqtt.Client(broker.host, broker.port) as client:
        for topic in topics:
            await client.subscribe(topic, qos=1)
        yield client


async def next_payload(client: aiomqtt.Client) -> bytes:
    async with asyncio.timeout(WITHIN_S):
        async for message in client.messages:
            return message.payload
    raise AssertionError("the broker closed the connection")


async def say(broker: Mosquitto, topic: str, payload: bytes, *, retain: bool = False) -> None:
    async with aiomqtt.Client(broker.host, broker.port) as client:
        await client.publish(topic, payload, qos=1, retain=retain)


async def test_a_session_comes_up_in_mqtt_5_and_hears_what_is_said(
    mosquitto: Mosquitto, topic_prefix: str
) -> None:
    async with running(mosquitto.host, mosquitto.port, topic_prefix) as (live, told):
        await told.until(lambda: live.up)
        await say(mosquitto, f"{topic_prefix}/wish/set", b"40")
        await told.until(lambda: bool(told.messages))
    assert told.up == ["5"]
    assert told.messages == [Incoming(topic=f"{topic_prefix}/wish/set", payload=b"40", retained=False, qos=1)]
    assert told.downs == 1
    assert not told.troubles


async def test_orders_leave_in_sequence_and_of_values_the_last_one_arrives(
    mosquitto: Mosquitto, topic_prefix: str
) -> None:
    async with running(mosquitto.host, mosquitto.port, topic_prefix) as (live, told):
        await told.until(lambda: live.up)
        for number in range(100):
            assert live.publish(
                Publication(topic=f"{topic_prefix}/report", payload=b"%d" % number), lifetime_s=5.0
            )
            assert live.publish(
                Publication(topic=f"{topic_prefix}/value", payload=b"%d" % number, retain=True)
            )
        await told.until(lambda: len(told.messages) == 100)
        async with onlooker(mosquitto, f"{topic_prefix}/value") as client:
            values = [await next_payload(client)]
            while values[-1] != b"99":  # orders go first: the last value may still be on its way
                values.append(await next_payload(client))
    assert values == sorted(values, key=int)
    assert told.payloads(f"{topic_prefix}/report") == [b"%d" % number for number in range(100)]


async def test_a_killed_broker_is_met_again_when_it_is_back(mosquitto: Mosquitto, topic_prefix: str) -> None:
    async with running(mosquitto.host, mosquitto.port, topic_prefix) as (live, told):
        await told.until(lambda: live.up)
        mosquitto.kill()
        await told.until(lambda: len(told.troubles) >= 2)
        assert not live.up
        assert not live.publish(Publication(topic="order", payload=b"1"), lifetime_s=5.0)
        assert told.dropped == [
            Dropped(publication=Publication(topic="order", payload=b"1"), reason="the broker is gone")
        ]
        mosquitto.restart()
        await told.until(lambda: len(told.up) == 2)
        await say(mosquitto, f"{topic_prefix}/report", b"back")
        await told.until(lambda: bool(told.messages))
    assert told.downs == 2
    assert f"broker 127.0.0.1:{mosquitto.port}: " in str(told.troubles[-1])
    assert "Connect call failed" in str(told.troubles[-1])


async def test_on_leaving_the_root_is_disconnected(mosquitto: Mosquitto, topic_prefix: str) -> None:
    async with onlooker(mosquitto, f"{topic_prefix}/root/$state") as client:
        async with running(mosquitto.host, mosquitto.port, topic_prefix) as (live, told):
            await told.until(lambda: live.up)
            assert await next_payload(client) == b"init"
        assert await next_payload(client) == b"disconnected"


async def test_leaving_a_broker_that_is_frozen_takes_less_than_two_seconds(
    mosquitto: Mosquitto, topic_prefix: str
) -> None:
    async with running(mosquitto.host, mosquitto.port, topic_prefix) as (live, told):
        await told.until(lambda: live.up)
        os.kill(mosquitto.pid, signal.SIGSTOP)
        began_s = time.monotonic()
    took_s = time.monotonic() - began_s
    os.kill(mosquitto.pid, signal.SIGCONT)
    assert took_s < 2.0


PROGRAM = """
import asyncio, sys
sys.path.insert(0, sys.argv[3])
from bridge.adapters.broker.messages import Address
from tests.broker.test_session import Told, session
async def main():
    told = Told()
    address = Address(host="127.0.0.1", port=int(sys.argv[1]), client_id=sys.argv[2])
    task = asyncio.create_task(session(address, told, sys.argv[2]).run())
    await told.until(lambda: bool(told.up))
    print("up", flush=True)
    await task
asyncio.run(main())
"""


async def test_when_the_bridge_is_killed_the_broker_says_lost(
    mosquitto: Mosquitto, topic_prefix: str, request: pytest.FixtureRequest
) -> None:
    async with onlooker(mosquitto, f"{topic_prefix}/root/$state") as client:
        root = str(request.config.rootpath)
        process = await asyncio.create_subprocess_exec(
            sys.executable, "-c", PROGRAM, str(mosquitto.port), topic_prefix, root, stdout=subprocess.PIPE
        )
        assert process.stdout is not None
        assert await process.stdout.readline() == b"up\n"
        process.kill()
        await process.wait()
        assert [await next_payload(client), await next_payload(client)] == [b"init", b"lost"]


async def test_an_error_of_the_owner_ends_the_session_and_is_no_quiet_leave(
    mosquitto: Mosquitto, topic_prefix: str
) -> None:
    told = Told()
    address = Address(host=mosquitto.host, port=mosquitto.port, client_id=topic_prefix)
    live = session(address, told, topic_prefix)
    hooks = told.hooks()

    def fail(message: Incoming) -> None:
        raise ZeroDivisionError

    live._hooks = Hooks(  # noqa: SLF001  # the test plants the bug
        on_up=hooks.on_up,
        on_down=hooks.on_down,
        on_message=fail,
        on_dropped=hooks.on_dropped,
        on_trouble=hooks.on_trouble,
    )
    async with onlooker(mosquitto, f"{topic_prefix}/root/$state") as client:
        task = asyncio.create_task(live.run())
        await told.until(lambda: live.up)
        await say(mosquitto, f"{topic_prefix}/report", b"1")
        with pytest.raises(ZeroDivisionError):
            await task
        assert [await next_payload(client), await next_payload(client)] == [b"init", b"lost"]


async def test_a_retained_wish_is_not_asked_for_and_a_new_one_is_flagged(
    mosquitto: Mosquitto, topic_prefix: str
) -> None:
    await say(mosquitto, f"{topic_prefix}/wish/set", b"old", retain=True)
    await say(mosquitto, f"{topic_prefix}/report", b"old", retain=True)
    async with running(mosquitto.host, mosquitto.port, topic_prefix) as (live, told):
        await told.until(lambda: live.up)
        await say(mosquitto, f"{topic_prefix}/wish/set", b"new", retain=True)
        await say(mosquitto, f"{topic_prefix}/report", b"new", retain=True)
        await told.until(lambda: len(told.messages) == 3)
    flags = {(message.topic, message.payload): message.retained for message in told.messages}
    assert flags == {
        (f"{topic_prefix}/report", b"old"): True,
        (f"{topic_prefix}/wish/set", b"new"): True,
        (f"{topic_prefix}/report", b"new"): False,
    }


async def test_a_wish_during_a_restart_of_the_bridge_is_not_lost(
    mosquitto: Mosquitto, topic_prefix: str
) -> None:
    async with running(mosquitto.host, mosquitto.port, topic_prefix) as (live, told):
        await told.until(lambda: live.up)
    await say(mosquitto, f"{topic_prefix}/wish/set", b"40")
    async with running(mosquitto.host, mosquitto.port, topic_prefix) as (live, told):
        await told.until(lambda: bool(told.messages))
    assert told.payloads(f"{topic_prefix}/wish/set") == [b"40"]


async def test_a_wish_older_than_the_session_is_never_heard(mosquitto: Mosquitto, topic_prefix: str) -> None:
    async with running(mosquitto.host, mosquitto.port, topic_prefix, session_s=1) as (live, told):
        await told.until(lambda: live.up)
    await say(mosquitto, f"{topic_prefix}/wish/set", b"40")
    # The broker looks after its expired sessions every few seconds.
    give_up_s = time.monotonic() + WITHIN_S
    while f"Expiring client {topic_prefix} due to timeout" not in mosquitto.log:
        assert time.monotonic() < give_up_s
        await asyncio.sleep(0.2)
    async with running(mosquitto.host, mosquitto.port, topic_prefix, session_s=1) as (live, told):
        await told.until(lambda: live.up)
        await say(mosquitto, f"{topic_prefix}/wish/set", b"60")
        await told.until(lambda: bool(told.messages))
    assert told.payloads(f"{topic_prefix}/wish/set") == [b"60"]


async def pump(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    with contextlib.suppress(OSError):
        while data := await reader.read(65536):
            writer.write(data)
            await writer.drain()
    writer.close()


@contextlib.asynccontextmanager
async def proxy(broker: Mosquitto, *, versions: tuple[int, ...]) -> AsyncIterator[tuple[int, Proxied]]:
    """Stand before a broker; refuse other protocol levels the way 3.1.1 says (OASIS, 2014, 3.1.2.2)."""
    proxied: Proxied = []
    serving: set[asyncio.Task[None]] = set()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        serving.add(task)
        try:
            first = await reader.readexactly(9)
        except asyncio.IncompleteReadError:
            writer.close()
            return
        level = first[first.index(b"MQTT") + 4] if b"MQTT" in first else 0
        if level not in versions:
            writer.write(b"\x20\x02\x00\x01")
            await writer.drain()
            writer.close()
            return
        back_reader, back_writer = await asyncio.open_connection(broker.host, broker.port)
        rest = await reader.read(65536)
        proxied.append((first + rest, writer))
        back_writer.write(first + rest)
        await asyncio.gather(pump(reader, back_writer), pump(back_reader, writer))

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    async with server:
        yield server.sockets[0].getsockname()[1], proxied
        async with asyncio.timeout(WITHIN_S):
            await asyncio.gather(*serving)


async def test_a_refused_password_is_told_and_not_tried_in_another_version(
    brokers: Callable[..., Mosquitto], tmp_path: Path, topic_prefix: str
) -> None:
    broker = brokers()
    broker.stop()
    # A list of passwords without anybody in it: whoever names himself is refused.
    (tmp_path / "nobody").touch()
    broker.extra = (f"password_file {tmp_path / 'nobody'}",)
    broker.restart()
    async with (
        proxy(broker, versions=(4, 5)) as (port, proxied),
        running("127.0.0.1", port, topic_prefix, password="wrong") as (live, told),
    ):
        await told.until(lambda: len(told.troubles) == 2)
        assert not live.up
    assert "Not authorized" in str(told.troubles[0])
    assert {said[said.index(b"MQTT") + 4] for said, _ in proxied} == {5}


async def test_an_old_broker_is_spoken_to_in_its_own_version(mosquitto: Mosquitto, topic_prefix: str) -> None:
    await say(mosquitto, f"{topic_prefix}/wish/set", b"old", retain=True)
    async with (
        proxy(mosquitto, versions=(4,)) as (port, _),
        running("127.0.0.1", port, topic_prefix) as (live, told),
    ):
        await told.until(lambda: live.up)
        await say(mosquitto, f"{topic_prefix}/wish/set", b"40")
        await told.until(lambda: len(told.messages) == 2)
    assert told.up == ["3.1.1"]
    assert [(message.payload, message.retained) for message in told.messages] == [
        (b"old", True),
        (b"40", False),
    ]


async def test_in_an_old_version_no_wish_outlives_the_connection(
    mosquitto: Mosquitto, topic_prefix: str
) -> None:
    async with proxy(mosquitto, versions=(4,)) as (port, _):
        async with running("127.0.0.1", port, topic_prefix) as (live, told):
            await told.until(lambda: live.up)
        await say(mosquitto, f"{topic_prefix}/wish/set", b"40")
        async with running("127.0.0.1", port, topic_prefix) as (live, told):
            await told.until(lambda: live.up)
            await say(mosquitto, f"{topic_prefix}/wish/set", b"60")
            await told.until(lambda: bool(told.messages))
    assert told.payloads(f"{topic_prefix}/wish/set") == [b"60"]


@pytest.mark.parametrize("which", ["speaking", "hearing"])
async def test_when_one_connection_breaks_both_are_made_anew(
    mosquitto: Mosquitto, topic_prefix: str, which: str
) -> None:
    async with (
        onlooker(mosquitto, f"{topic_prefix}/root/$state") as client,
        proxy(mosquitto, versions=(5,)) as (port, proxied),
        running("127.0.0.1", port, topic_prefix) as (live, told),
    ):
        await told.until(lambda: live.up)
        out = f"{topic_prefix}-out".encode()
        [writer] = [writer for said, writer in proxied if (out in said) is (which == "speaking")]
        writer.transport.abort()
        await told.until(lambda: len(told.up) == 2)
        states = [await next_payload(client) for _ in range(3)]
        while states[-1] == b"lost":  # from us, and from the broker when it is the will's connection
            states.append(await next_payload(client))
        assert states in ([b"init", b"lost", b"init"], [b"init", b"lost", b"lost", b"init"])
        await say(mosquitto, f"{topic_prefix}/report", b"1")
        await told.until(lambda: bool(told.messages))


def no_delay_of_connections_to(port: int) -> list[int]:
    """Look at this process's own sockets, since the client library shows none of its."""
    seen: list[int] = []
    for descriptor in list(Path("/proc/self/fd").iterdir()):
        with contextlib.suppress(OSError), socket.socket(fileno=os.dup(int(descriptor.name))) as own:
            if own.family == socket.AF_INET and own.getpeername()[1] == port:
                seen.append(own.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
    return seen


async def test_both_connections_send_without_delay(mosquitto: Mosquitto, topic_prefix: str) -> None:
    async with running(mosquitto.host, mosquitto.port, topic_prefix) as (live, told):
        await told.until(lambda: live.up)
        assert no_delay_of_connections_to(mosquitto.port) == [1, 1]


@dataclass(frozen=True)
class Encrypted:
    """A broker's second door, and the certificate to trust it by."""

    port: int
    ca_file: str


@pytest.fixture
def encrypted(brokers: Callable[..., Mosquitto], tmp_path: Path) -> Encrypted:
    if shutil.which("openssl") is None:
        pytest.skip("openssl is not installed")
    key, certificate = tmp_path / "key.pem", tmp_path / "certificate.pem"
    asked = "req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 2 -subj /CN=broker"
    command = ["openssl", *asked.split(), "-addext", "subjectAltName=IP:127.0.0.1"]
    subprocess.run([*command, "-keyout", str(key), "-out", str(certificate)], check=True, capture_output=True)
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        port = trial.getsockname()[1]
    brokers(f"listener {port} 127.0.0.1", f"certfile {certificate}", f"keyfile {key}")
    return Encrypted(port=port, ca_file=str(certificate))


async def test_a_session_can_be_encrypted(encrypted: Encrypted, topic_prefix: str) -> None:
    told = Told()
    address = Address(
        host="127.0.0.1", port=encrypted.port, client_id=topic_prefix, tls=True, ca_file=encrypted.ca_file
    )
    live = session(address, told, topic_prefix)
    task = asyncio.create_task(live.run())
    await told.until(lambda: live.up)
    for number in range(50):
        live.publish(Publication(topic=f"{topic_prefix}/report", payload=b"%d" % number))
    await told.until(lambda: len(told.messages) == 50)
    task.cancel()
    await asyncio.wait([task])
    with Visit(address) as visit:
        assert visit.tree() == {}


async def test_a_broker_whose_certificate_is_not_trusted_is_not_spoken_to(
    encrypted: Encrypted, topic_prefix: str
) -> None:
    told = Told()
    address = Address(host="127.0.0.1", port=encrypted.port, client_id=topic_prefix, tls=True)
    task = asyncio.create_task(session(address, told, topic_prefix).run())
    await told.until(lambda: bool(told.troubles))
    task.cancel()
    await asyncio.wait([task])
    assert not told.up
    assert "certificate verify failed" in str(told.troubles[0])


async def test_the_embedded_broker_carries_a_session_in_both_versions(topic_prefix: str) -> None:
    pytest.importorskip("iotcore")
    with Embedded("iotcore") as broker:
        async with running(broker.host, broker.port, topic_prefix, session_s=broker.session_s) as (
            live,
            told,
        ):
            await told.until(lambda: live.up)
            live.publish(Publication(topic=f"{topic_prefix}/report", payload=b"5", retain=True))
            await told.until(lambda: bool(told.messages))
            assert told.up == ["5"]
        async with running(broker.host, broker.port_v3, topic_prefix) as (live, told):
            await told.until(lambda: bool(told.messages))
            assert told.up == ["3.1.1"]
            assert told.payloads(f"{topic_prefix}/report") == [b"5"]
