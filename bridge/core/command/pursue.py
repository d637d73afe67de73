"""What now? For one shade, after anything has happened to it: ask, wait, order, or give up.

Orders leave from here and nowhere else, so each is in the books (hull, bounds, number) before it is sent.
"""

from __future__ import annotations

from collections.abc import Iterator

from bridge.core.command import one_way
from bridge.core.command.backing import draft_back_off
from bridge.core.command.goals import Refusal
from bridge.core.command.guards import forbidden, forbidding
from bridge.core.command.orders import Draft, draft_go, draft_seek_up, plain_order, purpose_of
from bridge.core.command.pace import speed
from bridge.core.command.requests import Fate, ended, without_spent_hold
from bridge.core.command.supply import (
    ORDER_EVERY_S,
    moves,
    must_stagger,
    must_wait,
    note_start,
    out_of_queue,
    queued,
)
from bridge.core.contract import Do, Link, Order
from bridge.core.outcome import Level, SendOrder
from bridge.core.position.estimate import Knowledge
from bridge.core.position.evidence import unheard
from bridge.core.position.fall import holds
from bridge.core.replacing import replace
from bridge.core.shade.profile import move_profile
from bridge.core.spec import OneWayLink
from bridge.core.state import (
    Board,
    Outstanding,
    Pace,
    Purpose,
    Request,
    Shade,
    bounds_in_force,
    perhaps_bounded,
    unbounded,
)
from bridge.core.turn import Turn
from bridge.core.values import Steps

# A board reports at once on an order and two to four times a second while moving; three seconds without a
# word mean that something was lost on the way.
SILENCE_S = 3.0
ASK_EVERY_S = 2.0
ASK_AT_LEAST_EVERY_S = 30.0
# Room for a slow start, a braking distance and a busy network on top of the computed time of a move.
MOVE_GRACE_S = 10.0
_UNHEARD = Board()


def pursue(turn: Turn, shade: Shade) -> Shade:
    """Return the shade after everything that is due for it now has been done."""
    if not shade.spec.in_service:
        return without_spent_hold(turn, shade)
    if isinstance(shade.spec.link, OneWayLink):
        return one_way.pursue(turn, shade)
    shade = _left_alone(turn, without_spent_hold(turn, _give_up(turn, shade)))
    if not turn.may_order or board_of(turn, shade).link in (Link.LOST, Link.OFF):
        return out_of_queue(turn, shade)
    if not shade.channel.answered:
        return _ask(turn, out_of_queue(turn, shade))
    if _fell_silent(turn, shade):
        return _ask(turn, fallen_silent(out_of_queue(turn, shade)))
    if shade.request is not None:
        return _serve(turn, shade, shade.request)
    return _put_to_sleep(turn, shade)


def _left_alone(turn: Turn, shade: Shade) -> Shade:
    """Return the shade without its person at the window once the time for a hand reference is over."""
    if shade.attended_until_s is None or turn.now_s < shade.attended_until_s:
        return shade
    return replace(shade, attended_until_s=None)


def board_of(turn: Turn, shade: Shade) -> Board:
    """Return what is heard of the shade's board."""
    return turn.house.boards.get(shade.spec.contract.board, _UNHEARD)


def due_s(shade: Shade, board: Board) -> float | None:
    """Return the monotonic second at which `pursue` has something to do though nothing happens; or None."""
    dues = []
    channel, request, pending = shade.channel, shade.request, shade.outstanding
    if request is not None and not request.queued:
        dues.append(request.deadline_s)
    if board.link in (Link.LOST, Link.OFF):
        return min(dues, default=None)
    if request is not None and shade.ordered_at_s is not None and _waits_for_the_clock(shade, request):
        dues.append(shade.ordered_at_s + ORDER_EVERY_S)
    if not channel.answered and channel.boot is not None:
        dues.append(_ask_due_s(shade))
    if channel.answered and pending is not None:
        dues.append(max(pending.sent_at_s, channel.heard_at_s) + SILENCE_S)
    if channel.answered and shade.attended_until_s is not None:
        dues.append(shade.attended_until_s)
    return min(dues, default=None)


