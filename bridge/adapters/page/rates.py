"""How often one client may ask, and how many may be remembered: nothing in here grows without bound."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from ipaddress import ip_address, ip_network

REMEMBERED = 2048


@dataclass(frozen=True, slots=True)
class Rate:
    """So many at once, and so many a second after that."""

    burst: float
    a_second: float


class Buckets:
    """A token bucket for each client.

    Args:
        rate: What each may do.
        remembered: So many clients; the one seen longest ago is forgotten first.
    """

    def __init__(self, rate: Rate, *, remembered: int = REMEMBERED) -> None:
        self._rate, self._remembered = rate, remembered
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def wait_s(self, client: str, now_s: float) -> float:
        """Take one from a client's bucket and return 0, or how long until there is one again."""
        left, at_s = self._left.pop(client, (self._rate.burst, now_s))
        left = min(self._rate.burst, left + (now_s - at_s) * self._rate.a_second)
        wait_s = 0.0 if left >= 1 else (1 - left) / self._rate.a_second
        self._left[client] = (left if wait_s else left - 1, now_s)
        if len(self._left) > self._remembered:
            self._left.popitem(last=False)
        return wait_s

    def __len__(self) -> int:
        """Return how many clients are remembered."""
        return len(self._left)


def client_of(address: str) -> str:
    """Return what counts as one client: an IPv4 address, or the /64 that a household's IPv6 comes from."""
    try:
        ip = ip_address(address.partition("%")[0])
    except ValueError:
        return address
    return address if ip.version == 4 else str(ip_network((ip, 64), strict=False))
