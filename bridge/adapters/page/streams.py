"""The event stream: one house at once to everybody who looks, then what differs.

What changed is put into words once for all clients. A client that does not read is dropped, never waited for,
and clients are served one in each turn of the loop, so that no order waits behind twenty of them.
"""

from __future__ import annotations

import asyncio
from collections import Counter, deque
from collections.abc import Callable, Iterable

from pydantic_core import to_json

from bridge.adapters.page import telling
from bridge.adapters.page.doorman import Receive, Send, too_many
from bridge.adapters.page.home import Home
from bridge.adapters.page.rates import client_of
from bridge.adapters.page.refusals import RefusalError
from bridge.adapters.page.visits import Scope, Visit
from bridge.core.state import House, Shade, touched

STREAMS_MAX = 100
STREAMS_A_CLIENT = 30
# Lines that a client may be behind; about half a minute of a house that moves.
BEHIND_MAX = 200
# A lone change is shown so soon after it was decided, and a stream of them no oftener than this.
SOON_S = 0.02
APART_S = 0.1
ALIVE_S = 5.0
SUN_S = 60.0


class _Client:
    """One stream: what waits to be written to it.

    Args:
        abort: Breaks its connection off.
    """

    def __init__(self, abort: Callable[[], None]) -> None:
        self._waiting: deque[bytes] = deque()
        self._some = asyncio.Event()
        self._ended = False
        self._abort = abort

    def put(self, line: bytes) -> bool:
        """Queue a line; say no when too many wait."""
        if len(self._waiting) >= BEHIND_MAX:
            return False
        self._waiting.append(line)
        self._some.set()
        return True

    def end(self) -> None:
        """Let it end once what waits is written."""
        self._ended = True
        self._some.set()

    def drop(self) -> None:
        """End it now: it does not read."""
        self._waiting.clear()
        self.end()
        self._abort()

    async def take(self) -> bytes:
        """Return all that waits, at least a line, or nothing at the end."""
        while not self._waiting and not self._ended:
            self._some.clear()
            await self._some.wait()
        found = b"".join(self._waiting)
        self._waiting.clear()
        return found


