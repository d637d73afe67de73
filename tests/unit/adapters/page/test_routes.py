"""Every path of the API: what it answers, and which event it becomes."""

from __future__ import annotations

import json
from typing import Any

import pytest

from bridge.adapters.page import words
from bridge.adapters.page.home import Answer
from bridge.adapters.page.options import PageSettings
from bridge.core.events import (
    Approach,
    Asked,
    Button,
    Confirmed,
    GroupAsked,
    Nudge,
    Percent,
    Place,
    Press,
    Refer,
    Release,
    Switch,
    Switched,
    Want,
)
from bridge.core.values import Rank
from tests.core_house import Talk, demo_spec
from tests.page_visit import CHANGE, Doorstep, FakeHome, begun

GROUP = (
    "[shades.study]\n",
    '[groups.south]\nname = "South"\nmembers = ["study", "kitchen"]\n\n[shades.study]\n',
)


def with_group() -> Doorstep:
    return Doorstep(PageSettings(), home=FakeHome(talk=begun(Talk(spec=demo_spec(GROUP)))))


async def test_the_house_is_told_in_the_words_of_its_model() -> None:
    reply = await with_group().call("GET", "/api/house")
    house = words.HouseSaid.model_validate_json(reply.body)
    assert [each.id for each in house.shades] == ["study", "kitchen", "landing"]
    assert (house.name, house.timezone, house.broker_up) == ("Gull House", "Atlantic/Azores", True)
    assert (house.shades[0].open_pct, house.shades[0].grade, house.shades[0].board) == (
        None,
        "unknown",
        "unheard",
    )
    assert (house.shades[0].cloth_width_mm, house.shades[1].cloth_width_mm) == (1200.0, None)
    assert [group.members for group in house.groups] == [["study", "kitchen"]]


async def test_care_names_what_wants_a_reference_and_each_board_once() -> None:
    care = words.CareSaid.model_validate_json((await Doorstep(PageSettings()).call("GET", "/api/care")).body)
    assert [each.wants_reference for each in care.shades] == [True, True, True]
    assert [(board.id, board.shades) for board in care.boards] == [
        ("attic-board", ["study", "kitchen"]),
        ("stair-board", ["landing"]),
    ]


@pytest.mark.parametrize(
    ("path", "asked", "want"),
    [
        ("ask", {"open_pct": 0}, Percent(open_pct=0)),
        ("ask", {"open_pct": 100}, Percent(open_pct=100)),
        ("ask", {"nudge_pct": -100}, Nudge(by_pct=-100)),
        ("ask", {"button": "up"}, Press(button=Button.UP)),
        ("ask", {"button": "stop"}, Press(button=Button.STOP)),
        ("ask", {"button": "down"}, Press(button=Button.DOWN)),
        ("release", {}, Release()),
        ("approach", {"place": "lower"}, Approach(place=Place.LOWER)),
        ("refer", {}, Refer()),
    ],
)
async def test_a_request_becomes_the_event_that_the_core_decides_upon(
    path: str, asked: Any, want: Want
) -> None:
    step = Doorstep(PageSettings())
    reply = await step.change(f"/api/shades/study/{path}", asked)
    (event,) = step.home.asked
    assert isinstance(event, Asked)
    assert (event.shade, event.want, event.rank, event.source) == ("study", want, Rank.HAND, "the page")
    assert reply.status in (200, 409)


async def test_groups_switches_and_confirmations_are_events_too() -> None:
    step = with_group()
    await step.change("/api/groups/south/ask", {"open_pct": 40})
    await step.change("/api/groups/south/release", {})
    await step.change("/api/pause", {"on": True})
    await step.change("/api/lock", {"on": False})
    await step.change("/api/shades/landing/confirm", {"place": "lower"})
    wants = [each.want for each in step.home.asked if isinstance(each, GroupAsked)]
    assert wants == [Percent(open_pct=40), Release()]
    switched = [(each.switch, each.on) for each in step.home.asked if isinstance(each, Switched)]
    assert switched == [(Switch.PAUSE, True), (Switch.LOCK, False)]
    confirmed = [(each.shade, each.place) for each in step.home.asked if isinstance(each, Confirmed)]
    assert confirmed == [("landing", Place.LOWER)]


async def test_stop_reaches_every_shade() -> None:
    step = Doorstep(PageSettings())
    assert (await step.change("/api/stop", {})).said == {"taken": True, "refused": []}
    asked = [(each.shade, each.want) for each in step.home.asked if isinstance(each, Asked)]
    assert asked == [(name, Press(button=Button.STOP)) for name in ("study", "kitchen", "landing")]


async def test_what_the_house_refuses_is_a_conflict_with_its_reason() -> None:
    step = Doorstep(PageSettings())
    step.home.answer = Answer(taken=False, refused=(("study", "the service lock is on"),))
    reply = await step.change("/api/shades/study/ask", {"open_pct": 40})
    assert reply.status == 409
    assert reply.said["refused"] == [{"shade": "study", "why": "the service lock is on"}]
    assert (reply.said["error"], reply.said["where"]) == ("refused", "study")
    words.RefusalSaid.model_validate(reply.said)


