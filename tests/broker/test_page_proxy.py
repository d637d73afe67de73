"""The page behind a real nginx, with the configuration that is given to owners as an example."""

from __future__ import annotations

import http.client
import json
import shutil
import signal
import ssl
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import trustme

from tests.house_process import House, running_house
from tests.mosquitto import Mosquitto
from tests.page_client import Client, free_port

pytestmark = pytest.mark.broker
EXAMPLE = Path(__file__).parents[2] / "config" / "nginx-page.conf"
NAME = "shades.home.arpa"
KEY = "an-invented-key-0123456789"


@dataclass
class Encrypted:
    """A browser in the house, which reaches the proxy only."""

    port: int
    context: ssl.SSLContext
    cookie: str = ""

    def call(self, method: str, path: str, asked: object = None, **headers: str) -> tuple[int, Any, str]:
        connection = http.client.HTTPSConnection("127.0.0.1", self.port, context=self.context, timeout=10)
        origin = f"https://{NAME}:{self.port}"
        own = {"Host": f"{NAME}:{self.port}", "Cookie": self.cookie}
        if asked is not None:
            own |= {"Origin": origin, "X-Hembar": "1", "Content-Type": "application/json"}
        try:
            body = None if asked is None else json.dumps(asked).encode()
            connection.request(method, path, body, {**own, **headers})
            reply = connection.getresponse()
            if path == "/api/events":
                return reply.status, reply.read1(65536), ""
            return reply.status, json.loads(reply.read()), reply.getheader("set-cookie", "")
        finally:
            connection.close()


@contextmanager
def proxy(folder: Path, page: int, port: int) -> Iterator[ssl.SSLContext]:
    program = shutil.which("nginx") or "/usr/sbin/nginx"
    ca = trustme.CA()
    certificate = ca.issue_cert(NAME, "127.0.0.1")
    certificate.private_key_and_cert_chain_pem.write_to_path(str(folder / "shades.pem"))
    text = EXAMPLE.read_text()
    for old, new in (
        ("listen 443", f"listen 127.0.0.1:{port}"),
        ("/etc/nginx/shades-key.pem", str(folder / "shades.pem")),
        ("/etc/nginx/shades.pem", str(folder / "shades.pem")),
        ("127.0.0.1:8093", f"127.0.0.1:{page}"),
    ):
        assert old in text, old
        text = text.replace(old, new)
    places = "".join(
        f"{kind}_temp_path {folder}/{kind};" for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    whole = f"daemon off; pid {folder}/pid; error_log {folder}/error.log;\nevents {{}}\n"
    (folder / "nginx.conf").write_text(f"{whole}http {{ access_log off; {places}\n{text}\n}}")
    process = subprocess.Popen([program, "-p", str(folder), "-c", str(folder / "nginx.conf")])
    context = ssl.create_default_context()
    ca.configure_trust(context)
    try:
        yield context
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(10)


@pytest.fixture
def served(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[tuple[House, Client, Encrypted]]:
    page, port = free_port(), free_port()
    key = tmp_path / "key"
    key.write_text(KEY)
    more = (
        f'[page]\nport = {page}\nallowed_hosts = ["{NAME}:{port}"]\nbehind_proxy = ["127.0.0.1"]\n'
        f'token_file = "{key}"\n'
    )
    folder = tmp_path / "nginx"
    folder.mkdir()
    with running_house(mosquitto, tmp_path, more=more) as house, proxy(folder, page, port) as context:
        direct, outside = Client(page), Encrypted(port, context)
        direct.wait_open()
        until = time.monotonic() + 10
        while True:
            try:
                outside.call("GET", "/api/house")
                break
            except OSError:
                assert time.monotonic() < until, "nginx did not start"
                time.sleep(0.05)
        yield house, direct, outside


def test_a_phone_enters_with_its_key_sees_changes_and_moves_a_shade(
    served: tuple[House, Client, Encrypted],
) -> None:
    house, _, phone = served
    house.find_top("study")
    assert phone.call("GET", "/api/house")[0] == 401
    status, _, cookie = phone.call("POST", "/api/enter", {"key": KEY})
    assert status == 200
    assert "Secure" in cookie
    phone.cookie = cookie.partition(";")[0]
    assert phone.call("GET", "/api/house")[1]["name"] == "Gull House"
    status, seen, _ = phone.call("GET", "/api/events")
    assert (status, b"event: house" in seen) == (200, True)
    assert phone.call("POST", "/api/shades/study/ask", {"open_pct": 60})[0] == 200
    house.wait_at_rest("study", "60")


def test_names_and_origins_are_those_outside_and_nobody_chooses_an_address(
    served: tuple[House, Client, Encrypted],
) -> None:
    house, direct, phone = served
    forged = {
        "X-Forwarded-For": "203.0.113.9",
        "X-Forwarded-Host": "evil.example",
        "X-Forwarded-Proto": "http",
    }
    assert phone.call("POST", "/api/enter", {"key": KEY}, **forged)[0] == 200
    assert phone.call("POST", "/api/enter", {"key": KEY}, Origin=f"http://{NAME}:{phone.port}")[0] == 403
    assert phone.call("GET", "/api/house", Host="evil.example")[0] == 421
    assert direct.get("/api/house")[0] == 401, "behind a proxy the key is needed on this machine too"
    assert "203.0.113.9" not in house.bridge.log.read_text()
