"""A shade that is known from memory alone: the broker's, or that of a journal which is not the newest.

The journal is the authority. A shade that has any evidence of its own takes no memory, and what a memory
told stays in doubt until a reference is met.
"""

from __future__ import annotations

from bridge.core.command.requests import Fate, ended
from bridge.core.contract import Report, Why
from bridge.core.outcome import Level
from bridge.core.position import memory as memories
from bridge.core.position.allowance import physical_range
from bridge.core.position.claims import claim_at, width_mm
from bridge.core.position.evidence import nothing_known, slipped
from bridge.core.position.memory import Memory, most_travelled, newer
from bridge.core.reckoning import Reckoning
from bridge.core.replacing import replace
from bridge.core.spec import ContractLink, OneWayLink
from bridge.core.state import House, Shade, unbounded, with_shades
from bridge.core.turn import Turn

# Orders that a power cut may take from the journal's end: what is not flushed (`tell`, `sleep`, `stop`,
# retargets within the hull) is on its way to the disk within the half minute.
ORDERS_LOST_MAX = 12


def renumbered(shade: Shade) -> Shade:
    """Return the shade at the start of a run: numbers that the journal may have lost are not used again."""
    return replace(shade, began_seq=shade.seq, seq=shade.seq + ORDERS_LOST_MAX)


def fresh(shade: Shade) -> bool:
    """Say whether nothing but questions has passed between this journal and the shade."""
    known = shade.knowledge
    untouched = known.moves == 0 and known.mark is None and not known.meetings
    return untouched and known.hull.contains(physical_range(shade.spec))


def remembered(shade: Shade, term: int) -> Memory | None:
    """Return what is worth remembering of a shade at rest; None when it moves, or little is known."""
    known, channel, link = shade.knowledge, shade.channel, shade.spec.link
    report = channel.report
    if not isinstance(link, ContractLink):
        return None
    at_rest = channel.answered and report is not None and not report.moving and shade.outstanding is None
    if not at_rest or known.base is None or known.boot is None or channel.boot != known.boot:
        return None
    if known.hull.contains(physical_range(shade.spec)):
        return None
    travel = shade.spec.travel
    low_mm = round(travel.drop_at_steps(known.hull.low), 1)
    high_mm = round(travel.drop_at_steps(min(known.hull.high, travel.end_steps)), 1)
    return replace(_kept(shade, link, seq=shade.seq), term=term, low_mm=low_mm, high_mm=high_mm)


def _kept(shade: Shade, link: ContractLink, *, seq: int) -> Memory:
    """Return how the counts of a shade's board are linked to positions, as of the last report read."""
    known, channel = shade.knowledge, shade.channel
    assert known.base is not None
    assert known.boot is not None
    return Memory(
        term=0,
        seq=seq,
        board=link.board,
        channel=link.channel,
        drive=known.drive,
        boot=known.boot,
        n=channel.read,
        stalls=channel.stalls,
        base=known.base,
        anchor=known.anchor,
        low_mm=0.0,
        high_mm=0.0,
    )


def refuted(shade: Shade) -> bool:
    """Say whether what an older memory tells of the shade is known to be worth nothing."""
    useless = shade.knowledge.base is None or shade.knowledge.hull.contains(physical_range(shade.spec))
    return useless and shade.channel.answered and shade.memory is None and not fresh(shade)


def hear_memory(turn: Turn, shade: Shade, memory: Memory) -> Shade:
    """Return the shade after the broker has handed back what it remembers."""
    link = shade.spec.link
    if not isinstance(link, ContractLink):
        return shade
    ours = (memory.board, memory.channel, memory.drive) == (
        link.board,
        link.channel,
        shade.spec.travel.version,
    )
    if ours and _beyond_journal(turn, shade, memory):
        why = "the broker remembers orders of the last run that this journal never sent"
        shade = outdated(turn, shade, why)
    if not ours or not fresh(shade) or not newer(memory, shade.memory):
        return shade
    # A base that spans the whole range tells nothing, and would be believed after unknown moves.
    shade = replace(
        shade,
        memory=memory,
        seq=max(shade.seq, memory.seq),
        knowledge=nothing_known(shade.spec),
    )
    report = shade.channel.report
    return shade if report is None or not shade.channel.answered else recall(turn, shade, report)


def _beyond_journal(turn: Turn, shade: Shade, memory: Memory) -> bool:
    """Say whether the last run of this journal went on after what the journal holds of it.

    A claim tells of later runs. What is absurd for the last run, and what comes late, is no reason for doubt.
    """
    first = not turn.house.reached_before and not shade.channel.answered and not fresh(shade)
    return first and memory.term == turn.term - 1 and memory.seq > shade.began_seq + ORDERS_LOST_MAX


