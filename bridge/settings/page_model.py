"""The form of the `[page]` table of the settings file."""

from __future__ import annotations

import ipaddress
import re
from typing import Annotated

from pydantic import AfterValidator, Field

from bridge.settings.faults import RefusedValueError
from bridge.settings.fields import FilePath, Table

_NAME = re.compile(r"(\[[0-9a-fA-F:.]+\]|[A-Za-z0-9](?:[A-Za-z0-9.-]*[A-Za-z0-9])?)(:[0-9]{1,5})?")


def _address(value: str) -> str:
    try:
        return "127.0.0.1" if value == "localhost" else str(ipaddress.ip_address(value))
    except ValueError:
        raise RefusedValueError(
            "it must be an address of this machine",
            'write "127.0.0.1" for this machine only, "0.0.0.0" for every network that it is in',
        ) from None


def _name(value: str) -> str:
    if not _NAME.fullmatch(value):
        raise RefusedValueError(
            "it must be a name or an address as it stands in a browser, without http:// and path",
            'write it like "shades.home.arpa" or "192.168.1.20:8093"',
        )
    return value


def _network(value: str) -> str:
    try:
        return str(ipaddress.ip_network(value, strict=False))
    except ValueError:
        raise RefusedValueError(
            "it must be an address or a network", 'write it like "127.0.0.1" or "192.168.1.0/24"'
        ) from None


class PageTable(Table):
    """The page for a browser, and its API; without this table nothing is served."""

    host: Annotated[str, AfterValidator(_address)] = Field(
        default="127.0.0.1",
        description="Address that is listened on; this machine only by default. With any other, people need "
        "the key that `hembar page-key` shows.",
    )
    port: int = Field(default=8093, ge=1, le=65535, description="TCP port.")
    allowed_hosts: list[Annotated[str, AfterValidator(_name)]] = Field(
        default_factory=list,
        max_length=50,
        description="Names and addresses under which a browser may call the page, such as "
        '"shades.home.arpa"; this machine\'s own are always among them while only it is listened to.',
    )
    token_file: FilePath | None = Field(
        default=None,
        description="File whose first line is the key that lets people in; by default one is made where a "
        "key is needed.",
    )
    behind_proxy: list[Annotated[str, AfterValidator(_network)]] = Field(
        default_factory=list,
        max_length=20,
        description="Addresses or networks of a TLS proxy whose X-Forwarded headers are believed; with one, "
        "people need the key.",
    )
