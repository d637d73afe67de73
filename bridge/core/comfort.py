"""The rules for comfort: where they want a shade, what keeps them from moving it, and what is written down.

Guards are not their business, nor how a request is served.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from bridge.core.asking import ask
from bridge.core.command.guards import guards, open_pct
from bridge.core.events import Asked, Percent
from bridge.core.intending import Move, foreseeing, intended, next_look
from bridge.core.outcome import Level
from bridge.core.replacing import replace
from bridge.core.rules.clock import hhmm, within
from bridge.core.rules.demand import Ruling, Standing, Verdict, decided
from bridge.core.rules.seeing import zone_of
from bridge.core.spec import ContractLink
from bridge.core.state import Shade
from bridge.core.turn import Turn
from bridge.core.values import Rank


def with_ruling(shade: Shade, *, again_at: datetime | None, mine: bool | None = None) -> Shade:
    """Return the shade with when a guard may ask again, and whose place it has; `mine` None leaves that."""
    mine = shade.ruling.mine if mine is None else mine
    ruling = replace(shade.ruling, again_at=again_at, mine=mine)
    return shade if ruling == shade.ruling else replace(shade, ruling=ruling)


def comforted(turn: Turn, shade: Shade) -> Shade:
    """Return the shade after the rules for comfort have had their say, within their restraint."""
    shade = foreseeing(turn, _without_strangers_place(shade))
    now_pct = open_pct(shade, now_s=turn.now_s)
    if now_pct is None or shade.ruling.waits:
        return shade
    verdict = decided(shade.ruling.standing, now_pct=now_pct)
    step_pct = turn.house.spec.restraint.smallest_move_pct
    if shade.hold_until is None and verdict.high_by is not None and now_pct >= verdict.high_pct - step_pct:
        # A person has put it where a rule wants it, so the rules may also take it back up.
        shade = with_ruling(shade, again_at=shade.ruling.again_at, mine=True)
    shade, move = intended(turn, shade, verdict, now_pct=now_pct)
    if move is None or (move.by is not None and move.by.demand.guard):
        by = verdict.high_by or verdict.low_by
        at_pct = round(now_pct)
        return tell(turn, shade, f"left at {at_pct} %", by=by, lost=verdict.lost, at_pct=at_pct)
    if move.lost is not None:
        verdict = replace(verdict, lost=move.lost)
    kept = _kept_by(turn, shade)
    if kept:
        said = f"would go to {move.to_pct} %, but {kept}"
        return tell(turn, shade, said, by=move.by, lost=verdict.lost, at_pct=move.to_pct, why=move.why)
    return _moved(turn, shade, move, verdict, now_pct=now_pct)


def _without_strangers_place(shade: Shade) -> Shade:
    """Return the shade with `mine` cleared once a person has put it elsewhere."""
    if shade.hold_until is None:
        return shade
    return with_ruling(shade, again_at=shade.ruling.again_at, mine=False)


def _kept_by(turn: Turn, shade: Shade) -> str:
    """Return what keeps the rules for comfort from moving a shade now; "" when nothing does."""
    house, ruling = turn.house, shade.ruling
    restraint = house.spec.restraint
    checks = (
        (not turn.may_order, "no order may leave now"),
        (house.paused, "the rules are paused"),
        (shade.hold_until is not None, f"a person's request holds it until {_hold_ends(turn, shade)}"),
        (shade.request is not None and shade.request.rank > Rank.RULE, "somebody's request is under way"),
        (_unheard(shade), "its board does not answer"),
        (any(not each.demand.may_raise for each in guards(shade)), "ice may hold it"),
        (_is_quiet(turn), "these are quiet hours"),
        (
            ruling.moved_at is not None and _since_s(turn.utc, ruling.moved_at) < restraint.dwell_s,
            f"it was moved less than {restraint.dwell_s / 60:.0f} min ago",
        ),
        (
            _moves_today(turn, ruling) >= restraint.moves_a_day,
            f"{restraint.moves_a_day} moves a day are enough",
        ),
    )
    return next((why for holds, why in checks if holds), "")


def _since_s(utc: datetime, moved_at: datetime) -> float:
    # After the wall clock was set back a move of the future is as good as none.
    since = (utc - moved_at).total_seconds()
    return since if since >= 0 else float("inf")


def _unheard(shade: Shade) -> bool:
    return isinstance(shade.spec.link, ContractLink) and not shade.channel.answered


def _local(turn: Turn, at: datetime) -> datetime:
    site = turn.house.spec.site
    return at if site is None else at.astimezone(zone_of(site.timezone))


def _hold_ends(turn: Turn, shade: Shade) -> str:
    return "" if shade.hold_until is None else hhmm(_local(turn, shade.hold_until).time())


def _is_quiet(turn: Turn) -> bool:
    quiet = turn.house.spec.restraint.quiet
    return quiet is not None and within(_local(turn, turn.utc).time(), quiet.begins, quiet.ends)


def _today(turn: Turn) -> str:
    return _local(turn, turn.utc).date().isoformat()


def _moves_today(turn: Turn, ruling: Ruling) -> int:
    return ruling.moves if ruling.day == _today(turn) else 0


def _moved(turn: Turn, shade: Shade, move: Move, verdict: Verdict, *, now_pct: float) -> Shade:
    if shade.request is not None and shade.request.target_pct == move.to_pct:
        return shade
    rank = Rank.RULE if move.by is None else move.by.rank
    want = Percent(open_pct=move.to_pct)
    after = ask(turn, shade, Asked(at=turn.at, shade=shade.id, want=want, rank=rank, source=move.source))
    if after is shade:
        said = f"could not go to {move.to_pct} %"
        return tell(turn, shade, said, by=move.by, lost=verdict.lost, at_pct=move.to_pct, why=move.why)
    ruling = replace(
        after.ruling,
        mine=True,
        moved_at=turn.utc,
        day=_today(turn),
        moves=_moves_today(turn, shade.ruling) + 1,
    )
    direction = "Lowered" if move.to_pct < now_pct else "Raised"
    after = replace(after, ruling=ruling, reason=f"{direction} to {move.to_pct} %: {move.why}")
    said = f"moved to {move.to_pct} %"
    return tell(
        turn, after, said, by=move.by, lost=verdict.lost, at_pct=move.to_pct, why=move.why, moved=True
    )


def tell(
    turn: Turn,
    shade: Shade,
    did: str,
    *,
    by: Standing | None,
    lost: tuple[Standing, ...],
    at_pct: int,
    why: str = "",
    moved: bool = False,
) -> Shade:
    """Write down what was decided, by whom and over whom, unless that is what was said last.

    Args:
        turn: What the event has led to so far.
        shade: The shade.
        did: What was decided.
        by: Whose demand led to it; None when nobody's did.
        lost: Demands that were not met.
        at_pct: Where the shade should hang from now on.
        why: The reason for people; that of the demand by default.
        moved: It has been set in motion, which is written down though it was said last too.
    """
    coming, later = shade.ruling.next_move, shade.ruling.later
    ahead = "" if coming is None else f"{coming.at.isoformat()} {coming.to_pct}"
    key = "|".join((did, "" if by is None else by.rule, *(each.rule for each in lost), ahead))
    if key == shade.ruling.told and not moved:
        return shade
    turn.note(
        "rule.shade.decided",
        Level.DEBUG,
        shade=shade.id,
        text=did,
        rule="" if by is None else by.rule,
        why=why or ("no rule asks for anything" if by is None else by.demand.why),
        lost="\n".join(f"{each.rule}: {each.demand.why}" for each in lost),
        also="\n".join(_others(shade, by, lost)),
        next_look=next_look(turn.house.spec, turn.utc).isoformat(),
        every_s=turn.house.spec.restraint.every_s,
        next_at="" if coming is None else coming.at.isoformat(),
        next_pct=0 if coming is None else coming.to_pct,
        next_rule="" if coming is None else coming.rule,
        at_pct=at_pct,
        moved=moved,
        later="\n".join(f"{each.at.isoformat()} {each.to_pct} {each.rule}".rstrip() for each in later),
    )
    return replace(shade, ruling=replace(shade.ruling, told=key))


def _others(shade: Shade, by: Standing | None, lost: tuple[Standing, ...]) -> Iterator[str]:
    """Yield what the rules ask that neither won nor lost."""
    for each in shade.ruling.standing:
        if each != by and each not in lost:
            yield f"{each.rule}: {each.demand.why}"
