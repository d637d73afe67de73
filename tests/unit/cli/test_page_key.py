"""The page's address with its key, for a phone."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bridge.adapters.page.options import PageSettings
from bridge.cli.main import main
from bridge.cli.page_key import address_of

DEMO = Path(__file__).parents[3] / "bridge" / "simulate" / "demo_house.toml"
KEY = "an-invented-key-0123456789"


def settings(folder: Path, page: str) -> str:
    path = folder / "house.toml"
    path.write_text(f"{DEMO.read_text()}\n{page}")
    return str(path)


def test_the_key_stands_after_the_number_sign_and_in_the_picture(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "page-key").write_text(KEY)
    path = settings(tmp_path, '[page]\nhost = "0.0.0.0"\nallowed_hosts = ["shades.home.arpa"]')
    assert main(["page-key", path, "--state", str(tmp_path)]) == 0
    *picture, address = capsys.readouterr().out.splitlines()
    assert address == f"http://shades.home.arpa:8093/#key={KEY}"
    # Version 4 has 33 modules (ISO/IEC 18004); two lie in one line, with a quiet zone of four around.
    assert {len(line) for line in picture} == {41}
    assert len(picture) == 21
    assert main(["page-key", path, "--state", str(tmp_path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"address": address}


def test_on_this_machine_alone_there_is_no_key(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["page-key", settings(tmp_path, "[page]")]) == 0
    said = capsys.readouterr().out
    assert "http://127.0.0.1:8093/\n" in said
    assert "No key is needed" in said


@pytest.mark.parametrize(
    ("page", "state", "said"),
    [
        ("", True, "it has no [page] table"),
        ('[page]\nhost = "0.0.0.0"\nallowed_hosts = ["a"]', False, "where the journal is kept"),
        ('[page]\nhost = "0.0.0.0"\nallowed_hosts = ["a"]', True, "can't be read"),
    ],
)
def test_what_is_missing_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], page: str, state: bool, said: str
) -> None:
    more = ["--state", str(tmp_path)] if state else []
    assert main(["page-key", settings(tmp_path, page), *more]) == 78
    assert said in capsys.readouterr().err
    assert not (tmp_path / "page-key").exists()


@pytest.mark.parametrize(
    ("page", "address"),
    [
        (PageSettings(allowed_hosts=("a.example",), behind_proxy=("127.0.0.1",)), "https://a.example/"),
        (PageSettings(host="0.0.0.0", allowed_hosts=("10.0.0.2:80",)), "http://10.0.0.2:80/"),
        (PageSettings(host="::", allowed_hosts=("[fd00::5]",)), "http://[fd00::5]:8093/"),
        (PageSettings(host="::1", port=8100), "http://[::1]:8100/"),
    ],
)
def test_the_address_is_the_first_that_is_allowed(page: PageSettings, address: str) -> None:
    assert address_of(page) == address