async def test_a_group_that_could_in_part_says_which_member_could_not() -> None:
    step = with_group()
    step.home.answer = Answer(taken=True, refused=(("kitchen", "wind"),))
    reply = await step.change("/api/groups/south/ask", {"open_pct": 40})
    assert (reply.status, reply.said["refused"]) == (200, [{"shade": "kitchen", "why": "wind"}])


@pytest.mark.parametrize(
    "asked",
    [
        {},
        {"open_pct": 101},
        {"open_pct": -1},
        {"open_pct": "40"},
        {"open_pct": 40.5},
        {"open_pct": True},
        {"open_pct": 40, "button": "up"},
        {"open_pct": None},
        {"button": "UP"},
        {"nudge_pct": 101},
        {"open_pct": 40, "and": 1},
        [],
        None,
        "up",
    ],
)
async def test_no_other_values_are_taken(asked: Any) -> None:
    step = Doorstep(PageSettings())
    reply = await step.change("/api/shades/study/ask", asked)
    assert (reply.status, reply.said["error"], step.home.asked) == (422, "wrong-values", [])


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"\xff",
        b'{"open_pct": NaN}',
        b'{"open_pct": 1e999}',
        b'{"open_pct":1,"open_pct":99}',
        b"[" * 3000,
    ],
)
async def test_what_is_no_json_is_not_read(body: bytes) -> None:
    step = Doorstep(PageSettings())
    reply = await step.call("POST", "/api/shades/study/ask", body, headers=CHANGE)
    assert (reply.status, reply.said["error"], step.home.asked) == (400, "not-json", [])


@pytest.mark.parametrize("path", ["/api/shades/attic/ask", "/api/groups/north/ask"])
async def test_a_name_that_is_not_in_the_settings_is_not_found(path: str) -> None:
    step = Doorstep(PageSettings())
    assert (await step.change(path, {"open_pct": 1})).status == 404
    assert step.home.asked == []


@pytest.mark.parametrize("query", ["date=2026-13-01", "date=yesterday", "date=1800-01-01", "date=2026-1-1"])
async def test_a_date_that_is_none_is_refused(query: str) -> None:
    assert (await Doorstep(PageSettings()).call("GET", f"/api/day?{query}")).status == 422


async def test_a_day_is_asked_by_date_and_told_for_one_shade() -> None:
    step = Doorstep(PageSettings())
    step.home.days = {"shades": {"study": {"name": "Study"}, "kitchen": {"name": "Kitchen"}}}
    reply = await step.call("GET", "/api/day?date=2026-06-21&shade=study")
    assert (reply.said["date"], list(reply.said["shades"])) == ("2026-06-21", ["study"])
    # It is the first of March in UTC, and not yet on the house's clocks.
    assert (await step.call("GET", "/api/day")).said["date"] == "2026-02-28"
    assert (await step.call("GET", "/api/day?shade=attic")).status == 404


async def test_the_journal_is_searched_within_bounds() -> None:
    step = Doorstep(PageSettings())
    await step.call("GET", "/api/journal?search=wind&shade=study&before=812&limit=9999")
    assert step.home.searched == [{"search": "wind", "shade": "study", "before": 812, "limit": 200}]
    for query in ("limit=x", "before=-1", "limit=1e3", "before=" + "9" * 40):
        assert (await step.call("GET", f"/api/journal?{query}")).status == 422


@pytest.mark.parametrize(
    "path",
    [
        "/../../etc/passwd", "/..%2f..%2fetc/passwd", "//etc/passwd", "/static/index.html", "/index.html/",
        "/.git/config", "/page.css\x00.html", "/\\..\\..\\settings.toml", "/api", "/api/", "/api/house/",
        "/INDEX.HTML", "/__init__.py",
    ],
)  # fmt: skip
async def test_only_exact_names_are_found(path: str) -> None:
    reply = await Doorstep(PageSettings()).call("GET", path)
    assert (reply.status, reply.said["error"]) == (404, "not-found")


async def test_files_are_packed_marked_and_not_sent_twice() -> None:
    step = Doorstep(PageSettings())
    packed = await step.call("GET", "/", headers={"accept-encoding": "br, gzip"})
    plain = await step.call("GET", "/", headers={"accept-encoding": "gzip;q=0"})
    assert packed.headers["content-encoding"] == "gzip"
    assert "content-encoding" not in plain.headers
    assert len(packed.body) < len(plain.body)
    assert packed.headers["etag"] != plain.headers["etag"]
    again = await step.call("GET", "/", headers={"if-none-match": plain.headers["etag"]})
    assert (again.status, again.body) == (304, b"")


async def test_reading_and_asking_leave_the_json_of_an_answer_whole() -> None:
    step = Doorstep(PageSettings())
    for path in ("/api/house", "/api/care", "/api/openapi.json"):
        reply = await step.call("GET", path)
        assert reply.headers["content-type"] == "application/json"
        json.loads(reply.body)