def clocks(shade: Shade) -> Iterator[float]:
    """Yield each monotonic second, past ones too, from which on the clock alone may have `pursue` act."""
    channel, request, pending = shade.channel, shade.request, shade.outstanding
    if request is not None:
        yield request.deadline_s
        if shade.ordered_at_s is not None:
            yield shade.ordered_at_s + ORDER_EVERY_S
        if request.level is not None and request.level.pace is not None:
            yield request.level.pace.begins_s
    if not channel.answered and channel.boot is not None:
        yield _ask_due_s(shade)
    if pending is not None:
        yield max(pending.sent_at_s, channel.heard_at_s) + SILENCE_S
    if shade.attended_until_s is not None:
        yield shade.attended_until_s


def _give_up(turn: Turn, shade: Shade) -> Shade:
    request = shade.request
    if request is None or request.queued or turn.now_s < request.deadline_s:
        return shade
    board = shade.spec.contract.board
    pending = shade.outstanding
    if pending is not None and pending.heard and pending.request == request.id:
        why = f"board {board} took it up and has not said how it ended; check its power and network"
        shade = ended(turn, shade, Fate.FAILED, why)
        # A new speed may still be on its way to it.
        return order_stop(turn, shade) if pending.pace is not None and turn.may_order else shade
    wait_s = turn.house.spec.board_wait_s
    why = f"board {board} did not answer in {wait_s:.0f} s; check its power and network"
    late = pending is not None and pending.request == request.id and pending.purpose is not Purpose.STOP
    shade = ended(turn, shade, Fate.EXPIRED, why)
    # Its order may still be on the way to a board that is slow to hear; a stop behind it ends it at once.
    return order_stop(turn, shade) if late and turn.may_order else shade


def _ask_due_s(shade: Shade) -> float:
    channel = shade.channel
    if channel.asked_seq is None:
        return float("-inf")
    wait: float = min(ASK_EVERY_S * 2 ** max(0, channel.asks - 1), ASK_AT_LEAST_EVERY_S)
    return channel.asked_at_s + wait


def _ask(turn: Turn, shade: Shade) -> Shade:
    """Ask the board where it is; nothing that it says is believed before it has answered this."""
    channel = shade.channel
    if channel.boot is None or turn.now_s < _ask_due_s(shade):
        return shade
    seq = shade.seq + 1
    send(turn, shade, plain_order(shade, Do.TELL, term=turn.term, seq=seq))
    asked = replace(channel, asked_seq=seq, asked_at_s=turn.now_s, asks=channel.asks + 1)
    return replace(shade, seq=seq, channel=asked)


def fallen_silent(shade: Shade) -> Shade:
    """Return the shade once its board can't be heard: nothing that it does from now on is known."""
    channel = shade.channel
    bounds = bounds_in_force(channel, shade.knowledge.boot)
    known = unheard(shade.spec, shade.knowledge, bounds)
    moving = channel.left_moving if channel.report is None else channel.report.moving
    silent = replace(channel, answered=False, asked_seq=None, asks=0, report=None, left_moving=moving)
    pending = shade.outstanding
    if pending is not None:
        pending = replace(pending, unheard=True)
    return replace(shade, knowledge=known, channel=silent, outstanding=pending)


def _fell_silent(turn: Turn, shade: Shade) -> bool:
    pending = shade.outstanding
    if pending is None:
        return False
    return turn.now_s - max(pending.sent_at_s, shade.channel.heard_at_s) >= SILENCE_S


def _needs_order(shade: Shade, request: Request) -> bool:
    pending = shade.outstanding
    return pending is None or pending.request != request.id


def _waits_for_the_clock(shade: Shade, request: Request) -> bool:
    """Say whether an order is held back by nothing but the limit of four a second."""
    alone = not request.queued and request.level is None
    return shade.channel.answered and alone and _needs_order(shade, request)


def _taken_over(shade: Shade, request: Request) -> Shade:
    """Return the shade with a reference run that is under way serving a newer request that needs one too."""
    pending = shade.outstanding
    if pending is None or pending.purpose is not Purpose.REFERENCE or not request.reference:
        return shade
    return replace(shade, outstanding=replace(pending, request=request.id))


