"""What every face shows of a group, and of the bridge itself; made of what is shown of the shades."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from bridge.core.outlook import IN_CHARGE_ELSEWHERE, Alert, BoardState, Motion, ShadeOutlook
from bridge.core.spec import GroupSpec
from bridge.core.state import House
from bridge.core.values import GroupId, ShadeId

# A group answers as long as one of its boards does.
_BEST_FIRST = (BoardState.UP, BoardState.ASKED, BoardState.UNHEARD, BoardState.LOST, BoardState.OFF)


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupOutlook:
    """One group as it is shown.

    Attributes:
        id: The group.
        name: What people call it.
        members: Its shades, in the order of the settings.
        position_pct: The members' common percent open, or their mean; None unless all are known.
            0 and 100 only when every member is there.
        target_pct: The members' common target, or the last one accepted for the group; None before any.
        motion: What its members do; None when they do different things.
        reason: The members' common reason, or each one's.
        board: The best of what is heard of its boards.
    """

    id: GroupId
    name: str
    members: tuple[ShadeId, ...]
    position_pct: int | None
    target_pct: int | None
    motion: Motion | None
    reason: str
    board: BoardState


@dataclass(frozen=True, slots=True, kw_only=True)
class BridgeOutlook:
    """The bridge itself as it is shown.

    Attributes:
        paused: The rules rest until somebody ends that.
        locked: Service lock: no order leaves.
        in_charge: No other bridge has claimed the house with a higher term.
        term: This bridge's claim.
        alerts: What a person must do.
    """

    paused: bool
    locked: bool
    in_charge: bool
    term: int
    alerts: tuple[Alert, ...]


def group_outlook(house: House, group: GroupSpec, members: Sequence[ShadeOutlook]) -> GroupOutlook:
    """Return what the faces show of a group, given what they show of its members."""
    targets = {each.target_pct for each in members}
    return GroupOutlook(
        id=group.id,
        name=group.name,
        members=group.members,
        position_pct=_position_pct(members),
        target_pct=targets.pop() if len(targets) == 1 else house.group_targets.get(group.id),
        motion=_motion(members),
        reason=_reason(members),
        board=next(state for state in _BEST_FIRST if any(each.board is state for each in members)),
    )


def bridge_outlook(house: House) -> BridgeOutlook:
    """Return what the faces show of the bridge."""
    return BridgeOutlook(
        paused=house.paused,
        locked=house.locked,
        in_charge=not house.stood_down,
        term=house.term,
        alerts=tuple(_alerts(house)),
    )


def _alerts(house: House) -> Iterator[Alert]:
    if house.stood_down:
        yield IN_CHARGE_ELSEWHERE
    faulty = [f"{name}: {reading.fault}" for name, reading in house.readings.items() if reading.fault]
    if faulty:
        yield Alert(id="sensors", text=f"look after {'; '.join(faulty)}")


def _position_pct(members: Sequence[ShadeOutlook]) -> int | None:
    known = [each.position_pct for each in members if each.position_pct is not None]
    if len(known) < len(members):
        return None
    if len(set(known)) == 1:
        return known[0]
    return min(max(round(sum(known) / len(known)), 1), 99)


def _motion(members: Sequence[ShadeOutlook]) -> Motion | None:
    under_way = {each.motion for each in members} - {Motion.STILL}
    if not under_way:
        return Motion.STILL
    return under_way.pop() if len(under_way) == 1 else None


def _reason(members: Sequence[ShadeOutlook]) -> str:
    reasons = {each.reason for each in members}
    if len(reasons) == 1:
        return reasons.pop()
    return "; ".join(f"{each.name}: {each.reason}" for each in members)
