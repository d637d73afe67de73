from __future__ import annotations

from pathlib import Path

import pytest

from bridge.adapters.page.keys import Keys, key_for, key_path
from bridge.adapters.page.options import PageSettings
from bridge.adapters.page.rates import Buckets, Rate, client_of
from bridge.core.errors import ConfigError

LAN = PageSettings(host="0.0.0.0", allowed_hosts=("shades.home.arpa",))


def test_on_loopback_no_key_is_needed(tmp_path: Path) -> None:
    assert key_for(PageSettings(), tmp_path, {}) == ""
    assert list(tmp_path.iterdir()) == []


def test_on_a_network_a_key_is_made_once_that_only_the_service_reads(tmp_path: Path) -> None:
    key = key_for(LAN, tmp_path, {})
    assert len(key) >= 32
    assert key_for(LAN, tmp_path, {}) == key
    assert (tmp_path / "page-key").stat().st_mode & 0o777 == 0o600


def test_who_only_asks_for_the_key_makes_none(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="the service makes one"):
        key_for(LAN, tmp_path, {}, make=False)
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_the_settings_goes_before_the_credential_and_that_before_our_own(tmp_path: Path) -> None:
    (tmp_path / "page-key").write_text("credential-0123456789\n")
    environ = {"CREDENTIALS_DIRECTORY": str(tmp_path)}
    assert key_for(LAN, tmp_path / "state", environ) == "credential-0123456789"
    own = tmp_path / "own"
    own.write_text("own-key-0123456789\nsecond line\n")
    chosen = PageSettings(token_file=own)
    assert key_path(chosen, tmp_path, environ) == own
    assert key_for(chosen, tmp_path, environ) == "own-key-0123456789"


@pytest.mark.parametrize("text", ["", "short", "with a blank in it 123", "x" * 201, "ümlaut-ümlaut-ümlaut"])
def test_a_key_that_is_none_stops_the_page(tmp_path: Path, text: str) -> None:
    own = tmp_path / "own"
    own.write_text(text)
    with pytest.raises(ConfigError, match="no key of 16 to 200"):
        key_for(PageSettings(token_file=own), tmp_path, {})


@pytest.mark.parametrize("forged", ["", ".", "abc", "abc.", "abc.def", "x" * 5000, "ü.ü"])
def test_a_cookie_that_was_not_made_here_opens_nothing(forged: str) -> None:
    keys = Keys("an-invented-key-0123")
    made = keys.cookie(encrypted=True).partition("=")[2].partition(";")[0]
    assert keys.opens(made)
    assert not keys.opens(forged)
    assert not keys.opens(made[:-1])
    assert not Keys("another-invented-key").opens(made)


def test_a_bucket_fills_again_and_never_above_its_burst() -> None:
    buckets = Buckets(Rate(burst=2, a_second=0.5))
    assert [buckets.wait_s("a", 0.0) for _ in range(3)] == [0.0, 0.0, 2.0]
    assert buckets.wait_s("b", 0.0) == 0.0
    assert buckets.wait_s("a", 2.0) == 0.0
    assert buckets.wait_s("a", 2.0) > 0
    assert [buckets.wait_s("a", 1000.0) for _ in range(3)] == [0.0, 0.0, 2.0]


def test_however_many_ask_few_are_remembered() -> None:
    buckets = Buckets(Rate(burst=1, a_second=1), remembered=10)
    for number in range(1000):
        buckets.wait_s(str(number), 0.0)
    assert len(buckets) == 10


def test_a_household_of_ipv6_counts_as_one_client() -> None:
    assert client_of("2001:db8:1:2::5") == client_of("2001:db8:1:2:ffff::1") != client_of("2001:db8:1:3::5")
    assert client_of("192.168.1.5") != client_of("192.168.1.6")
    assert client_of("unix socket") == "unix socket"
