"""What stands at which path."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable
from contextlib import suppress
from datetime import date

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route, Router

from bridge.adapters.page import telling, words
from bridge.adapters.page.files import Files
from bridge.adapters.page.home import Answer, Home
from bridge.adapters.page.keys import Keys, gone
from bridge.adapters.page.refusals import RefusalError, shown
from bridge.adapters.page.streams import Streams, house_json
from bridge.adapters.page.taking import SOURCE, WantedT, place_of, read, want_of
from bridge.adapters.page.visits import Visit
from bridge.core.events import (
    Approach,
    Asked,
    Button,
    Confirmed,
    Event,
    GroupAsked,
    Press,
    Refer,
    Release,
    Switch,
    Switched,
    Want,
)
from bridge.core.rules.seeing import zone_of
from bridge.core.sun.sky import FIRST_YEAR, LAST_YEAR
from bridge.core.values import GroupId, Rank, ShadeId

Answering = Callable[[Request], Awaitable[Response]]
METHODS = ("GET", "HEAD", "POST")
ENTRIES_MAX, ENTRIES = 200, 50
_WHOLE = re.compile(r"[0-9]{1,15}", re.ASCII)


class Routes:
    """The answers of the API.

    Args:
        home: The bridge.
        keys: Who may come in.
        described: The description of the API.
        measured: Returns the metrics' text.
    """

    def __init__(
        self, home: Home, keys: Keys, described: Callable[[], words.Document], measured: Callable[[], str]
    ) -> None:
        self._home, self._keys, self._described, self._measured = home, keys, described, measured

    def router(self, streams: Streams, files: Files) -> Router:
        """Return everything at its path; what is not the API's is a file."""
        reads: dict[str, Answering] = {
            "/api/house": self._house,
            "/api/day": self._day,
            "/api/care": self._care,
            "/api/journal": self._journal,
            "/api/openapi.json": self._openapi,
            "/metrics": self._metrics,
        }
        changes: dict[str, Answering] = {
            "/api/shades/{shade}/ask": self._ask,
            "/api/shades/{shade}/release": self._release,
            "/api/shades/{shade}/approach": self._approach,
            "/api/shades/{shade}/refer": self._refer,
            "/api/shades/{shade}/confirm": self._confirm,
            "/api/groups/{group}/ask": self._ask_group,
            "/api/groups/{group}/release": self._release_group,
            "/api/stop": self._stop,
            "/api/pause": self._pause,
            "/api/lock": self._lock,
            "/api/enter": self._enter,
            "/api/leave": self._leave,
        }
        routes = [Route(path, _only("GET", end), methods=METHODS) for path, end in reads.items()]
        routes += [Route(path, _only("POST", end), methods=METHODS) for path, end in changes.items()]
        routes.append(Route("/api/events", streams))
        return Router(routes, redirect_slashes=False, default=files)

    async def _house(self, _request: Request) -> Response:
        body = await house_json(self._home, self._home.house())
        return Response(body, media_type="application/json")

    async def _care(self, _request: Request) -> Response:
        said = telling.care_said(self._home.house(), self._home.now())
        return Response(said.model_dump_json(), media_type="application/json")

    async def _day(self, request: Request) -> Response:
        wanted, only = request.query_params.get("date"), request.query_params.get("shade", "")
        house = self._home.house()
        if only:
            self._shade(only)
        if house.spec.site is None:
            raise RefusalError(404, "not-found", "the settings tell no place", "add a [site] table")
        today = self._home.now().utc.astimezone(zone_of(house.spec.site.timezone)).date()
        document = await self._home.day(today if wanted is None else _date(wanted))
        if only:
            kept = {name: each for name, each in document["shades"].items() if name == only}
            document = {**document, "shades": kept}
        return JSONResponse(document)

    async def _journal(self, request: Request) -> Response:
        asked = request.query_params
        shade = asked.get("shade", "")
        if shade:
            self._shade(shade)
        before = None if "before" not in asked else _whole(asked["before"], "before")
        limit = min(_whole(asked.get("limit", str(ENTRIES)), "limit"), ENTRIES_MAX)
        return JSONResponse(
            await self._home.journal(
                search=asked.get("search", "")[:200], shade=shade, before=before, limit=max(limit, 1)
            )
        )

    async def _openapi(self, _request: Request) -> Response:
        return JSONResponse(self._described())

    async def _metrics(self, _request: Request) -> Response:
        return Response(self._measured(), media_type="text/plain; version=0.0.4; charset=utf-8")

    async def _ask(self, request: Request) -> Response:
        return await self._wanted(request, want_of(_read(request, words.AskWanted)))

    async def _release(self, request: Request) -> Response:
        _read(request, words.NothingWanted)
        return await self._wanted(request, Release())

    async def _approach(self, request: Request) -> Response:
        return await self._wanted(request, Approach(place=place_of(_read(request, words.PlaceWanted))))

    async def _refer(self, request: Request) -> Response:
        _read(request, words.NothingWanted)
        return await self._wanted(request, Refer())

    async def _confirm(self, request: Request) -> Response:
        place = place_of(_read(request, words.PlaceWanted))
        shade = self._shade(request.path_params["shade"])
        return await self._asked(Confirmed(at=self._home.now(), shade=shade, place=place))

    async def _ask_group(self, request: Request) -> Response:
        return await self._wanted_of_group(request, want_of(_read(request, words.AskWanted)))

    async def _release_group(self, request: Request) -> Response:
        _read(request, words.NothingWanted)
        return await self._wanted_of_group(request, Release())

    async def _stop(self, request: Request) -> Response:
        _read(request, words.NothingWanted)
        at, want = self._home.now(), Press(button=Button.STOP)
        answers = [
            await self._home.ask(Asked(at=at, shade=shade, want=want, rank=Rank.HAND, source=SOURCE))
            for shade in self._home.house().shades
        ]
        refused = tuple(pair for each in answers for pair in each.refused)
        return _answer(Answer(taken=any(each.taken for each in answers), refused=refused))

    async def _pause(self, request: Request) -> Response:
        return await self._switched(request, Switch.PAUSE)

    async def _lock(self, request: Request) -> Response:
        return await self._switched(request, Switch.LOCK)

    async def _enter(self, request: Request) -> Response:
        offered = _read(request, words.KeyWanted).key
        if self._keys.wanted and not self._keys.fits(offered):
            raise RefusalError(
                401, "wrong-key", "this is not the key", "scan the code that `hembar page-key` prints"
            )
        visit: Visit = request.scope["visit"]
        made = self._keys.cookie(encrypted=visit.scheme == "https") if self._keys.wanted else gone()
        return Response(_TAKEN, media_type="application/json", headers={"set-cookie": made})

    async def _leave(self, request: Request) -> Response:
        _read(request, words.NothingWanted)
        return Response(_TAKEN, media_type="application/json", headers={"set-cookie": gone()})

    def _shade(self, name: str) -> ShadeId:
        shades = self._home.house().shades
        if name not in shades:
            remedy = f"name one of {', '.join(shades)}"
            raise RefusalError(404, "not-found", f"there is no shade {shown(name)}", remedy, where="shade")
        return ShadeId(name)

    def _group(self, name: str) -> GroupId:
        groups = [each.id for each in self._home.house().spec.groups]
        if name not in groups:
            remedy = f"name one of {', '.join(groups)}" if groups else "there are no groups in the settings"
            raise RefusalError(404, "not-found", f"there is no group {shown(name)}", remedy, where="group")
        return GroupId(name)

    async def _wanted(self, request: Request, want: Want) -> Response:
        shade = self._shade(request.path_params["shade"])
        at = self._home.now()
        return await self._asked(Asked(at=at, shade=shade, want=want, rank=Rank.HAND, source=SOURCE))

    async def _wanted_of_group(self, request: Request, want: Want) -> Response:
        group = self._group(request.path_params["group"])
        at = self._home.now()
        return await self._asked(GroupAsked(at=at, group=group, want=want, rank=Rank.HAND, source=SOURCE))

    async def _switched(self, request: Request, switch: Switch) -> Response:
        on = _read(request, words.OnWanted).on
        return await self._asked(Switched(at=self._home.now(), switch=switch, on=on, source=SOURCE))

    async def _asked(self, event: Event) -> Response:
        return _answer(await self._home.ask(event))


