"""Stands before every request: who calls, by which name, from which page, how often, with how much.

An ASGI wrapper. Whatever is refused is explained in JSON and logged without secrets; whatever is answered
carries the headers that keep a browser careful. What the requests mean is not known here.
"""

from __future__ import annotations

import asyncio
import json
from collections import Counter
from collections.abc import Awaitable, Callable, MutableMapping
from contextlib import suppress
from math import ceil
from typing import Any

from structlog.typing import FilteringBoundLogger

from bridge.adapters.page.keys import Keys
from bridge.adapters.page.options import Network
from bridge.adapters.page.rates import Buckets, Rate, client_of
from bridge.adapters.page.refusals import RefusalError, shown
from bridge.adapters.page.visits import Scope, Visit, visit_of

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

BODY_BYTES = 4096
HEADER = "x-hembar"
ANSWER_S = 40.0
STREAM = "/api/events"
ENTER = "/api/enter"
# What a family does with twenty browsers at once, from one proxy, stays far below; OWASP ASVS 5.0, 2.4.
READS = Rate(burst=300, a_second=60)
CHANGES = Rate(burst=60, a_second=12)
KEYS = Rate(burst=10, a_second=0.2)
LINES = Rate(burst=20, a_second=1)
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "font-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
CAREFUL = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"x-frame-options", b"DENY"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=()"),
)


class Doorman:
    """Lets in what may come in.

    Args:
        app: What answers.
        hosts: Every `Host` that is answered.
        proxies: Whose forwarded headers count.
        keys: Who may come in.
        clock: Monotonic seconds.
        log: The logger.

    Attributes:
        answered: How many answers, by status.
        refused: How many refusals, by word.
    """

    def __init__(
        self,
        app: App,
        *,
        hosts: frozenset[str],
        proxies: tuple[Network, ...],
        keys: Keys,
        clock: Callable[[], float],
        log: FilteringBoundLogger,
    ) -> None:
        self._app, self._hosts, self._proxies, self._keys = app, hosts, proxies, keys
        self._clock, self._log = clock, log
        self._reads, self._changes, self._entries = Buckets(READS), Buckets(CHANGES), Buckets(KEYS)
        self._lines, self._untold = Buckets(LINES), 0
        self.answered: Counter[int] = Counter()
        self.refused: Counter[str] = Counter()

    @property
    def keyed(self) -> bool:
        """Say whether a key is needed."""
        return self._keys.wanted

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        assert scope["type"] == "http", "the server speaks nothing else"
        visit = visit_of(scope, self._proxies)
        said = _Said(send, self.answered)
        try:
            self._check(visit)
            scope["visit"] = visit
            if visit.path == STREAM:
                await self._app(scope, receive, said)
                return
            async with asyncio.timeout(ANSWER_S):
                if visit.changes:
                    scope["wanted"] = await _body(visit, receive)
                await self._app(scope, receive, said)
        except RefusalError as refusal:
            self._tell(visit, refusal)
            if not said.begun:
                await said.refuse(refusal)
        except TimeoutError:
            self._tell(visit, _late())
            if not said.begun:
                await said.refuse(_late())
        except Exception as error:  # noqa: BLE001  whatever a request brings about, the house goes on
            self._log.error("page.request.failed", path=shown(visit.path), error=shown(repr(error), 200))
            self.refused["failed"] += 1
            if not said.begun:
                await said.refuse(_failed())

    def _check(self, visit: Visit) -> None:
        if visit.hosts != 1 or visit.host not in self._hosts:
            raise RefusalError(
                421,
                "wrong-host",
                f"this page is not called {shown(visit.host)}",
                "call it by a name under allowed_hosts in the settings' [page] table",
                close=True,
            )
        self._check_rate(visit)
        if visit.method not in ("GET", "HEAD", "POST"):
            raise RefusalError(
                405, "wrong-method", f"nothing is done by {shown(visit.method)}", "use GET or POST"
            )
        if visit.changes:
            _check_origin(visit, keyed=self._keyed(visit))
        if not _is_file(visit) and visit.path != ENTER and not self._lets_in(visit):
            raise RefusalError(
                401,
                "no-key",
                "this page wants its key",
                "scan the code that `hembar page-key` prints, or send it as Authorization: Bearer",
            )
        if not _is_file(visit) and visit.headers.get("sec-fetch-site", "none") not in ("same-origin", "none"):
            raise RefusalError(
                403, "wrong-origin", "another site has made this request", "open the page itself"
            )

    def _keyed(self, visit: Visit) -> bool:
        return self._keys.wanted and bool(visit.bearer) and self._keys.fits(visit.bearer)

    def _lets_in(self, visit: Visit) -> bool:
        if not self._keys.wanted or self._keyed(visit):
            return True
        return bool(visit.cookie) and self._keys.opens(visit.cookie)

    def _check_rate(self, visit: Visit) -> None:
        entering = visit.changes and visit.path == ENTER
        buckets = self._entries if entering else self._changes if visit.changes else self._reads
        wait_s = buckets.wait_s(client_of(visit.client), self._clock())
        if wait_s > 0:
            raise too_many("requests from this address", retry_s=ceil(wait_s))

    def _tell(self, visit: Visit, refusal: RefusalError) -> None:
        """Log a refusal; of a flood only some, and how many were left out."""
        self.refused[refusal.word] += 1
        if self._lines.wait_s("", self._clock()) > 0:
            self._untold += 1
            return
        untold, self._untold = self._untold, 0
        self._log.warning(
            "page.request.refused",
            error=refusal.word,
            status=refusal.status,
            problem=refusal.problem,
            client=shown(visit.client),
            method=shown(visit.method),
            path=shown(visit.path),
            untold=untold,
        )


