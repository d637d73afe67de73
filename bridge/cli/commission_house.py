"""The bridge beside a commissioning: it keeps its hands off first, and is given the place at the end."""

from __future__ import annotations

import fcntl
import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from bridge.adapters.broker.workbench import Workbench
from bridge.adapters.links import contract
from bridge.cli.broker_options import text
from bridge.core.commissioning.result import Edit
from bridge.core.contract import Do, Order
from bridge.core.errors import RequestError
from bridge.core.spec import ContractLink
from bridge.settings.rewrite import replace_file, rewritten

RELOAD = "systemctl reload hembar, or kill -HUP with the number of its process"
RELOAD_S = 300.0
LOOK_S = 1.0
CONFIRM_S = 60.0
ANSWER_S = 3.0


def write(path: Path, shade: str, *edits: Edit) -> None:
    """Change a shade's settings in their file; raises ConfigError and leaves it as it was."""
    with _alone_in(path.parent):
        old = path.read_text(encoding="utf-8")
        new = rewritten(old, shade, edits, origin=str(path), folder=path.parent)
        if new != old:
            replace_file(path, new, backup=path.with_name(f"{path.name}.before-{shade}"))


@contextmanager
def _alone_in(folder: Path) -> Iterator[None]:
    """Keep others that commission another shade from writing the same file meanwhile."""
    lock = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield
    finally:
        os.close(lock)


def at_work(bench: Workbench) -> str | None:
    """Return the device id of a bridge that is at work on this broker; None without one."""
    tree = bench.tree()
    root = next(iter(tree), None)
    return root if root is not None and text(tree[root], "$state") == "ready" else None


def active(bench: Workbench, root: str, shade: str) -> bool | None:
    """Return whether the bridge may move the shade; None when it does not have it."""
    said = bench.tree().get(f"{root}-{shade}")
    return None if not said else text(said, "service/active") != "false"


def await_active(bench: Workbench, root: str, shade: str, wanted: Callable[[bool | None], bool]) -> None:
    """Ask for a reload, and wait until the bridge shows the shade as wanted.

    Raises:
        RequestError: it does not in time.
    """
    if wanted(active(bench, root, shade)):
        return
    print(f"A bridge is at work. Let it read its settings again ({RELOAD}); waiting ...", flush=True)
    until_s = time.monotonic() + RELOAD_S
    while not wanted(active(bench, root, shade)):
        if time.monotonic() >= until_s:
            raise RequestError(
                where="the bridge",
                problem=f"after {RELOAD_S:.0f} s it still has the old settings of {shade}",
                remedy=f"let it read them again: {RELOAD}; then start this again, it goes on where it was",
            )
        bench.idle(LOOK_S)


def nudge(bench: Workbench, boards_root: str, link: ContractLink, *, term: int, boot: int, seq: int) -> None:
    """Let the board say where it stands, so that a bridge that has just learnt of it asks it."""
    order = Order(term=term, boot=boot, seq=seq, seen=1 << 30, do=Do.TELL)
    topic, payload = contract.encode(order, root=boards_root, board=link.board, channel=link.channel)
    bench.say(topic, payload, retain=False)


def confirm_upper(bench: Workbench, root: str, shade: str) -> str:
    """Confirm at the bridge that the hem bar hangs at the upper limit; return the grade that follows.

    Raises:
        RequestError: it does not take that, with its reason.
    """
    device, reason = f"{root}-{shade}", "it did not answer"
    until_s = time.monotonic() + CONFIRM_S
    while time.monotonic() < until_s:
        answer = bench.ask(device, "knowledge/confirm", b"upper", within_s=ANSWER_S)
        if answer.taken:
            values, _ = bench.follow(
                device, lambda said: said.get("knowledge/grade") not in (b"unknown", None), within_s=ANSWER_S
            )
            return text(values, "knowledge/grade")
        reason = answer.reason or reason
        bench.idle(LOOK_S)
    raise RequestError(
        where="the bridge", problem=reason, remedy=f"while it hangs there: hembar confirm {shade} upper"
    )
