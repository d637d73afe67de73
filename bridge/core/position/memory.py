"""What the broker remembers of a shade, or an outdated journal does: what it is still worth.

A memory links a board's counts to positions as of one report. All that the board has done since is told by
the reports it has numbered meanwhile, and only while the same boot goes on; in another boot nothing bounds
what has happened between. The broker and the journal are not known here.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

from bridge.core.contract import Report
from bridge.core.position.allowance import (
    braking,
    free_above,
    physical_range,
    reference_interval,
    room_above,
    snap,
)
from bridge.core.position.claims import claim_at, reckoned_at
from bridge.core.position.estimate import Knowledge
from bridge.core.position.evidence import nothing_known, rebased, slipped
from bridge.core.position.fall import holds
from bridge.core.replacing import quick, replace
from bridge.core.spec import ShadeSpec
from bridge.core.values import BoardId, Interval, Steps

# Boards report two to four times a second while a motor turns (board contract, version 1).
REPORT_EVERY_S = 0.5


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Memory:
    """What was known of one shade when its board stood still.

    Attributes:
        term: The claim of the bridge that knew it.
        seq: The last order number that it had used.
        board: The board that counted.
        channel: The channel on it.
        drive: The version of the travel that the steps belong to.
        boot: The boot in which the board counted.
        n: Its newest report that had been read.
        stalls: Stalls that it had told of in that boot.
        base: Position minus count, without scale error, in steps.
        anchor: Positions in which the scale error is zero, in steps.
        low_mm: The least drop that the hem bar could have, for people.
        high_mm: The greatest.
    """

    term: int
    seq: int
    board: BoardId
    channel: int
    drive: str
    boot: int
    n: int
    stalls: int
    base: Interval
    anchor: Interval
    low_mm: float
    high_mm: float


def newer(memory: Memory, than: Memory | None) -> bool:
    """Say whether `memory` is the younger of the two."""
    return than is None or _age(memory) > _age(than)


def _age(memory: Memory) -> tuple[int, int, int, int]:
    return memory.term, memory.seq, memory.boot, memory.n


def recalled(spec: ShadeSpec, memory: Memory, report: Report, *, quiet: bool) -> Knowledge | None:
    """Return what a memory tells of a shade whose board says `report` now; None when it is worth nothing.

    Args:
        spec: The shade.
        memory: What was known.
        report: Evidence of now.
        quiet: The board is known to have acted on no order since.
    """
    unbroken = report.boot == memory.boot and report.n > memory.n and report.stalls == memory.stalls
    if not unbroken or report.count is None or memory.drive != spec.travel.version:
        return None
    known = replace(
        nothing_known(spec), base=memory.base, anchor=memory.anchor, boot=memory.boot, hearsay=True
    )
    unread = report.n - memory.n - 1
    known = _since(spec, known, unread)
    at, ends = reckoned_at(spec, known, report.count), physical_range(spec)
    if at.high < ends.low or ends.high < at.low:
        return None
    settled = report.count if unread == 0 else None
    lost = _lost_upward(spec, known, report.count, unread, quiet=quiet)
    if lost is None:
        hull = Interval(low=claim_at(spec, known, report.count).low, high=ends.high)
        return replace(
            rebased(spec, known, hull, count=report.count, boot=report.boot), settled_count=settled
        )
    assert known.base is not None
    known = replace(known, base=Interval(low=known.base.low, high=known.base.high + lost))
    return replace(known, hull=claim_at(spec, known, report.count), settled_count=settled)


def _since(spec: ShadeSpec, known: Knowledge, unread: int) -> Knowledge:
    """Return knowledge with the slip and the snaps that so many unread reports may have told of."""
    known = slipped(spec, known, moves=unread, distance=most_travelled(spec, unread))
    assert known.base is not None
    return replace(known, base=known.base.widened(unread * snap(spec)))


def most_travelled(spec: ShadeSpec, unread: int) -> Steps:
    """Return the greatest distance that a motor can have gone while its board numbered so many reports."""
    return ceil(unread * REPORT_EVERY_S * spec.top_pps)


def _lost_upward(
    spec: ShadeSpec, known: Knowledge, count: Steps, unread: int, *, quiet: bool
) -> Steps | None:
    """Return by how much lower than counted the hem bar may hang; None without bound.

    The cloth falls when a motor sleeps where it does not hold. A motor that has run into the stop, in a seek,
    by its button or behind a switch met at speed, was no higher than the way back to `count` allows.
    """
    if unread == 0:
        return 0
    if not holds(spec, physical_range(spec)):
        return None
    if not quiet or spec.local_button:
        highest = count - most_travelled(spec, unread)
        return max(0, free_above(spec) - reckoned_at(spec, known, highest).low)
    if spec.upper_switch is None:
        return 0
    room = room_above(spec, reference_interval(spec, spec.upper_switch))
    return unread * max(0, braking(spec) - room)
