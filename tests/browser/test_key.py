"""A page that wants its key: by the link that the terminal shows, or written by hand."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.conftest import Home, opened_home

pytestmark = pytest.mark.browser

KEY = "twelve-gulls-on-the-roof-of-a-quiet-house"


@pytest.fixture
def keyed_home(brokers: Callable[..., Any], tmp_path: Path, chromium: Browser) -> Iterator[Home]:
    """Give a house that is called through a proxy, so that nobody is let in without the key."""
    (tmp_path / "key").write_text(f"{KEY}\n")
    (tmp_path / "key").chmod(0o600)
    table = 'behind_proxy = ["192.0.2.1"]\nallowed_hosts = ["shades.home.arpa"]\ntoken_file = "key"\n'
    with opened_home(brokers(), tmp_path, chromium, table) as found:
        yield found


def test_the_link_lets_one_in_and_the_key_leaves_the_address(keyed_home: Home) -> None:
    visitor = keyed_home.visit(f"#key={KEY}")
    expect(visitor.window("Study")).to_be_visible()
    assert KEY not in visitor.page.url
    visitor.page.reload()
    expect(visitor.window("Study")).to_be_visible()


def test_without_it_nothing_of_the_house_is_shown_until_it_is_written(keyed_home: Home) -> None:
    visitor = keyed_home.visit()
    field = visitor.page.get_by_label("Key")
    expect(field).to_be_visible()
    expect(visitor.window("Study")).to_have_count(0)
    visitor.picture("phone-key")
    field.fill("not-the-key")
    visitor.page.get_by_role("button", name="Open").click()
    expect(visitor.page.get_by_role("main").get_by_role("alert")).not_to_be_empty()
    field.fill(KEY)
    visitor.page.get_by_role("button", name="Open").click()
    expect(visitor.window("Study")).to_be_visible()
