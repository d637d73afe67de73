"""What every command that talks to a running house shares: finding the broker, reading the tree."""

from __future__ import annotations

import argparse
import shutil
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from bridge.cli.naming import named
from bridge.core.errors import RequestError
from bridge.core.values import ShadeId

if TYPE_CHECKING:
    from bridge.adapters.broker.messages import Address
    from bridge.adapters.broker.oneshot import Visit

DEFAULT_PORT = 1883
Device = dict[str, bytes]


def add_broker_options(parser: argparse.ArgumentParser) -> None:
    """Add `--broker`, `--settings` and `--json`."""
    where = parser.add_mutually_exclusive_group()
    where.add_argument("--broker", metavar="HOST[:PORT]", help="the broker (default 127.0.0.1:1883)")
    where.add_argument(
        "--settings", type=Path, metavar="FILE", help="take the broker from this settings file"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def visit(args: argparse.Namespace) -> Visit:
    """Return a visit to the broker that the options name; open it with `with`."""
    from bridge.adapters.broker.oneshot import Visit  # noqa: PLC0415  paho is not for every command

    if args.settings is None:
        return Visit(broker_address(args.broker or "127.0.0.1"))
    from bridge.settings.load import load  # noqa: PLC0415  pydantic is heavy
    from bridge.shell.addresses import address_of  # noqa: PLC0415

    broker = load(args.settings).broker
    address = replace(address_of(broker), client_id=f"{broker.client_id}-cli")
    return Visit(address, domain=broker.tree_root, root=broker.root_device)


def bridge_of(tree: dict[str, Device]) -> str:
    """Return the device id of the bridge itself.

    Raises:
        RequestError: no bridge has been on this broker.
    """
    if not tree:
        raise RequestError(
            where="the broker",
            problem="no house has been shown there",
            remedy="start `hembar run`, or name the right broker with --broker",
        )
    return next(iter(tree))


def ready_bridge(tree: dict[str, Device]) -> str:
    """Return the device id of the bridge itself, which is there and takes requests.

    Raises:
        RequestError: no bridge has been on this broker, or it is not at work now.
    """
    root = bridge_of(tree)
    state = text(tree[root], "$state")
    if state != "ready":
        raise RequestError(
            where="the bridge", problem=f"it is {state or 'not there'}", remedy="start `hembar run`"
        )
    return root


def shade_device(tree: dict[str, Device], shade: str) -> str:
    """Return the device id of a shade.

    Raises:
        RequestError: no bridge has been on this broker, or the shade is not in its house.
    """
    root = bridge_of(tree)
    devices = {ShadeId(device.removeprefix(f"{root}-")): device for device in list(tree)[1:]}
    return named(shade, devices, among="this house")


def columns() -> int | None:
    """Return the width of the terminal; None when the output goes elsewhere."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else None


def text(device: Device, levels: str) -> str:
    """Return one value of a device as text; "" when it has none."""
    return device.get(levels, b"").decode("utf-8", "replace")


def host_and_port(text: str) -> tuple[str, int] | None:
    """Read HOST[:PORT], an IPv6 address in brackets; None when it is no such thing."""
    host, port = text, str(DEFAULT_PORT)
    if text.startswith("["):
        host, _, after = text[1:].partition("]")
        port = after.removeprefix(":") or port
    elif text.count(":") == 1:
        host, _, port = text.partition(":")
    if not host or not (port.isascii() and port.isdigit() and 0 < int(port) < 65536):
        return None
    return host, int(port)


def broker_address(broker: str) -> Address:
    from bridge.adapters.broker.messages import Address  # noqa: PLC0415

    found = host_and_port(broker)
    if found is None:
        raise RequestError(
            where=f"--broker {broker!r}",
            problem="this is no HOST[:PORT]",
            remedy="write it like 127.0.0.1:1883 or [::1]:1883",
        )
    return Address(host=found[0], port=found[1], client_id="hembar-cli")