def _serve(turn: Turn, shade: Shade, request: Request) -> Shade:
    shade = _taken_over(shade, request)
    if not _needs_order(shade, request):
        return shade
    if request.goal is None:
        return order_stop(turn, shade)
    if shade.ordered_at_s is not None and turn.now_s < shade.ordered_at_s + ORDER_EVERY_S:
        return shade
    if not _may_leave(turn, request):
        return shade
    wrong = misfit(shade) or _guarded(turn, shade, request)
    if wrong:
        return ended(turn, shade, Fate.FAILED, wrong)
    if request.level is None and (must_wait(turn, shade) or must_stagger(turn, shade)):
        return shade if request.queued else queued(shade, request)
    if request.queued:
        shade = out_of_queue(turn, shade)
        assert shade.request is not None
        request = shade.request
    if request.reference:
        return _seek(turn, shade, request)
    return _go(turn, shade, request, request.goal)


def _guarded(turn: Turn, shade: Shade, request: Request) -> str:
    """Return why a request may not set off though it was taken: what it leads from has changed; or ""."""
    by = next(forbidding(turn, shade, request), None)
    return "" if by is None else forbidden(by)


def _may_leave(turn: Turn, request: Request) -> bool:
    """Say whether a shade may set off as far as its level group goes, which sees to its supply too."""
    if request.level is None:
        return True
    return request.level.pace is not None and turn.now_s >= request.level.pace.begins_s


def misfit(shade: Shade) -> str:
    """Return why no motion order may go to this board whatever is asked; "" when it may."""
    report, drive = shade.channel.report, shade.spec.travel.drive
    if report is None or report.pulses_per_turn in (None, drive.pulses_per_turn):
        return ""
    return (
        f"board {shade.spec.contract.board} counts {report.pulses_per_turn} pulses a turn, the settings say "
        f"{drive.pulses_per_turn}; correct the one that is wrong"
    )


def _go(turn: Turn, shade: Shade, request: Request, goal: Steps | None) -> Shade:
    assert goal is not None, "a stop is not a move"
    report = shade.channel.report
    if report is None or report.count is None or shade.knowledge.base is None:
        why = "its board has lost count; take it to its upper switch with `up`, or confirm it at a limit"
        return ended(turn, shade, Fate.FAILED, why)
    draft = drafted(turn, shade, goal)
    if isinstance(draft, Refusal):
        return ended(turn, shade, Fate.FAILED, draft.why)
    pace = _pace_of(request)
    if pace is not None:
        pps, ramp = speed(shade, pace, turn.now_s)
        draft = replace(draft, order=replace(draft.order, pps=pps, ramp=ramp))
    at_rest = not report.moving and shade.outstanding is None
    if at_rest and report.count == draft.order.to:
        return ended(turn, shade, Fate.REACHED, "the hem bar was there already")
    return _order(turn, shade, draft, request, goal=goal)


def _pace_of(request: Request) -> Pace | None:
    return None if request.level is None else request.level.pace


def _seek(turn: Turn, shade: Shade, request: Request) -> Shade:
    """Return the shade on its way to its upper end, or first away from a switch that is closed already."""
    if not request.back_off:
        draft_up = draft_seek_up(shade, term=turn.term, seq=shade.seq + 1)
        return _order(turn, shade, draft_up, request, goal=None)
    draft = draft_back_off(shade, term=turn.term, seq=shade.seq + 1)
    if isinstance(draft, Refusal):
        return ended(turn, shade, Fate.FAILED, draft.why)
    request = replace(request, back_off=False, backed_off=True)
    return _order(turn, replace(shade, request=request), draft, request, goal=None)


def drafted(turn: Turn, shade: Shade, goal: Steps) -> Draft | Refusal:
    """Return the order that would leave in this turn, drafted once though several ask for it."""
    numbers = (goal, turn.term, shade.seq, shade.attended_until_s)
    made_from = (shade.spec, shade.knowledge, shade.channel, shade.outstanding, *numbers)
    if turn.drafted is None or turn.drafted[0] != made_from:
        turn.drafted = made_from, draft_go(shade, goal, term=turn.term, seq=shade.seq + 1)
    return turn.drafted[1]


