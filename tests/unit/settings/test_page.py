"""The [page] table: what it becomes, and how each fault is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from bridge.adapters.page.options import PageSettings
from bridge.settings.faults import ConfigFaults
from bridge.settings.load import load_text

DEMO = Path(__file__).parents[3] / "bridge" / "simulate" / "demo_house.toml"


def page_of(text: str, folder: Path = Path("/etc/hembar")) -> PageSettings | None:
    return load_text(f"{DEMO.read_text()}\n{text}", origin="house.toml", folder=folder).page


def fault_of(text: str) -> str:
    with pytest.raises(ConfigFaults) as caught:
        page_of(text)
    assert len(caught.value.faults) == 1
    return str(caught.value)


def test_without_the_table_there_is_no_page() -> None:
    assert page_of("") is None


def test_an_empty_table_serves_this_machine_only() -> None:
    page = page_of("[page]")
    assert page == PageSettings(host="127.0.0.1", port=8093)
    assert not page.needs_key
    assert page.hosts == {
        "127.0.0.1", "localhost", "[::1]", "127.0.0.1:8093", "localhost:8093", "[::1]:8093"
    }  # fmt: skip


def test_on_a_network_the_owner_names_what_it_is_called() -> None:
    page = page_of(
        '[page]\nhost = "0.0.0.0"\nport = 8100\n'
        'allowed_hosts = ["Shades.home.arpa", "[fd00::5]", "10.0.0.2:80"]\n'
        'token_file = "page-key"\nbehind_proxy = ["10.0.0.7/24"]'
    )
    assert page is not None
    assert page.hosts == {
        "shades.home.arpa", "shades.home.arpa:8100", "[fd00::5]", "[fd00::5]:8100", "10.0.0.2:80"
    }  # fmt: skip
    assert page.token_file == Path("/etc/hembar/page-key")
    assert page.behind_proxy == ("10.0.0.0/24",)
    assert page.needs_key


@pytest.mark.parametrize("more", ['host = "0.0.0.0"', 'host = "192.168.1.5"', 'behind_proxy = ["127.0.0.1"]'])
def test_without_names_no_browser_could_call_it_from_outside(more: str) -> None:
    assert "allowed_hosts is missing" in fault_of(f"[page]\n{more}")


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ('host = "shades.home.arpa"', "an address of this machine"),
        ("port = 0", "at least 1"),
        ("port = 65536", "at most 65535"),
        ('allowed_hosts = ["*"]', "without http://"),
        ('allowed_hosts = ["http://shades"]', "without http://"),
        ('allowed_hosts = ["a b"]', "without http://"),
        ('behind_proxy = ["proxy"]', "an address or a network"),
        ('token = "abc"', "token"),
    ],
)
def test_each_fault_is_told_with_what_to_write(line: str, reason: str) -> None:
    assert reason in fault_of(f"[page]\n{line}")