_TAKEN = words.TakenSaid().model_dump_json()


def _only(method: str, end: Answering) -> Answering:
    async def answering(request: Request) -> Response:
        if request.method != method and not (method == "GET" and request.method == "HEAD"):
            raise RefusalError(405, "wrong-method", f"{request.method} does nothing here", f"use {method}")
        return await end(request)

    return answering


def _read(request: Request, kind: type[WantedT]) -> WantedT:
    return read(request.scope["wanted"], kind)


def _answer(answer: Answer) -> Response:
    refused = [{"shade": shade, "why": why} for shade, why in answer.refused]
    if answer.taken:
        return JSONResponse({"taken": True, "refused": refused})
    why = {each["why"] for each in refused}
    problem = why.pop() if len(why) == 1 else "; ".join(f"{each['shade']}: {each['why']}" for each in refused)
    where = refused[0]["shade"] if len(refused) == 1 and refused[0]["shade"] else "the house"
    refusal = RefusalError(409, "refused", problem, "nothing was changed", where=where)
    return JSONResponse({**refusal.document, "refused": refused}, status_code=409)


def _date(text: str) -> date:
    found = None
    if re.fullmatch(r"\d{4}-\d\d-\d\d", text, re.ASCII):
        with suppress(ValueError):
            found = date.fromisoformat(text)
    if found is None or not FIRST_YEAR < found.year < LAST_YEAR:
        raise RefusalError(
            422,
            "wrong-values",
            f"{shown(text)} is no date from {FIRST_YEAR + 1} to {LAST_YEAR - 1}",
            "write it like 2026-06-21",
            where="date",
        )
    return found


def _whole(text: str, where: str) -> int:
    if _WHOLE.fullmatch(text) is None:
        raise RefusalError(
            422, "wrong-values", f"{shown(text)} is not a whole number", "write it like 50", where=where
        )
    return int(text)