class _Said:
    """Sends an answer with the careful headers, and counts it."""

    def __init__(self, send: Send, answered: Counter[int]) -> None:
        self._send, self._answered = send, answered
        self.begun = False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.begun = True
            self._answered[message["status"]] += 1
            names = {name.lower() for name, _ in message["headers"]}
            bare = () if b"cache-control" in names else ((b"cache-control", b"no-store"),)
            message = {**message, "headers": [*message["headers"], *CAREFUL, *bare]}
        await self._send(message)

    async def refuse(self, refusal: RefusalError) -> None:
        """Send a refusal; whoever has gone meanwhile misses it."""
        body = json.dumps(refusal.document).encode()
        headers = [(b"content-type", b"application/json"), (b"content-length", b"%d" % len(body))]
        if refusal.retry_s is not None:
            headers.append((b"retry-after", b"%d" % refusal.retry_s))
        if refusal.status == 401:
            headers.append((b"www-authenticate", b"Bearer"))
        if refusal.status == 405:
            headers.append((b"allow", b"GET, HEAD, POST"))
        if refusal.close:
            headers.append((b"connection", b"close"))
        with suppress(OSError, RuntimeError):
            await self({"type": "http.response.start", "status": refusal.status, "headers": headers})
            await self({"type": "http.response.body", "body": body})


def too_many(what: str, *, retry_s: int) -> RefusalError:
    """Return the refusal of one too many."""
    return RefusalError(429, "too-many", f"too many {what}", f"wait {retry_s} s", retry_s=retry_s)


def _is_file(visit: Visit) -> bool:
    return not visit.path.startswith(("/api/", "/metrics"))


def _check_origin(visit: Visit, *, keyed: bool) -> None:
    """Refuse a change that a page of ours did not make; a program with the key has no origin."""
    origin = visit.headers.get("origin", "")
    if origin.lower() != visit.origin and not (keyed and not origin):
        raise RefusalError(
            403,
            "wrong-origin",
            f"a change has to come from {visit.origin}, not from {shown(origin) if origin else 'nowhere'}",
            "open the page itself, or send the key as Authorization: Bearer",
        )
    if visit.headers.get(HEADER) != "1":
        raise RefusalError(403, "no-header", "a change needs the header X-Hembar: 1", "add it")
    kind = visit.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/json":
        raise RefusalError(
            415, "wrong-type", f"the body is {shown(kind)}", "send it as application/json", close=True
        )


async def _body(visit: Visit, receive: Receive) -> bytes:
    """Return the body, refused before it is read when it says that it is too large."""
    length = visit.headers.get("content-length", "")
    if length.isascii() and length.isdigit() and int(length[:20]) > BODY_BYTES:
        raise _too_large()
    found = b""
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise RefusalError(400, "not-json", "the request ended before its body", "send it again")
        found += bytes(message.get("body", b""))
        if len(found) > BODY_BYTES:
            raise _too_large()
        if not message.get("more_body"):
            return found


def _too_large() -> RefusalError:
    return RefusalError(
        413, "too-large", f"a body has at most {BODY_BYTES} bytes", "send one request at a time", close=True
    )


def _late() -> RefusalError:
    return RefusalError(
        503, "no-answer", f"no answer within {ANSWER_S:.0f} s", "try again", retry_s=5, close=True
    )


def _failed() -> RefusalError:
    return RefusalError(500, "failed", "the page's server made a mistake", "look into the service's log")
