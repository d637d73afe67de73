"""How the page is served, as plain values; light enough for whoever only reads settings."""

from __future__ import annotations

from dataclasses import dataclass
from ipaddress import IPv4Network, IPv6Network, ip_address, ip_network
from pathlib import Path

Network = IPv4Network | IPv6Network


@dataclass(frozen=True, slots=True, kw_only=True)
class PageSettings:
    """The `[page]` table.

    Attributes:
        host: The address that is listened on.
        port: TCP port.
        allowed_hosts: Names or addresses under which the page may be called, each with or without a port.
        token_file: Its first line is the key; None leaves it to the service manager's credential or, where
            a key is needed, to a file beside the journal.
        behind_proxy: Addresses and networks of proxies whose `X-Forwarded-` headers count.
    """

    host: str = "127.0.0.1"
    port: int = 8093
    allowed_hosts: tuple[str, ...] = ()
    token_file: Path | None = None
    behind_proxy: tuple[str, ...] = ()

    @property
    def needs_key(self) -> bool:
        """Say whether anybody but this machine can call it, so that a key is needed."""
        return bool(self.behind_proxy) or not is_loopback(self.host)

    @property
    def hosts(self) -> frozenset[str]:
        """Every `Host` that is answered, in lower case."""
        names = [name.lower() for name in self.allowed_hosts]
        if is_loopback(self.host):
            names += ["127.0.0.1", "localhost", "[::1]"]
        elif not is_any(self.host):
            names.append(bracketed(self.host))
        bare = [name for name in names if not _has_port(name)]
        return frozenset([*names, *(f"{name}:{self.port}" for name in bare)])

    @property
    def proxies(self) -> tuple[Network, ...]:
        """The trusted proxies as networks."""
        return tuple(ip_network(each, strict=False) for each in self.behind_proxy)


def is_loopback(host: str) -> bool:
    """Say whether only this machine can reach an address."""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def is_any(host: str) -> bool:
    """Say whether an address means every one of this machine."""
    try:
        return ip_address(host).is_unspecified
    except ValueError:
        return False


def bracketed(host: str) -> str:
    """Return an address as it stands in a URL."""
    return f"[{host}]" if ":" in host else host


def _has_port(name: str) -> bool:
    return name.rpartition("]")[2].count(":") == 1
