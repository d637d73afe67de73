"""The page's server without a socket: a fake bridge at one side, one ASGI request at the other."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Mapping, MutableMapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import structlog
from structlog.testing import CapturingLogger

from bridge.adapters.page.home import Answer
from bridge.adapters.page.options import PageSettings
from bridge.adapters.page.serving import PageServer
from bridge.core.events import BrokerReached, Event
from bridge.core.state import House
from bridge.core.values import Moment, ShadeId
from tests.core_house import Talk, demo_spec

HOST = "127.0.0.1:8093"
CHANGE = {"origin": f"http://{HOST}", "x-hembar": "1", "content-type": "application/json"}


@dataclass
class FakeHome:
    """A house of the core that decides at once; days and journal are as the test has them."""

    talk: Talk = field(default_factory=lambda: begun(Talk()))
    answer: Answer | None = None
    asked: list[Event] = field(default_factory=list)
    days: dict[str, Any] = field(default_factory=dict)
    searched: list[dict[str, Any]] = field(default_factory=list)

    def now(self) -> Moment:
        return self.house().now

    def house(self) -> House:
        assert self.talk.house is not None
        return self.talk.house

    def widths(self) -> Mapping[ShadeId, float]:
        return {ShadeId("study"): 1200.0}

    def counted(self) -> dict[str, dict[str, int]]:
        return {"events": {"asked": 3}, "orders": {"go": 2}, "requests": {"reached": 1}}

    async def ask(self, event: Event) -> Answer:
        self.asked.append(event)
        notes = self.talk.tell(event).notes
        refused = [
            str(dict(note.fields).get("why")) for note in notes if "refused" in dict(note.fields).values()
        ]
        given = Answer(taken=not refused, refused=tuple(("study", why) for why in refused))
        return self.answer or given

    async def day(self, on: date) -> dict[str, Any]:
        return {**self.days, "date": on.isoformat()}

    async def journal(self, *, search: str, shade: str, before: int | None, limit: int) -> dict[str, Any]:
        self.searched.append({"search": search, "shade": shade, "before": before, "limit": limit})
        return {"entries": [], "older": None}


def begun(talk: Talk) -> Talk:
    from bridge.core.events import Started

    talk.tell(Started(at=talk.at(), spec=talk.spec))
    talk.tell(BrokerReached(at=talk.at()))
    return talk


@dataclass
class Reply:
    """What came back."""

    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def said(self) -> Any:
        return json.loads(self.body)


class Doorstep:
    """A page's server that is called without a socket.

    Args:
        settings: The `[page]` table.
        key: What lets people in.
        home: The bridge behind it.
    """

    def __init__(self, settings: PageSettings, key: str = "", home: FakeHome | None = None) -> None:
        self.home = home or FakeHome()
        self.lines = CapturingLogger()
        log = structlog.wrap_logger(self.lines, processors=[])
        self.server = PageServer(settings, key, self.home, log)

    async def call(
        self,
        method: str,
        path: str,
        body: bytes = b"",
        *,
        headers: Mapping[str, str] | None = None,
        client: str = "127.0.0.1",
        host: str | None = HOST,
        chunks: int = 1,
    ) -> Reply:
        """Make one request and return what comes back."""
        plain, _, query = path.partition("?")
        named = [] if host is None else [("host", host)]
        pairs = [*named, *(headers or {}).items()]
        size = max(len(body) // chunks, 1)
        parts = [body[at : at + size] for at in range(0, len(body), size)] or [b""]
        sent: list[MutableMapping[str, Any]] = []

        async def receive() -> MutableMapping[str, Any]:
            if not parts:
                await asyncio.Event().wait()
            return {"type": "http.request", "body": parts.pop(0), "more_body": bool(parts)}

        async def send(message: MutableMapping[str, Any]) -> None:
            sent.append(message)

        scope = {
            "type": "http",
            "method": method,
            "path": plain,
            "query_string": query.encode(),
            "root_path": "",
            "scheme": "http",
            "client": (client, 50000),
            "headers": [(name.encode(), value.encode("latin-1")) for name, value in pairs],
        }
        await self.server.app(scope, receive, send)
        head = sent[0]
        told = {name.decode().lower(): value.decode() for name, value in head["headers"]}
        return Reply(head["status"], told, b"".join(each.get("body", b"") for each in sent[1:]))

    async def change(self, path: str, asked: object, **more: Any) -> Reply:
        """Ask for a change as the page does."""
        headers = {**CHANGE, **more.pop("headers", {})}
        return await self.call("POST", path, json.dumps(asked).encode(), headers=headers, **more)

    @property
    def logged(self) -> list[dict[str, Any]]:
        """The log lines so far."""
        return [dict(call.kwargs) for call in self.lines.calls]


__all__ = ["CHANGE", "HOST", "Doorstep", "FakeHome", "Reply", "begun", "demo_spec"]