def _order(turn: Turn, shade: Shade, draft: Draft, request: Request, *, goal: Steps | None) -> Shade:
    order = draft.order
    channel = shade.channel
    # A board forgets its bounds when it seeks: steps lost at the stop would shift them.
    channel = perhaps_bounded(channel, order) if order.do is Do.GO else unbounded(channel)
    turn.unsent[shade.id] = shade
    send(turn, shade, order)
    note_start(turn, shade)
    return replace(
        shade,
        knowledge=draft.knowledge,
        seq=order.seq,
        ordered_at_s=turn.now_s,
        outstanding=replace(_outstanding(turn, shade, order, request.id, goal), pace=_pace_of(request)),
        channel=channel,
    )


def _outstanding(
    turn: Turn, shade: Shade, order: Order, request: int | None, goal: Steps | None
) -> Outstanding:
    report, known = shade.channel.report, shade.knowledge
    linked = report is not None and known.base is not None
    return Outstanding(
        order=order,
        purpose=purpose_of(order),
        request=request,
        goal=goal,
        began_steps=known.hull.middle,
        sent_at_s=turn.now_s,
        began=known.hull,
        began_count=report.count if report is not None and linked else None,
    )


def order_stop(turn: Turn, shade: Shade) -> Shade:
    """Tell the board to stop, whatever is believed of it; a board always obeys that."""
    if shade.channel.boot is None:
        return shade
    seq = shade.seq + 1
    order = plain_order(shade, Do.STOP, term=turn.term, seq=seq)
    send(turn, shade, order)
    request = None if shade.request is None else shade.request.id
    pending = replace(_outstanding(turn, shade, order, request, None), braking=moves(shade, turn.now_s))
    return replace(shade, seq=seq, outstanding=pending)


def _put_to_sleep(turn: Turn, shade: Shade) -> Shade:
    """Take the current off a motor that stands still awake where the unpowered motor holds."""
    report = shade.channel.report
    idle = shade.outstanding is None and report is not None and report.awake and not report.moving
    if shade.attended_until_s is not None or not idle or not _sleeps_here(shade, shade.knowledge):
        return shade
    seq = shade.seq + 1
    order = plain_order(shade, Do.SLEEP, term=turn.term, seq=seq)
    send(turn, shade, order)
    return replace(shade, seq=seq, outstanding=_outstanding(turn, shade, order, None, None))


def _sleeps_here(shade: Shade, known: Knowledge) -> bool:
    return known.base is not None and holds(shade.spec, known.hull)


def under_way(turn: Turn, shade: Shade, pending: Outstanding) -> Shade:
    """Return the shade once its board has shown that it acts on the order in force."""
    if not pending.heard:
        pending = replace(pending, heard=True)
    request = shade.request
    if request is not None and pending.request == request.id:
        until = turn.now_s + MOVE_GRACE_S + 1.5 * _longest_s(shade, pending)
        request = replace(request, deadline_s=until)
    return replace(shade, outstanding=pending, request=request)


def _longest_s(shade: Shade, pending: Outstanding) -> float:
    order = pending.order
    if order.pps is None or pending.purpose not in (Purpose.MOVE, Purpose.REFERENCE):
        return 0.0
    steps = order.at_most if order.at_most is not None else shade.knowledge.hull.width
    return move_profile(steps=steps, top_pps=order.pps, ramp_pps2=shade.spec.ramp_pps2).duration_s


def send(turn: Turn, shade: Shade, order: Order) -> None:
    """Put an order on the list of what leaves once the journal holds it."""
    link = shade.spec.contract
    turn.orders.append(SendOrder(shade=shade.id, board=link.board, channel=link.channel, order=order))
    level = Level.DEBUG if order.do is Do.TELL else Level.INFO
    turn.note("order.sent", level, shade=shade.id, do=order.do.value, seq=order.seq, to_count=order.to)
