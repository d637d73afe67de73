"""What a run of the world has done, in figures that add up over seeds."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

SUMS = (
    "shade_days", "one_way_days", "moves", "local_moves", "events", "orders", "requests", "references",
    "shared_starts", "rule_moves", "group_asks", "undetectable", "in_motion",
)  # fmt: skip


@dataclass(slots=True, kw_only=True)
class Figures:
    """Counts of one or more worlds.

    Attributes:
        shade_days: Simulated days times shades.
        one_way_days: Of these, on boards that never report.
        moves: Motions begun by orders.
        local_moves: Motions begun at a board.
        events: Events that the core has handled.
        orders: Orders that left.
        requests: Requests accepted.
        references: References met.
        shared_starts: Motions begun on a supply that is shared.
        rule_moves: Moves by rules.
        group_asks: Requests to a group.
        undetectable: Events that nothing can feel.
        faults: By kind.
        in_motion: Of these, those injected while a motor turned.
        fates: How requests ended.
        whys: The reasons, numbers taken out.
        widths: Day, link, sensor or not, width in mm, error of the aim in mm.
    """

    shade_days: float = 0.0
    one_way_days: float = 0.0
    moves: int = 0
    local_moves: int = 0
    events: int = 0
    orders: int = 0
    requests: int = 0
    references: int = 0
    shared_starts: int = 0
    rule_moves: int = 0
    group_asks: int = 0
    undetectable: int = 0
    faults: Counter[str] = field(default_factory=Counter)
    in_motion: int = 0
    fates: Counter[str] = field(default_factory=Counter)
    whys: Counter[str] = field(default_factory=Counter)
    widths: list[tuple[int, str, bool, float, float]] = field(default_factory=list)

    def fault(self, kind: str, *, moving: bool) -> None:
        """Count one fault."""
        self.faults[kind] += 1
        self.in_motion += moving

    def add(self, other: Figures) -> None:
        """Take in the figures of another world."""
        for name in SUMS:
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.faults.update(other.faults)
        self.fates.update(other.fates)
        self.whys.update(other.whys)
        self.widths.extend(other.widths)


_DIGITS = str.maketrans("0123456789", "##########")


def plain(why: str) -> str:
    """Return a reason with its numbers taken out, to count like with like."""
    return why.translate(_DIGITS).replace("##", "#").replace("##", "#")[:90]
