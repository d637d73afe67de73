"""The service manager's notify protocol: one datagram a message, to the socket it names.

Source: sd_notify(3). Without NOTIFY_SOCKET in the environment every call does nothing.
"""

from __future__ import annotations

import socket
from collections.abc import Mapping


class ServiceManager:
    """Whoever started us and wants to know how we are.

    Args:
        environment: NOTIFY_SOCKET, WATCHDOG_USEC and WATCHDOG_PID are read from it.
        pid: Our own.
    """

    def __init__(self, environment: Mapping[str, str], *, pid: int) -> None:
        name = environment.get("NOTIFY_SOCKET", "")
        self._address = "\0" + name[1:] if name.startswith("@") else name
        self.watchdog_s = _watchdog_s(environment, pid)

    def tell(self, *lines: str) -> None:
        """Send `READY=1`, `STOPPING=1`, `WATCHDOG=1`, `STATUS=…`, `RELOADING=1` with MONOTONIC_USEC.

        A manager that is gone is no fault.
        """
        if not self._address:
            return
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as end:
            end.settimeout(1.0)
            try:
                end.sendto("\n".join(lines).encode(), self._address)
            except OSError:
                return


def _watchdog_s(environment: Mapping[str, str], pid: int) -> float | None:
    """Return the seconds within which the watchdog wants a ping; None without one."""
    if environment.get("WATCHDOG_PID", str(pid)) != str(pid):
        return None
    usec = environment.get("WATCHDOG_USEC", "")
    return int(usec) / 1e6 if usec.isascii() and usec.isdigit() and int(usec) > 0 else None
