"""Level groups: shades of one height keep their hem bars level until each meets its own limit.

A front travels down or up at an even speed. A bar in its way joins it when it comes by, and leaves it at its
own limit; each motor's speed follows from its own roll, and is set anew once a second from where its board
says that it is. A member that is lost, blocked or asked for something else leaves the others to go on.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

from bridge.core.agenda import Agenda, Column
from bridge.core.command.pace import (
    LOOK_EVERY_S,
    brakes_mm,
    goal_mm,
    is_moving,
    mm_a_step,
    place_mm,
    reached,
    speed,
    when_s,
)
from bridge.core.command.pursue import board_of, pursue, send
from bridge.core.command.requests import asked_by
from bridge.core.command.supply import ORDER_EVERY_S, must_stagger, must_wait_together, out_of_queue, queued
from bridge.core.contract import Link
from bridge.core.events import Button, Nudge, Percent, Press, Want
from bridge.core.replacing import replace
from bridge.core.spec import GroupSpec
from bridge.core.state import (
    House,
    Level,
    Outstanding,
    Pace,
    Purpose,
    Request,
    Shade,
    kept,
    with_shades,
)
from bridge.core.turn import Turn
from bridge.core.values import GroupId

# By then a board that hears has answered; the others do not wait any longer for it.
READY_S = 3.0
# Bars as close as this start together and draw level on the way.
TOGETHER_MM = 10.0
# Room to catch up, of the top speed.
HEADROOM = 0.95
# A speed set a moment ago, on the ramp of this moment, must not outrun the braking way of the shade.
SURE_TO_BRAKE = 0.75


def front_mm(house: House, group: GroupSpec, want: Want) -> float | None:
    """Return the drop to which `want` leads the front of a level group; None when it leads nowhere.

    Percent is that of the longest drop among the members: at 0 each is at its own lower limit.
    """
    members = [house.shades[name] for name in group.members if name in house.shades]
    longest_mm = max((shade.spec.travel.roll.drop_mm for shade in members), default=0.0)
    match want:
        case Percent(open_pct=pct):
            return longest_mm * (1 - pct / 100)
        case Press(button=Button.UP):
            return 0.0
        case Press(button=Button.DOWN):
            return longest_mm
        case Nudge(by_pct=by):
            deepest_mm = max((_heading_mm(shade) for shade in members), default=0.0)
            return min(max(deepest_mm - by / 100 * longest_mm, 0.0), longest_mm)
        case _:
            return None


def _heading_mm(shade: Shade) -> float:
    """Return the drop to which a shade is on its way, or at which it is."""
    pending, travel = shade.outstanding, shade.spec.travel
    if pending is not None and pending.purpose is Purpose.MOVE and pending.goal is not None:
        return travel.drop_at_steps(pending.goal)
    return travel.drop_at_steps(shade.knowledge.hull.middle)


def levelled(turn: Turn, house: House) -> House:
    """Return the house after its level groups have been seen to: those that wait, and those that move."""
    agenda = turn.agenda_now
    if not turn.may_order or not agenda.has(Column.LEVEL):
        return house
    concerned = {_group_of(each) for each in map(kept(house).at, agenda.places(Column.LEVEL))}
    for group in house.spec.groups:
        if group.level and group.id in concerned:
            house = _speeds_set(turn, _set_off(turn, house, group), group)
    return house


def _group_of(shade: Shade) -> GroupId | None:
    request = shade.request
    return None if request is None or request.level is None else request.level.group


def due_s(house: House, agenda: Agenda) -> float | None:
    """Return the monotonic second at which a level group has something to do though nothing happens."""
    dues = []
    for shade in map(kept(house).at, agenda.places(Column.LEVEL)):
        request = shade.request
        if request is None or request.level is None:
            continue
        pace = request.level.pace
        if pace is not None:
            due = pace.looks_at_s if _serves(shade, request) else pace.begins_s
            dues += [] if due is None else [due]
        else:
            dues.append(request.asked_at.mono_s + READY_S)
            dues += [] if shade.ordered_at_s is None else [shade.ordered_at_s + ORDER_EVERY_S]
    return min((due for due in dues if due > house.now.mono_s), default=None)


def _serves(shade: Shade, request: Request) -> bool:
    return shade.outstanding is not None and shade.outstanding.request == request.id


# -- setting off ----------------------------------------------------------------------------------


def _set_off(turn: Turn, house: House, group: GroupSpec) -> House:
    """Return the house after those members that wait for each other have left together, if they can."""
    waiting = [shade for shade in _members(house, group) if _waits(shade)]
    if not waiting:
        return house
    turn.look(house)
    heard = [shade for shade in waiting if shade.channel.answered and not _is_lost(turn, shade)]
    if not heard or _not_yet(turn, waiting):
        return house
    if must_wait_together(turn, heard) or any(must_stagger(turn, shade) for shade in heard):
        return with_shades(house, [_queued(shade) for shade in heard])
    house = with_shades(
        house, _paced(turn, [out_of_queue(turn, shade) for shade in heard], _running(house, group))
    )
    turn.look(house)
    return with_shades(house, [pursue(turn, house.shades[shade.id]) for shade in heard])


def _members(house: House, group: GroupSpec) -> list[Shade]:
    found = [house.shades[name] for name in group.members if name in house.shades]
    return [
        shade
        for shade in found
        if shade.request is not None and shade.request.level is not None
        and shade.request.level.group == group.id
    ]  # fmt: skip


def _waits(shade: Shade) -> bool:
    request = shade.request
    assert request is not None
    assert request.level is not None
    return request.level.pace is None


def _is_lost(turn: Turn, shade: Shade) -> bool:
    return board_of(turn, shade).link in (Link.LOST, Link.OFF)


def _not_yet(turn: Turn, waiting: Sequence[Shade]) -> bool:
    """Say whether a member has yet to answer, or had its last order a moment ago."""
    for shade in waiting:
        assert shade.request is not None
        asked_s = shade.request.asked_at.mono_s
        silent = not shade.channel.answered and not _is_lost(turn, shade)
        if silent and turn.now_s < asked_s + READY_S:
            return True
        if shade.ordered_at_s is not None and turn.now_s < shade.ordered_at_s + ORDER_EVERY_S:
            return True
    return False


def _queued(shade: Shade) -> Shade:
    assert shade.request is not None
    return shade if shade.request.queued else queued(shade, shade.request)


def _running(house: House, group: GroupSpec) -> list[Pace]:
    """Return the paces at which members of a group are moving now."""
    found = [house.shades[name].outstanding for name in group.members if name in house.shades]
    return [each.pace for each in found if each is not None and each.pace is not None]


def _paced(turn: Turn, shades: Sequence[Shade], running: Sequence[Pace]) -> list[Shade]:
    """Return shades with the pace of their fronts: one for those that lower, one for those that rise."""
    found = []
    for sign in (1, -1):
        some = [shade for shade in shades if (goal_mm(shade) >= place_mm(shade, turn.now_s)) is (sign > 0)]
        if some:
            front = _front(turn, some, sign, running)
            found += [_joined(turn, shade, front) for shade in some]
    return found


def _front(turn: Turn, shades: Sequence[Shade], sign: int, running: Sequence[Pace]) -> Pace:
    """Return the pace of the front that takes the members along; one that runs is led on or turned round."""
    now_s = turn.now_s
    goals = [goal_mm(shade) for shade in shades]
    to_mm = max(goals) if sign > 0 else min(goals)
    old = next(iter(running), None)
    if old is not None and all((one.from_mm, one.began_s) == (old.from_mm, old.began_s) for one in running):
        at_mm, mmps = reached(old, now_s)
        rest_mm = mmps * mmps / (2 * old.mmps2)
        same_way = (old.to_mm >= old.from_mm) is (sign > 0)
        if same_way and sign * (to_mm - at_mm) > rest_mm + mmps * LOOK_EVERY_S:
            return replace(old, to_mm=to_mm)
        if mmps > 0:
            ahead = 1 if old.to_mm >= old.from_mm else -1
            turns_mm, rests_s = at_mm + ahead * rest_mm, mmps / old.mmps2
            return _new_front(shades, from_mm=turns_mm, to_mm=to_mm, began_s=now_s + rests_s)
    places = [place_mm(shade, now_s) for shade in shades]
    return _new_front(shades, from_mm=min(places) if sign > 0 else max(places), to_mm=to_mm, began_s=now_s)


def _new_front(shades: Sequence[Shade], *, from_mm: float, to_mm: float, began_s: float) -> Pace:
    """Return the fastest front that every member can follow, braking as surely as it does by itself."""
    deepest_mm = max(from_mm, to_mm)
    steps = [mm_a_step(shade.spec, min(deepest_mm, shade.spec.travel.roll.drop_mm)) for shade in shades]
    each = list(zip((shade.spec for shade in shades), steps, strict=True))
    mmps2 = min(HEADROOM * spec.ramp_pps2 * mm for spec, mm in each)
    mmps = min(HEADROOM * spec.top_pps * mm for spec, mm in each)
    surely = (sqrt(SURE_TO_BRAKE * mmps2 * mm / spec.ramp_pps2) * spec.top_pps for spec, mm in each)
    return Pace(
        from_mm=from_mm,
        to_mm=to_mm,
        began_s=began_s,
        mmps=min(mmps, *surely),
        mmps2=mmps2,
        begins_s=began_s,
        looks_at_s=None,
        least_ramp=0,
    )


def _joined(turn: Turn, shade: Shade, front: Pace) -> Shade:
    """Return a shade with the time at which the front takes it along."""
    request, pending = shade.request, shade.outstanding
    assert request is not None
    assert request.level is not None
    ahead_mm = abs(place_mm(shade, turn.now_s) - front.from_mm)
    begins_s = turn.now_s
    if ahead_mm > TOGETHER_MM and not is_moving(shade):
        # It speeds up while the front covers twice its way.
        begins_s = max(turn.now_s, front.began_s + when_s(front, ahead_mm - brakes_mm(front)))
    foreign = pending is not None and pending.order.ramp is not None and pending.pace is None
    least = pending.order.ramp if foreign and pending is not None and pending.order.ramp else 0
    if pending is not None and pending.pace is not None:
        least = pending.pace.least_ramp
    pace = replace(front, begins_s=begins_s, least_ramp=least, looks_at_s=begins_s + LOOK_EVERY_S)
    deadline_s = begins_s + turn.house.spec.board_wait_s
    request = replace(request, level=_with_pace(request, pace), deadline_s=deadline_s)
    return replace(shade, request=request, reason=asked_by(request.want, request.source))


# -- speeds on the way ----------------------------------------------------------------------------


def _speeds_set(turn: Turn, house: House, group: GroupSpec) -> House:
    """Return the house after those members whose time has come have set off, or got their new speed."""
    for shade in _members(house, group):
        request = shade.request
        assert request is not None
        assert request.level is not None
        pace = request.level.pace
        if pace is None or not shade.channel.answered:
            continue
        if not _serves(shade, request):
            if turn.now_s >= pace.begins_s:
                turn.look(house)
                house = with_shades(house, [pursue(turn, shade)])
        elif pace.looks_at_s is not None and turn.now_s >= pace.looks_at_s:
            house = with_shades(house, [_looked(turn, shade, request, pace)])
    return house


def _looked(turn: Turn, shade: Shade, request: Request, pace: Pace) -> Shade:
    """Return a moving shade with its speed set anew, unless it is about to brake."""
    pending = shade.outstanding
    at_mm, _ = reached(pace, turn.now_s)
    left_mm = abs(goal_mm(shade) - at_mm)
    last = left_mm <= brakes_mm(pace) + pace.mmps * LOOK_EVERY_S / 4
    later = replace(pace, looks_at_s=None if last else turn.now_s + LOOK_EVERY_S)
    shade = replace(shade, request=replace(request, level=_with_pace(request, later)))
    if last or pending is None or pending.purpose is not Purpose.MOVE or not is_moving(shade):
        return shade
    if shade.channel.boot != pending.order.boot:
        return shade
    return _ordered(turn, shade, replace(pending, pace=later))


def _with_pace(request: Request, pace: Pace) -> Level:
    assert request.level is not None
    return replace(request.level, pace=pace)


def _ordered(turn: Turn, shade: Shade, pending: Outstanding) -> Shade:
    """Return the shade after the order in force has been sent again with another speed, else unchanged."""
    assert pending.pace is not None
    pps, ramp = speed(shade, pending.pace, turn.now_s)
    seq = shade.seq + 1
    order = replace(pending.order, term=turn.term, seq=seq, seen=shade.channel.n, pps=pps, ramp=ramp)
    send(turn, shade, order)
    pending = replace(pending, order=order, sent_at_s=turn.now_s)
    return replace(shade, seq=seq, ordered_at_s=turn.now_s, outstanding=pending)
