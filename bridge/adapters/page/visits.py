"""What a request says of itself: from where, by which name; a proxy is believed only if it is trusted."""

from __future__ import annotations

from collections.abc import MutableMapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from ipaddress import ip_address
from typing import Any

from bridge.adapters.page.keys import COOKIE
from bridge.adapters.page.options import Network

Scope = MutableMapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """One request.

    Attributes:
        method: HTTP method.
        path: Path, decoded.
        peer: The address at the other end.
        client: The address that asks: the peer's, or what a trusted proxy says.
        host: The `Host` asked for, in lower case.
        scheme: `http`, or `https` behind a trusted proxy.
        headers: Every header by lower-case name; of several the last.
        hosts: How often `Host` stood there.
    """

    method: str
    path: str
    peer: str
    client: str
    host: str
    scheme: str
    headers: dict[str, str] = field(repr=False)
    hosts: int = 1

    @property
    def changes(self) -> bool:
        """Say whether it may change anything."""
        return self.method not in ("GET", "HEAD")

    @property
    def origin(self) -> str:
        """The origin that a page of ours has."""
        return f"{self.scheme}://{self.host}"

    @property
    def bearer(self) -> str:
        """The key sent as `Authorization: Bearer`; "" without one."""
        kind, _, key = self.headers.get("authorization", "").partition(" ")
        return key.strip() if kind.lower() == "bearer" else ""

    @property
    def cookie(self) -> str:
        """The value of our cookie; "" without one."""
        try:
            found = SimpleCookie(self.headers.get("cookie", "")[:4096]).get(COOKIE)
        except CookieError:
            return ""
        return "" if found is None else found.value


def visit_of(scope: Scope, proxies: tuple[Network, ...]) -> Visit:
    """Return what a request says of itself.

    Args:
        scope: Of the ASGI request.
        proxies: Whose `X-Forwarded-` headers count.
    """
    pairs = [(name.decode("latin-1").lower(), value.decode("latin-1")) for name, value in scope["headers"]]
    headers = dict(pairs)
    peer = scope["client"][0] if scope.get("client") else ""
    client, host, scheme = peer, headers.get("host", ""), str(scope.get("scheme", "http"))
    if _trusted(peer, proxies):
        hops = [each.strip() for each in headers.get("x-forwarded-for", "").split(",") if each.strip()]
        client = next((hop for hop in reversed(hops) if not _trusted(hop, proxies)), client)
        host = headers.get("x-forwarded-host", host)
        scheme = "https" if headers.get("x-forwarded-proto", scheme).lower() == "https" else "http"
    return Visit(
        method=scope["method"],
        path=scope["path"],
        peer=peer,
        client=client[:64],
        host=host.strip().lower(),
        scheme=scheme,
        headers=headers,
        hosts=sum(name == "host" for name, _ in pairs),
    )


def _trusted(address: str, proxies: tuple[Network, ...]) -> bool:
    try:
        ip = ip_address(address)
    except ValueError:
        return False
    mapped = getattr(ip, "ipv4_mapped", None)
    return any((mapped or ip) in network for network in proxies)
