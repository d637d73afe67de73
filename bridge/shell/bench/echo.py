"""The baseline: a bare client of the bridge's MQTT library, JSON in and JSON out, as its own process.

Tuned as the bridge is: no delay on the sockets, one connection to hear and one to speak, and no publish
waits for another's acknowledgement. It decides nothing, writes nothing down and shows nothing.
"""

from __future__ import annotations

import asyncio
import json
import socket
import sys

import aiomqtt

NODELAY = ((socket.IPPROTO_TCP, socket.TCP_NODELAY, 1),)
IN, OUT, READY = "in", "out", "ready"


async def echo(host: str, port: int, root: str) -> None:
    """Answer `<root>/<lane>/in` at `<root>/<lane>/out` until cancelled."""
    async with _client(host, port, f"{root}-in") as hearing, _client(host, port, f"{root}-out") as speaking:
        await hearing.subscribe(f"{root}/+/{IN}", 1)
        await speaking.publish(f"{root}/{READY}", b"{}", 1, retain=True)
        underway: set[asyncio.Task[None]] = set()
        async for message in hearing.messages:
            said = json.loads(message.payload)
            answer = json.dumps({"v": 1, "do": "go", "to": said}).encode()
            topic = message.topic.value.removesuffix(IN) + OUT
            task = asyncio.create_task(speaking.publish(topic, answer, 1))
            underway.add(task)
            task.add_done_callback(underway.discard)


def _client(host: str, port: int, name: str) -> aiomqtt.Client:
    version = aiomqtt.ProtocolVersion.V5
    return aiomqtt.Client(host, port, identifier=name, protocol=version, socket_options=NODELAY)


if __name__ == "__main__":
    asyncio.run(echo(sys.argv[1], int(sys.argv[2]), sys.argv[3]))