class Streams:
    """Everybody who looks.

    Args:
        home: The bridge.
        loop: The event loop.
    """

    def __init__(self, home: Home, loop: asyncio.AbstractEventLoop) -> None:
        self._home, self._loop = home, loop
        self._clients: dict[_Client, str] = {}
        self._per: Counter[str] = Counter()
        self._shown: House | None = None
        self._number = 0
        self._news = False
        self._pushing: asyncio.Task[None] | None = None
        self._beating: asyncio.Task[None] | None = None
        self._closed = False

    def __len__(self) -> int:
        """Return how many look."""
        return len(self._clients)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one client until it leaves, or the end.

        Raises:
            RefusalError: there are too many, or it is not read.
        """
        visit: Visit = scope["visit"]
        if visit.method != "GET":
            raise RefusalError(405, "wrong-method", f"{visit.method} does nothing here", "use GET")
        name = client_of(visit.client)
        if self._closed or len(self._clients) >= STREAMS_MAX or self._per[name] >= STREAMS_A_CLIENT:
            raise too_many("event streams are open", retry_s=10)
        client = _Client(scope.get("state", {}).get("abort", _nothing))
        self._enter(client, name)
        leaving = self._loop.create_task(_left(receive, client))
        try:
            await send({"type": "http.response.start", "status": 200, "headers": HEADERS})
            client.put(b"retry: 2000\n\n" + self._line("house", await self._house()))
            while line := await client.take():
                await send({"type": "http.response.body", "body": line, "more_body": True})
            await send({"type": "http.response.body", "body": b""})
        except OSError:
            return
        finally:
            leaving.cancel()
            self._leave(client)

    def changed(self) -> None:
        """Something of the house may have changed: tell everybody, soon."""
        self._news = bool(self._clients)
        if self._news and self._pushing is None:
            self._pushing = self._loop.create_task(self._push())

    def end(self, why: str) -> None:
        """End every stream with a last word."""
        self._closed = True
        for task in (self._pushing, self._beating):
            if task is not None:
                task.cancel()
        line = self._line("end", to_json({"why": why}))
        for client in list(self._clients):
            client.put(line)
            client.end()

    def _enter(self, client: _Client, name: str) -> None:
        if not self._clients:
            self._shown = self._home.house()
        self._clients[client] = name
        self._per[name] += 1
        if self._beating is None:
            self._beating = self._loop.create_task(self._beat())

    def _leave(self, client: _Client) -> None:
        name = self._clients.pop(client)
        self._per[name] -= 1
        if not self._per[name]:
            del self._per[name]
        if not self._clients and self._beating is not None:
            self._beating.cancel()
            self._beating = None

    async def _house(self) -> bytes:
        return await house_json(self._home, self._home.house())

    async def _push(self) -> None:
        """Tell everybody what differs from what was shown, as long as there is news."""
        try:
            while self._news:
                await asyncio.sleep(SOON_S)
                self._news = False
                await self._push_once(self._home.house())
                await asyncio.sleep(APART_S - SOON_S)
        finally:
            self._pushing = None

    async def _push_once(self, house: House) -> None:
        before, self._shown = self._shown, house
        if before is None or house is before:
            return
        if house.spec is not before.spec:
            await self._pass_on(self._line("house", await self._house()))
        elif said := await self._differing(house, before):
            now = to_json({"now": self._home.now().utc})[:-1]
            await self._pass_on(self._line("change", b",".join([now, *said]) + b"}"))

    async def _differing(self, house: House, before: House) -> list[bytes]:
        """Return the members of a change, as JSON, one shade in each turn of the loop."""
        said = []
        everywhere = _of_all(house) != _of_all(before)
        changed = house.shades if everywhere else {shade.id: shade for shade in touched(before, house)}
        if changed:
            shades = await _shades_json(self._home, house, changed.values())
            said.append(b'"shades":' + shades)
        groups = []
        asked = house.group_targets is not before.group_targets
        for group in house.spec.groups:
            if asked or not changed.keys().isdisjoint(group.members):
                groups.append(telling.group_said(house, group).model_dump_json().encode())
                await asyncio.sleep(0)
        if groups:
            said.append(b'"groups":[' + b",".join(groups) + b"]")
        bridge = telling.bridge_said(house)
        if bridge != telling.bridge_said(before):
            said.append(b'"house":' + bridge.model_dump_json().encode())
        return said

    async def _beat(self) -> None:
        """Tell everybody that the server is there, and now and then where the sun is."""
        sun_s = self._home.now().mono_s
        while True:
            await asyncio.sleep(ALIVE_S)
            at, house = self._home.now(), self._home.house()
            line = self._line("alive", to_json({"now": at.utc}))
            if at.mono_s - sun_s >= SUN_S:
                sun_s = at.mono_s
                sun = telling.sun_of(house, at)
                patches = {name: telling.patch_said(each, at, sun) for name, each in house.shades.items()}
                said = to_json({"now": at.utc, "sun": telling.sun_said(sun), "shades": patches})
                line += self._line("sun", said)
            await self._pass_on(line)

    def _line(self, event: str, data: bytes) -> bytes:
        self._number += 1
        return b"id: %d\nevent: %s\ndata: %s\n\n" % (self._number, event.encode(), data)

    async def _pass_on(self, line: bytes) -> None:
        """Give a line to every client, one in each turn of the loop; one that is far behind is dropped."""
        for client in list(self._clients):
            if not client.put(line):
                client.drop()
            await asyncio.sleep(0)


async def house_json(home: Home, house: House) -> bytes:
    """Return the whole house as JSON, one shade in each turn of the loop, so that no order waits for all."""
    at = home.now()
    bridge = telling.bridge_said(house).model_dump_json()[:-1]
    sun = telling.sun_said(telling.sun_of(house, at))
    rest = to_json({"now": at.utc, "sun": sun})[1:-1]
    shades = await _shades_json(home, house, house.shades.values())
    groups = []
    for group in house.spec.groups:
        groups.append(telling.group_said(house, group).model_dump_json().encode())
        await asyncio.sleep(0)
    return b'%s,%s,"shades":%s,"groups":[%s]}' % (bridge.encode(), rest, shades, b",".join(groups))


async def _shades_json(home: Home, house: House, shades: Iterable[Shade]) -> bytes:
    at, widths = home.now(), home.widths()
    sun = telling.sun_of(house, at)
    found = []
    for shade in shades:
        said = telling.shade_said(house, shade, at, sun, cloth_width_mm=widths.get(shade.id))
        found.append(said.model_dump_json().encode())
        await asyncio.sleep(0)
    return b"[" + b",".join(found) + b"]"


def _of_all(house: House) -> tuple[bool, ...]:
    """Return what is said of every shade; news of a board changes its shades."""
    return house.stood_down, house.broker_up, house.paused, house.locked


def _nothing() -> None:
    """There is no connection to break off, as in tests."""


HEADERS = [
    (b"content-type", b"text/event-stream; charset=utf-8"),
    (b"cache-control", b"no-store"),
    (b"x-accel-buffering", b"no"),
]


async def _left(receive: Receive, client: _Client) -> None:
    """End a stream when its client has gone."""
    while (await receive())["type"] != "http.disconnect":
        continue
    client.end()
