"""What is refused before anything is answered. Source of the list: OWASP ASVS 5.0, 2.4, 3.4, 3.5, 4.1, 16."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from bridge.adapters.page.doorman import BODY_BYTES, CHANGES, KEYS, READS
from bridge.adapters.page.options import PageSettings
from tests.page_visit import CHANGE, HOST, Doorstep

KEY = "an-invented-key-0123456789"
LAN = PageSettings(host="0.0.0.0", allowed_hosts=("shades.home.arpa",))
LAN_HOST = "shades.home.arpa:8093"
PROXIED = PageSettings(behind_proxy=("127.0.0.1",), allowed_hosts=("shades.example",))
ASK = "/api/shades/study/ask"


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "127.0.0.1:8094",
        "127.0.0.1.evil.example",
        "",
        "localhost:8093@evil.example",
        "LOCALHOST.:8093",
    ],
)
async def test_a_name_that_is_not_ours_is_refused(host: str) -> None:
    step = Doorstep(PageSettings())
    reply = await step.call("GET", "/api/house", host=host)
    assert (reply.status, reply.said["error"]) == (421, "wrong-host")


@pytest.mark.parametrize(
    "host", ["127.0.0.1:8093", "localhost:8093", "[::1]:8093", "LOCALHOST:8093", "localhost"]
)
async def test_this_machine_s_own_names_are_answered(host: str) -> None:
    assert (await Doorstep(PageSettings()).call("GET", "/api/house", host=host)).status == 200


async def test_without_a_host_or_with_two_nothing_is_answered() -> None:
    step = Doorstep(PageSettings())
    assert (await step.call("GET", "/api/house", host=None)).status == 421
    assert (await step.call("GET", "/api/house", headers={"Host": HOST})).status == 421


@pytest.mark.parametrize("host", ["192.168.1.7", "127.0.0.1:8093", "localhost:8093"])
async def test_on_a_network_only_the_names_in_the_settings_are_answered(host: str) -> None:
    assert (await Doorstep(LAN, KEY).call("GET", "/", host=host)).status == 421


@pytest.mark.parametrize(
    ("missing", "word"),
    [
        ({"origin": "http://evil.example"}, "wrong-origin"),
        ({"origin": "null"}, "wrong-origin"),
        ({"origin": f"https://{HOST}"}, "wrong-origin"),
        ({"origin": ""}, "wrong-origin"),
        ({"x-hembar": ""}, "no-header"),
        ({"content-type": "text/plain"}, "wrong-type"),
        ({"content-type": "application/x-www-form-urlencoded"}, "wrong-type"),
        ({"sec-fetch-site": "cross-site"}, "wrong-origin"),
    ],
)
async def test_a_change_has_to_come_from_a_page_of_ours(missing: Mapping[str, str], word: str) -> None:
    step = Doorstep(PageSettings())
    reply = await step.change(ASK, {"open_pct": 40}, headers=missing)
    assert (reply.said["taken"], reply.said["error"], step.home.asked) == (False, word, [])


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT"])
async def test_other_methods_do_nothing(method: str) -> None:
    reply = await Doorstep(PageSettings()).call(method, ASK, headers=CHANGE)
    assert (reply.status, reply.headers["allow"]) == (405, "GET, HEAD, POST")


async def test_a_change_by_get_and_a_read_by_post_do_nothing() -> None:
    step = Doorstep(PageSettings())
    assert (await step.call("GET", ASK)).status == 405
    assert (await step.change("/api/house", {})).status == 405
    assert (await step.change("/api/events", {})).status == 405
    assert (await step.call("HEAD", "/api/events")).status == 405
    assert step.home.asked == []


@pytest.mark.parametrize(
    "path", ["/api/house", "/api/events", "/api/day", "/api/journal", "/api/care", "/metrics", ASK]
)
async def test_without_the_key_nothing_of_the_house_is_told(path: str) -> None:
    reply = await Doorstep(LAN, KEY).call("GET", path, host=LAN_HOST)
    assert (reply.status, reply.said["error"]) == (401, "no-key")
    assert b"study" not in reply.body.replace(path.encode(), b"")


async def test_files_need_no_key() -> None:
    assert (await Doorstep(LAN, KEY).call("GET", "/", host=LAN_HOST)).status == 200


@pytest.mark.parametrize("offered", ["", "wrong-key-0123456789", KEY[:-1], KEY + "x", KEY.upper()])
async def test_a_wrong_key_opens_nothing(offered: str) -> None:
    step = Doorstep(LAN, KEY)
    headers = {"authorization": f"Bearer {offered}"}
    assert (await step.call("GET", "/api/house", host=LAN_HOST, headers=headers)).status == 401
    assert (
        await step.call("GET", "/api/house", host=LAN_HOST, headers={"cookie": f"hembar-page={offered}"})
    ).status == 401
    assert offered not in str(step.logged) or not offered


async def test_the_key_opens_as_bearer_and_a_program_needs_no_origin() -> None:
    step = Doorstep(LAN, KEY)
    bearer = {"authorization": f"Bearer {KEY}", "origin": ""}
    assert (await step.call("GET", "/api/house", host=LAN_HOST, headers=bearer)).status == 200
    assert (await step.change(ASK, {"button": "stop"}, host=LAN_HOST, headers=bearer)).status == 200


async def test_the_key_is_changed_for_a_cookie_that_is_not_the_key() -> None:
    step = Doorstep(LAN, KEY)
    origin = {"origin": f"http://{LAN_HOST}"}
    reply = await step.change("/api/enter", {"key": KEY}, host=LAN_HOST, headers=origin)
    cookie = reply.headers["set-cookie"]
    assert all(word in cookie for word in ("HttpOnly", "SameSite=Strict", "Path=/"))
    assert KEY not in cookie
    assert "Secure" not in cookie
    value = {"cookie": cookie.partition(";")[0]}
    assert (await step.call("GET", "/api/house", host=LAN_HOST, headers=value)).status == 200
    other = Doorstep(LAN, KEY + "-changed")
    assert (await other.call("GET", "/api/house", host=LAN_HOST, headers=value)).status == 401


async def test_keys_cannot_be_tried_out_and_none_stands_in_the_log() -> None:
    step = Doorstep(LAN, KEY)
    origin = {"origin": f"http://{LAN_HOST}"}
    tries = [
        await step.change("/api/enter", {"key": f"guess-{n}-of-a-secret"}, host=LAN_HOST, headers=origin)
        for n in range(int(KEYS.burst) + 3)
    ]
    assert [each.status for each in tries] == [401] * int(KEYS.burst) + [429] * 3
    assert int(tries[-1].headers["retry-after"]) >= 1
    assert "of-a-secret" not in str(step.logged)


@pytest.mark.parametrize("chunks", [1, 50])
async def test_a_body_of_ten_megabytes_is_not_read(chunks: int) -> None:
    step = Doorstep(PageSettings())
    reply = await step.call("POST", ASK, b"x" * 10_000_000, headers=CHANGE, chunks=chunks)
    assert (reply.status, reply.headers["connection"]) == (413, "close")
    told = {**CHANGE, "content-length": "10000000"}
    assert (await step.call("POST", ASK, b"", headers=told)).status == 413


async def test_the_largest_body_is_read() -> None:
    body = b'{"open_pct": 40' + b" " * (BODY_BYTES - 16) + b"}"
    assert (await Doorstep(PageSettings()).call("POST", ASK, body, headers=CHANGE)).status != 413
    assert (await Doorstep(PageSettings()).call("POST", ASK, body + b" ", headers=CHANGE)).status == 413


async def test_a_client_that_asks_too_often_waits_and_others_do_not() -> None:
    step = Doorstep(LAN, KEY)
    bearer = {"authorization": f"Bearer {KEY}"}
    for _ in range(int(READS.burst)):
        assert (await step.call("GET", "/nothing", host=LAN_HOST, client="192.168.1.9")).status == 404
    assert (await step.call("GET", "/", host=LAN_HOST, client="192.168.1.9")).status == 429
    assert (await step.call("GET", "/", host=LAN_HOST, client="192.168.1.8")).status == 200
    for _ in range(int(CHANGES.burst)):
        assert (
            await step.change("/api/leave", {}, host=LAN_HOST, headers=bearer | {"origin": ""})
        ).status == 200
    assert (await step.change("/api/leave", {}, host=LAN_HOST, headers=bearer | {"origin": ""})).status == 429


async def test_a_flood_of_refusals_does_not_flood_the_log() -> None:
    step = Doorstep(PageSettings())
    for _ in range(500):
        await step.call("GET", "/api/house", host="evil.example")
    assert len(step.logged) < 30


async def test_what_strangers_send_cannot_forge_a_log_line() -> None:
    step = Doorstep(PageSettings())
    await step.call("GET", "/api/x\r\n2026-11-25 house.lock.switched on\x1b[2J\u202e")
    await step.call("GET", "/", host="evil\x1b[31m\r\nforged")
    said = "".join(str(value) for line in step.logged for value in line.values())
    assert "\\r\\n" in said
    assert said.isprintable()


async def test_every_answer_keeps_a_browser_careful() -> None:
    step = Doorstep(PageSettings())
    for path in ("/", "/api/house", "/nothing"):
        headers = (await step.call("GET", path)).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
        assert "*" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
    assert (await step.call("GET", "/api/house")).headers["cache-control"] == "no-store"


FORWARDED = {
    "x-forwarded-for": "203.0.113.9",
    "x-forwarded-proto": "https",
    "x-forwarded-host": "shades.example",
}


async def test_a_trusted_proxy_tells_name_scheme_and_client() -> None:
    step = Doorstep(PROXIED, KEY)
    headers = {**FORWARDED, "origin": "https://shades.example"}
    reply = await step.change("/api/enter", {"key": KEY}, host="127.0.0.1:8093", headers=headers)
    assert reply.status == 200
    assert "Secure" in reply.headers["set-cookie"]
    await step.change("/api/enter", {"key": "not-the-key"}, host="127.0.0.1:8093", headers=headers)
    assert step.logged[-1]["client"] == "'203.0.113.9'"


async def test_behind_a_proxy_the_key_is_needed_on_loopback_too() -> None:
    assert PROXIED.needs_key
    assert not PageSettings().needs_key
    assert LAN.needs_key


async def test_what_is_forwarded_by_anybody_else_is_not_believed() -> None:
    step = Doorstep(PROXIED, KEY)
    reply = await step.call("GET", "/", host="evil.example", client="192.168.1.66", headers=FORWARDED)
    assert reply.status == 421
    await step.call("GET", "/nothing", client="192.168.1.66", headers=FORWARDED)
    assert step.logged[-1]["client"] == "'192.168.1.66'"


async def test_a_client_behind_a_proxy_cannot_choose_its_own_address() -> None:
    step = Doorstep(PROXIED, KEY)
    headers = {**FORWARDED, "x-forwarded-for": "10.9.9.9, 203.0.113.9"}
    await step.call("GET", "/nothing", headers=headers)
    assert step.logged[-1]["client"] == "'203.0.113.9'"


async def test_a_mistake_of_ours_is_told_without_its_details(monkeypatch: pytest.MonkeyPatch) -> None:
    step = Doorstep(PageSettings())
    monkeypatch.setattr(step.home, "house", lambda: 1 // 0)
    reply = await step.call("GET", "/api/house")
    assert (reply.status, reply.said["error"]) == (500, "failed")
    assert b"division" not in reply.body
