"""From what a journal holds to the house that it leaves: check the chain, replay, compare.

The newest sound snapshot is enough to know the house; the oldest one allows every kept decision to be
compared. Nothing here opens a file.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from bridge.adapters.journal import codec
from bridge.adapters.journal.rows import BEGINNING, Content, Row, Snapshot
from bridge.core.events import Event
from bridge.core.outcome import Decisions
from bridge.core.state import House
from bridge.ports import Difference, Handle


@dataclass(frozen=True, slots=True, kw_only=True)
class Replayed:
    """What came of a replay.

    Attributes:
        house: As the last row that could be used leaves it.
        through: The number of that row; 0 before the first.
        last: Its seal.
        events: Rows replayed.
        orders: Orders kept in them.
        snapshots: Snapshots compared.
        differences: Where the replay and the file part.
        damage: What is wrong with the file.
        lost: Rows after `through` could not be used.
    """

    house: House | None
    through: int
    last: bytes
    events: int
    orders: int
    snapshots: int
    differences: tuple[Difference, ...]
    damage: tuple[str, ...]
    lost: bool


def from_newest(content: Content, handle: Handle) -> Replayed:
    """Replay what follows the newest sound snapshot; older rows are only checked."""
    starts, damage = _starts(content)
    run, fault = _unbroken(content, starts[0])
    before_newest = starts[0].through + len(run) < starts[-1].through
    walk = _Walk(starts[-1], damage + ([fault] if fault and before_newest else []), lost=content.lost)
    return walk.through_all(content, handle)


def from_oldest(content: Content, handle: Handle) -> Replayed:
    """Replay everything kept and compare the later snapshots on the way."""
    starts, damage = _starts(content)
    return _Walk(starts[0], damage, lost=content.lost).through_all(content, handle)


def shades_of(event: Event, decisions: Decisions) -> tuple[str, ...]:
    """Return the shades that a row is about, sorted."""
    named = {order.shade for order in decisions.orders} | {each.shade for each in decisions.targets}
    named |= {note.shade for note in decisions.notes if note.shade is not None}
    shade = getattr(event, "shade", None)
    return tuple(sorted(named if shade is None else named | {shade}))


def _sent(decisions: Decisions) -> tuple[object, ...]:
    """Return what left for the boards."""
    return (decisions.orders, decisions.targets)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Start:
    house: House | None
    through: int
    last: bytes


_EMPTY = _Start(house=None, through=0, last=BEGINNING)


def _starts(content: Content) -> tuple[list[_Start], list[str]]:
    """Return where a replay can begin, oldest first, and what is wrong with the other places."""
    damage = list(content.damage)
    starts = [] if content.snapshots and not _begins(content.rows) else [_EMPTY]
    for shot in content.snapshots:
        try:
            house = codec.decode_house(shot.house) if shot.sound else None
        except ValueError as error:
            damage.append(f"snapshot {shot.through}: {error}")
            continue
        if house is None:
            damage.append(f"snapshot {shot.through} is damaged")
        else:
            starts.append(_Start(house=house, through=shot.through, last=shot.last))
    return starts or [_EMPTY], damage


def _begins(rows: Sequence[Row]) -> bool:
    return bool(rows) and rows[0].id == 1


def _unbroken(content: Content, start: _Start) -> tuple[list[Row | Snapshot], str]:
    """Return what follows `start` without a break, and what broke the chain."""
    shots = {shot.through: shot for shot in content.snapshots if shot.sound}
    rows = {row.id: row for row in content.rows if row.id > start.through}
    through, last = start.through, start.last
    run: list[Row | Snapshot] = []
    while True:
        number = through + 1
        row, shot = rows.get(number), shots.get(number)
        if row is not None and row.follows(last):
            run.append(row)
            last = row.seal
        elif row is None and shot is not None and shot.closes_gap(last):
            run.append(shot)
            last = shot.last
        elif row is not None:
            return run, f"event {number} is damaged or belongs to another journal"
        else:
            return run, f"event {number} is missing" if max(rows, default=0) > through else ""
        through = number


class _Walk:
    """One pass over the rows, from a start as far as it goes."""

    def __init__(self, start: _Start, damage: list[str], *, lost: bool) -> None:
        self._start = start
        self._house, self._through, self._last = start.house, start.through, start.last
        self._damage, self._lost = damage, lost
        self._events = self._orders = self._snapshots = 0
        self._differences: list[Difference] = []

    def through_all(self, content: Content, handle: Handle) -> Replayed:
        shots = {shot.through: shot for shot in content.snapshots if shot.sound}
        run, fault = _unbroken(content, self._start)
        for item in run:
            stop = self._adopt(item) if isinstance(item, Snapshot) else self._step(item, handle)
            if stop:
                fault = stop
                break
            if isinstance(item, Row) and item.id in shots:
                self._compare(item, shots[item.id].house)
        if fault:
            self._damage.append(fault)
        newest = max((shot.through for shot in content.snapshots), default=0)
        self._lost |= bool(fault) or newest > self._through
        return self._result()

    def _adopt(self, shot: Snapshot) -> str:
        """Go on from a snapshot that closes a gap; return why the walk ends here, or nothing."""
        try:
            self._house = codec.decode_house(shot.house)
        except ValueError as error:
            return f"snapshot {shot.through}: {error}"
        self._through, self._last = shot.through, shot.last
        return ""

    def _step(self, row: Row, handle: Handle) -> str:
        """Replay one row; return why the walk ends here, or nothing."""
        try:
            event = codec.decode_event(row.event)
        except ValueError as error:
            return f"event {row.id}: {error}"
        try:
            house, decisions = handle(self._house, event)
        except Exception as error:  # noqa: BLE001  # a start must stay possible, with what was known before
            self._differ(row, event, Decisions(), f"{type(error).__name__}: {error}")
            return f"event {row.id} can't be replayed by this version: {type(error).__name__}: {error}"
        replayed = codec.encode_decisions(decisions)
        if replayed != row.decisions:
            self._differ(row, event, decisions, replayed.decode())
        self._house, self._through, self._last = house, row.id, row.seal
        self._events += 1
        self._orders += len(decisions.orders) + len(decisions.targets)
        return ""

    def _differ(self, row: Row, event: Event, decisions: Decisions, replayed: str) -> None:
        try:
            kept = codec.decode_decisions(row.decisions)
        except ValueError:
            kept = None
        shades = {*shades_of(event, decisions), *(shades_of(event, kept) if kept else ())}
        self._differences.append(
            Difference(
                row=row.id,
                utc=row.utc,
                shades=tuple(sorted(shades)),
                kept=row.decisions.decode(errors="replace"),
                replayed=replayed,
                orders_differ=kept is None or _sent(kept) != _sent(decisions),
            )
        )

    def _compare(self, row: Row, kept: bytes) -> None:
        assert self._house is not None, "a replayed event leaves a house"
        self._snapshots += 1
        replayed = codec.encode_house(self._house)
        if replayed != kept:
            self._differences.append(_between_houses(row, kept, self._house, replayed))

    def _result(self) -> Replayed:
        return Replayed(
            house=self._house,
            through=self._through,
            last=self._last,
            events=self._events,
            orders=self._orders,
            snapshots=self._snapshots,
            differences=tuple(self._differences),
            damage=tuple(self._damage),
            lost=self._lost,
        )


def _between_houses(row: Row, kept: bytes, house: House, replayed: bytes) -> Difference:
    try:
        before = codec.decode_house(kept).shades
    except ValueError:
        before = {}
    names = [*dict.fromkeys([*before, *house.shades])]
    changed = tuple(sorted(name for name in names if before.get(name) != house.shades.get(name)))
    text = kept.decode(errors="replace")
    return Difference(
        row=row.id, utc=row.utc, shades=changed, kept=text, replayed=replayed.decode(), orders_differ=False
    )
