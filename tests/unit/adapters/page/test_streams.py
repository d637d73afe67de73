"""The event stream in virtual time: everything at once, then what differs, and nobody waits for anybody."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, MutableMapping
from contextlib import asynccontextmanager
from typing import Any

import pytest

from bridge.adapters.page.options import PageSettings
from bridge.adapters.page.refusals import RefusalError
from bridge.adapters.page.streams import BEHIND_MAX, STREAMS_A_CLIENT, Streams
from bridge.adapters.page.visits import visit_of
from bridge.core.events import Switch, Switched
from tests.page_visit import Doorstep, FakeHome

pytestmark = pytest.mark.looptime


class Reader:
    """One browser that looks; `reading` cleared, it takes nothing any more."""

    def __init__(self) -> None:
        self.messages: list[tuple[str, Any]] = []
        self.ids: list[int] = []
        self.some = asyncio.Event()
        self.reading = asyncio.Event()
        self.reading.set()
        self.gone = asyncio.Event()
        self.ended = self.aborted = False
        self._rest = ""

    async def receive(self) -> MutableMapping[str, Any]:
        await self.gone.wait()
        return {"type": "http.disconnect"}

    async def send(self, message: MutableMapping[str, Any]) -> None:
        await self.reading.wait()
        if message["type"] == "http.response.start":
            return
        self.ended = not message.get("more_body")
        *lines, self._rest = (self._rest + message["body"].decode()).split("\n\n")
        for line in lines:
            said = dict(part.split(": ", 1) for part in line.split("\n"))
            if "event" in said:
                self.messages.append((said["event"], json.loads(said["data"])))
                self.ids.append(int(said["id"]))
        self.some.set()

    def abort(self) -> None:
        self.aborted = True
        self.reading.set()

    async def until(self, event: str) -> Any:
        """Wait for the next event of a kind and take everything up to it."""
        while True:
            for place, (kind, said) in enumerate(self.messages):
                if kind == event:
                    del self.messages[: place + 1]
                    return said
            self.some.clear()
            await self.some.wait()


@asynccontextmanager
async def looking(streams: Streams, address: str = "192.168.1.5") -> AsyncIterator[Reader]:
    reader = Reader()
    scope: dict[str, Any] = {
        "method": "GET", "path": "/api/events", "client": (address, 1), "headers": [],
        "state": {"abort": reader.abort},
    }  # fmt: skip
    scope["visit"] = visit_of(scope, ())
    task = asyncio.get_running_loop().create_task(streams(scope, reader.receive, reader.send))
    try:
        yield reader
    finally:
        reader.gone.set()
        reader.reading.set()
        await task


def switch(home: FakeHome, *, on: bool) -> None:
    home.talk.tell(Switched(at=home.talk.at(), switch=Switch.PAUSE, on=on, source="a test"))


def begin() -> tuple[FakeHome, Streams]:
    step = Doorstep(PageSettings())
    return step.home, step.server.streams


async def test_the_whole_house_comes_first_and_then_what_differs() -> None:
    home, streams = begin()
    async with looking(streams) as reader:
        house = await reader.until("house")
        assert [each["id"] for each in house["shades"]] == ["study", "kitchen", "landing"]
        switch(home, on=True)
        streams.changed()
        change = await reader.until("change")
        assert change["house"]["paused"] is True
        assert reader.ids == sorted(set(reader.ids))


async def test_a_lone_change_is_pushed_at_once_and_a_burst_in_few_lines() -> None:
    home, streams = begin()
    loop = asyncio.get_running_loop()
    async with looking(streams) as reader:
        await reader.until("house")
        began = loop.time()
        switch(home, on=True)
        streams.changed()
        await reader.until("change")
        assert loop.time() - began < 0.05
        for number in range(200):
            switch(home, on=bool(number % 2))
            streams.changed()
            await asyncio.sleep(0.005)
        await asyncio.sleep(1)
        changes = [said for kind, said in reader.messages if kind == "change"]
        assert 2 <= len(changes) <= 14
        assert changes[-1]["house"]["paused"] is True


async def test_nothing_is_said_when_nothing_differs() -> None:
    _, streams = begin()
    async with looking(streams) as reader:
        await reader.until("house")
        streams.changed()
        await asyncio.sleep(2)
        assert reader.messages == []


async def test_signs_of_life_come_every_five_seconds_and_the_sun_each_minute() -> None:
    home, streams = begin()
    async with looking(streams) as reader:
        await reader.until("house")
        home.talk.now_s += 100
        switch(home, on=True)
        await asyncio.sleep(5.5)
        kinds = [kind for kind, _ in reader.messages]
        assert kinds.count("alive") == 1
        assert kinds.count("sun") == 1


async def test_a_client_that_does_not_read_is_dropped_and_the_others_go_on() -> None:
    home, streams = begin()
    async with looking(streams, "192.168.1.6") as stuck, looking(streams) as reader:
        await stuck.until("house")
        await reader.until("house")
        stuck.reading.clear()
        for number in range(BEHIND_MAX + 20):
            switch(home, on=not number % 2)
            streams.changed()
            await reader.until("change")
        assert stuck.aborted
        assert len(streams) == 1


async def test_the_end_is_told_and_every_stream_ends() -> None:
    _, streams = begin()
    async with looking(streams) as one, looking(streams) as other:
        await one.until("house")
        await other.until("house")
        streams.end("the bridge stops")
        assert await one.until("end") == {"why": "the bridge stops"}
        await other.until("end")
    assert one.ended
    assert other.ended
    assert len(streams) == 0


async def test_nothing_runs_while_nobody_looks() -> None:
    home, streams = begin()
    async with looking(streams) as reader:
        await reader.until("house")
    switch(home, on=True)
    streams.changed()
    await asyncio.sleep(1)
    assert len(asyncio.all_tasks()) == 1


async def test_one_address_cannot_take_every_stream() -> None:
    _, streams = begin()
    readers = [looking(streams) for _ in range(STREAMS_A_CLIENT)]
    for each in readers:
        await (await each.__aenter__()).until("house")
    with pytest.raises(RefusalError, match="event streams"):
        async with looking(streams) as late:
            late.gone.set()
    async with looking(streams, "192.168.1.7") as other:
        assert await other.until("house")
    for each in readers:
        await each.__aexit__(None, None, None)
    assert len(streams) == 0
