"""`hembar page-key`: the page's address with its key, as a link and as a QR code for a phone."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

from bridge.cli.parser import HelpFormatter
from bridge.core.errors import ConfigError

if TYPE_CHECKING:
    from bridge.adapters.page.options import PageSettings
    from bridge.cli.answers import Subparsers

EXAMPLE = "Example:\n  hembar page-key /etc/hembar/hembar.toml --state /var/lib/hembar"


def add_command(subparsers: Subparsers) -> None:
    """Add `page-key` to the commands."""
    parser = subparsers.add_parser(
        "page-key",
        help="the page's address with its key, as a QR code for a phone",
        description="Prints the address under which a browser finds the page, with the key that lets it in: "
        "whoever sees it can move the shades. The key stands after the #, which browsers keep to themselves. "
        "To change the key, put another in its file and restart the service.",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="the settings, with a [page] table")
    parser.add_argument("--state", type=Path, metavar="DIR", help="where the journal is kept")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of a picture")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the address."""
    from bridge.adapters.page.keys import key_for  # noqa: PLC0415
    from bridge.settings.load import load  # noqa: PLC0415  heavy, and not every command wants it

    settings = load(args.file)
    if settings.page is None:
        raise ConfigError(
            where=str(args.file), problem="it has no [page] table, so no page is served", remedy="add [page]"
        )
    key = key_for(settings.page, args.state or settings.state_dir, make=False)
    if settings.page.needs_key and not key:
        raise ConfigError(
            where=str(args.file),
            problem="it does not say where the journal is kept, so the key is not found",
            remedy="give --state DIR",
        )
    address = f"{address_of(settings.page)}#key={key}" if key else address_of(settings.page)
    if args.json:
        print(json.dumps({"address": address}))
        return 0
    if key:
        _draw(address)
    print(address)
    if not key:
        print("No key is needed: only this machine is listened to.")
    return 0


def address_of(page: PageSettings) -> str:
    """Return the address that a browser would use: the first name that the settings allow."""
    from bridge.adapters.page.options import bracketed  # noqa: PLC0415

    name = page.allowed_hosts[0] if page.allowed_hosts else bracketed(page.host)
    if page.behind_proxy:
        return f"https://{name}/"
    has_port = name.rpartition("]")[2].count(":") == 1
    return f"http://{name}/" if has_port else f"http://{name}:{page.port}/"


def _draw(address: str) -> None:
    import segno  # noqa: PLC0415

    segno.make(address, micro=False).terminal(compact=True)