def recall(turn: Turn, shade: Shade, report: Report) -> Shade:
    """Return the shade once its board has said something that its memory can be held against."""
    memory = shade.memory
    if memory is None:
        return shade
    shade = replace(shade, memory=None)
    quiet = report.answers is not None and report.answers == memory.seq + 1
    known = memories.recalled(shade.spec, memory, report, quiet=quiet)
    if known is None:
        text = "what is remembered of it is worth nothing: its board has lived on without this bridge"
        turn.note("shade.memory.refuted", Level.WARNING, shade=shade.id, text=text, boot=report.boot)
        return shade
    if report.moving:
        known = replace(known, hull=physical_range(shade.spec))
    text = f"known from memory to {width_mm(shade.spec, known.hull):.0f} mm; take a reference"
    turn.note(
        "shade.memory.recalled",
        Level.WARNING,
        shade=shade.id,
        text=text,
        unread_reports=report.n - memory.n - 1,
    )
    return replace(shade, knowledge=known, reason=text)


def outdated(turn: Turn, shade: Shade, why: str) -> Shade:
    """Return the shade once this journal is known to be no longer the newest: what it holds is a memory."""
    if fresh(shade):
        return replace(shade, knowledge=nothing_known(shade.spec))
    shade = ended(turn, shade, Fate.FAILED, why)
    known, channel, link = shade.knowledge, shade.channel, shade.spec.link
    kept = None
    # What was heard in this run has already been read in the light of the old journal.
    linked = known.base is not None and known.boot is not None and known.boot == channel.boot
    if isinstance(link, ContractLink) and linked and not channel.answered:
        kept = _kept(shade, link, seq=shade.began_seq)
    turn.note("shade.journal.outdated", Level.ERROR, shade=shade.id, text=why)
    return replace(
        shade,
        knowledge=nothing_known(shade.spec),
        memory=kept,
        outstanding=None,
        channel=unbounded(channel),
        reckoning=Reckoning(),
        reason=why,
    )


def displaced(turn: Turn, house: House) -> House:
    """Return the house of a bridge that has stood down: out of its hearing another one moves the shades."""
    if not house.stood_down:
        return house
    why = "another bridge is in charge, and moves it out of this one's hearing"
    left = [shade for shade in house.shades.values() if _left_to_others(house, shade)]
    return with_shades(house, [outdated(turn, shade, why) for shade in left])


def _left_to_others(house: House, shade: Shade) -> bool:
    known = shade.knowledge
    if known.base is None and known.hull.contains(physical_range(shade.spec)):
        return False
    one_way = isinstance(shade.spec.link, OneWayLink)
    return not (house.broker_up if one_way else shade.channel.answered)


_OF_ORDERS = (Why.ARRIVED, Why.STOPPED, Why.STALLED, Why.UPPER_SWITCH, Why.LOWER_SWITCH, Why.NOT_FOUND)


def _ours(shade: Shade, report: Report) -> bool:
    """Say whether the last order that the board tells of can be one of this run."""
    if report.boot != shade.channel.boot or report.seq > shade.seq:
        return False
    # Nothing but questions has left in this run, and none of them ends like this.
    ended_motion = report.answers is None and report.why in _OF_ORDERS and shade.ordered_at_s is None
    return report.seq > shade.began_seq + ORDERS_LOST_MAX and not ended_motion


def overtaken(turn: Turn, shade: Shade, report: Report) -> Shade:
    """Return the shade after its board is found to have had orders that are not here.

    A power cut may have taken the last few from the journal; the hull on disk holds for those, and their
    slip is added. More, a count that the hull has no room for, or motion ordered in a boot that the journal
    has never heard of, show that a whole older file was put back.
    """
    known, channel = shade.knowledge, shade.channel
    skipped = shade.began_seq < report.seq <= shade.began_seq + ORDERS_LOST_MAX
    beyond = 0 if _ours(shade, report) else report.seq - shade.began_seq
    if channel.answered or beyond <= 0 or known.boot is None or known.base is None:
        return shade
    board = shade.spec.contract.board
    why = f"board {board} has had orders that this journal never sent"
    if report.boot > known.boot:
        return shade if report.to is None else outdated(turn, shade, why)
    if not report.boot == known.boot == channel.boot:
        return shade
    here = None if report.count is None else claim_at(shade.spec, known, report.count)
    apart = here is not None and (here.high < known.hull.low or known.hull.high < here.low)
    if apart or not skipped:
        return outdated(turn, shade, why)
    unread = max(0, report.n - channel.read)
    slid = slipped(shade.spec, known, moves=min(beyond, unread), distance=most_travelled(shade.spec, unread))
    return replace(shade, knowledge=slid)
