from collections.abc import Callable

import aiomqtt
import pytest

from tests.mosquitto import BrokerError, Mosquitto, answers


async def retained(broker: Mosquitto, topic: str) -> bytes | None:
    async with aiomqtt.Client(broker.host, broker.port) as client:
        await client.subscribe(topic, qos=1)
        await client.subscribe("end", qos=1)
        await client.publish("end", b"", qos=1)
        async for message in client.messages:
            if message.topic.value == "end":
                return None
            payload = message.payload
            assert isinstance(payload, bytes)
            return payload
    raise AssertionError("the broker closed the connection")


async def test_a_retained_message_is_given_to_a_later_client(mosquitto: Mosquitto, topic_prefix: str) -> None:
    async with aiomqtt.Client(mosquitto.host, mosquitto.port) as client:
        await client.publish(f"{topic_prefix}/kept", b"40", qos=1, retain=True)

    assert await retained(mosquitto, f"{topic_prefix}/kept") == b"40"


async def test_a_killed_broker_comes_back_on_its_port_without_its_retained_messages(
    mosquitto: Mosquitto, topic_prefix: str
) -> None:
    async with aiomqtt.Client(mosquitto.host, mosquitto.port) as client:
        await client.publish(f"{topic_prefix}/kept", b"40", qos=1, retain=True)
    port, first_pid = mosquitto.port, mosquitto.pid

    mosquitto.kill()
    assert not mosquitto.alive
    assert not answers(mosquitto.host, port, "nobody")
    mosquitto.restart()

    assert mosquitto.port == port
    assert mosquitto.pid != first_pid
    assert await retained(mosquitto, f"{topic_prefix}/kept") is None


async def test_a_stopped_broker_with_persistence_keeps_its_retained_messages(
    brokers: Callable[..., Mosquitto], topic_prefix: str
) -> None:
    broker = brokers("persistence true")
    async with aiomqtt.Client(broker.host, broker.port) as client:
        await client.publish(f"{topic_prefix}/kept", b"40", qos=1, retain=True)

    broker.restart()

    assert await retained(broker, f"{topic_prefix}/kept") == b"40"


def test_a_broker_never_takes_a_stranger_on_its_port_for_itself(
    brokers: Callable[..., Mosquitto],
) -> None:
    stranger, ours = brokers(), brokers()
    ours.stop()
    ours.port = stranger.port

    with pytest.raises(BrokerError, match="ended at once"):
        ours.start()
    assert stranger.alive
