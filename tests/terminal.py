"""A command in a real terminal, with somebody in front of it who waits for a question and types."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Callable
from pathlib import Path

ASKED = re.compile(r"\(([a-z0-9-]+)\) \[[^\]]*\] > $")
ROWS, COLUMNS = 40, 110
# So that Ctrl-C reaches it: the terminal becomes that of its session.
WITH_TERMINAL = (
    "import fcntl, os, sys, termios; fcntl.ioctl(0, termios.TIOCSCTTY, 0); "
    "os.execv(sys.argv[1], sys.argv[1:])"
)


class Terminal:
    """One run of a command in a terminal of its own."""

    def __init__(self, command: list[str], *, folder: Path) -> None:
        self.shown = ""
        self._read = 0
        ours, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
        self._ours = ours
        self.process = subprocess.Popen(
            [sys.executable, "-c", WITH_TERMINAL, *command],
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            cwd=folder,
            start_new_session=True,
            env={**os.environ, "TERM": "dumb"},
        )
        os.close(theirs)

    def type(self, text: str) -> None:
        """Type a line."""
        self._read = len(self.shown)
        os.write(self._ours, f"{text}\n".encode())

    def press_ctrl_c(self) -> None:
        self._read = len(self.shown)
        os.write(self._ours, b"\x03")

    def question(self, *, within_s: float, meanwhile: Callable[[str], None] = lambda _: None) -> str | None:
        """Wait for the next question; its key, or None once the command has ended.

        Args:
            within_s: Fail beyond it.
            meanwhile: Called with what has been shown since the last answer.
        """
        until_s = time.monotonic() + within_s
        while time.monotonic() < until_s:
            ended = not self._take(0.1)
            new = self.shown[self._read :]
            meanwhile(new)
            if (found := ASKED.search(new)) is not None:
                return found[1]
            if ended:
                self.process.wait(10)
                return None
        raise AssertionError(f"no question in {within_s} s; last shown:\n{self.shown[-2000:]}")

    def _take(self, wait_s: float) -> bool:
        """Read what is there; False once the other end is closed."""
        if not select.select([self._ours], [], [], wait_s)[0]:
            return True
        try:
            data = os.read(self._ours, 65536)
        except OSError:
            return False
        self.shown += data.decode("utf-8", "replace").replace("\r\n", "\n")
        return bool(data)

    def close(self) -> None:
        if self.process.poll() is None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait(5)
        os.close(self._ours)
