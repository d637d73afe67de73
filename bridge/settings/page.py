"""The `[page]` table: whether the page is served, where, under which names, and who is believed."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from bridge.adapters.page.options import PageSettings, is_loopback
from bridge.settings.explain import read_table
from bridge.settings.faults import Place
from bridge.settings.page_model import PageTable


def read_page(place: Place, raw: Mapping[str, object], folder: Path) -> PageSettings | None:
    """Return how the page is served; None where it is not, or after refusing what is wrong.

    Args:
        place: The top of the file.
        raw: The file as read.
        folder: What relative paths start from.
    """
    if "page" not in raw:
        return None
    table = read_table(place, raw, "page", PageTable)
    if table is None:
        return None
    if (not is_loopback(table.host) or table.behind_proxy) and not table.allowed_hosts:
        place.inside("page").refuse(
            "allowed_hosts is missing, so no browser could call the page from outside this machine",
            'add allowed_hosts with the names and addresses it is called by, such as ["shades.home.arpa"]',
        )
        return None
    return PageSettings(
        host=table.host,
        port=table.port,
        allowed_hosts=tuple(table.allowed_hosts),
        token_file=None if table.token_file is None else folder / table.token_file,
        behind_proxy=tuple(table.behind_proxy),
    )
