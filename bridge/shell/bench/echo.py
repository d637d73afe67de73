"""The baselines: bare clients, JSON in and JSON out, each as its own process.

`bare` is the plain use of aiomqtt, tuned: no delay on the sockets, one connection to hear and one to speak,
and no publish waits for another's acknowledgement. `own` speaks by the connections that the bridge itself
uses, so that nobody takes for the bridge's merit what is only its client's. Neither decides anything, writes
anything down or shows anything.
"""

from __future__ import annotations

import asyncio
import json
import socket
import sys

import aiomqtt

from bridge.adapters.broker.connection import Connection
from bridge.adapters.broker.messages import Address, Incoming, Publication, Subscription

NODELAY = ((socket.IPPROTO_TCP, socket.TCP_NODELAY, 1),)
IN, OUT, READY = "in", "out", "ready"
BARE, OWN = "bare", "own"


async def bare(host: str, port: int, root: str) -> None:
    """Answer `<root>/<lane>/in` at `<root>/<lane>/out` until cancelled."""
    async with _client(host, port, f"{root}-in") as hearing, _client(host, port, f"{root}-out") as speaking:
        await hearing.subscribe(f"{root}/+/{IN}", 1)
        await speaking.publish(f"{root}/{READY}", b"{}", 1, retain=True)
        underway: set[asyncio.Task[None]] = set()
        async for message in hearing.messages:
            topic, answer = _answer(message.topic.value, bytes(message.payload))
            task = asyncio.create_task(speaking.publish(topic, answer, 1))
            underway.add(task)
            task.add_done_callback(underway.discard)


async def own(host: str, port: int, root: str) -> None:
    """Do the same on two of the bridge's connections."""
    address = Address(host=host, port=port, client_id=root)
    speaking = Connection(address, v5=True, client_id=f"{root}-out")

    def hear(message: Incoming) -> None:
        topic, answer = _answer(message.topic, message.payload)
        speaking.publish(Publication(topic=topic, payload=answer), lambda _allowed: None)

    hearing = Connection(address, v5=True, client_id=f"{root}-in", on_message=hear)
    await speaking.open()
    await hearing.open()
    await hearing.subscribe([Subscription(topic=f"{root}/+/{IN}")])
    await speaking.say(Publication(topic=f"{root}/{READY}", payload=b"{}", retain=True))
    await hearing.lost


def _answer(topic: str, payload: bytes) -> tuple[str, bytes]:
    answer = {"v": 1, "do": "go", "to": json.loads(payload)}
    return topic.removesuffix(IN) + OUT, json.dumps(answer).encode()


def _client(host: str, port: int, name: str) -> aiomqtt.Client:
    version = aiomqtt.ProtocolVersion.V5
    return aiomqtt.Client(host, port, identifier=name, protocol=version, socket_options=NODELAY)


if __name__ == "__main__":
    asyncio.run({BARE: bare, OWN: own}[sys.argv[1]](sys.argv[2], int(sys.argv[3]), sys.argv[4]))
