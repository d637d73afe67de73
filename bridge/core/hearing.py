"""What a board says, and what of it may be believed.

A report is evidence when it answers this session's own `tell`, or follows one that did: same boot, rising
`n`. Everything else, a retained report above all, is a hint about which boot and number to address.
"""

from __future__ import annotations

from bridge.core import overhearing
from bridge.core.command.pursue import fallen_silent, pursue
from bridge.core.contract import ADDRESSING, Link, Report, Why
from bridge.core.events import LinkHeard, ReportHeard
from bridge.core.outcome import Level
from bridge.core.position.evidence import forgotten
from bridge.core.recalling import outdated, overtaken
from bridge.core.replacing import replace
from bridge.core.settling import absorb
from bridge.core.spec import OneWayLink
from bridge.core.state import Board, Channel, Shade, unbounded
from bridge.core.turn import Turn


def in_hearing(turn: Turn, shade: Shade) -> Shade:
    """Return the shade once there is a session with the broker; a board that reports is heard by itself."""
    return overhearing.in_hearing(turn, shade) if isinstance(shade.spec.link, OneWayLink) else shade


def out_of_hearing(turn: Turn, shade: Shade) -> Shade:
    """Return the shade once its board is known to be out of hearing; its request waits for it."""
    if isinstance(shade.spec.link, OneWayLink):
        return overhearing.out_of_hearing(shade)
    request = shade.request
    if request is not None:
        request = replace(request, queued=False, deadline_s=turn.now_s + turn.house.spec.board_wait_s)
    return replace(fallen_silent(shade), request=request)


def hear_link(turn: Turn, shade: Shade, event: LinkHeard, *, changed: bool) -> Shade:
    """Return the shade after its board's link topic has spoken; `changed` when it said something new."""
    if event.retained and shade.channel.answered:
        return shade
    if event.link is Link.UP:
        return pursue(turn, _asked_anew(shade, event.boot))
    if not changed:
        return shade
    turn.note("board.link.lost", Level.WARNING, shade=shade.id, board=event.board, link=event.link.value)
    return out_of_hearing(turn, shade)


def _asked_anew(shade: Shade, boot: int | None) -> Shade:
    """Return the shade ready to ask the boot that its board names; a known boot is asked again."""
    if shade.channel.answered:
        shade = fallen_silent(shade)
    channel = shade.channel if boot is None else readdressed(shade.channel, boot)
    return replace(shade, channel=replace(channel, asked_seq=None, asks=0))


def readdressed(channel: Channel, boot: int) -> Channel:
    """Return the conversation addressed to `boot`; what was heard in another boot no longer counts."""
    if boot == channel.boot:
        return channel
    return replace(channel, boot=boot, n=0, read=0, stalls=0, report=None, answered=False)


def hear_report(turn: Turn, shade: Shade, event: ReportHeard) -> Shade:
    """Return the shade after its channel has reported."""
    report, channel = event.report, shade.channel
    if event.retained:
        return pursue(turn, _hinted(turn, shade, report)) if not channel.answered else shade
    answers = channel.asked_seq is not None and report.answers == channel.asked_seq
    if answers and report.boot == channel.boot and report.n <= channel.n:
        turn.note("board.count.restarted", Level.WARNING, shade=shade.id, boot=report.boot, n=report.n)
        shade = replace(shade, knowledge=forgotten(shade.knowledge))
    follows = channel.answered and report.boot == channel.boot and report.n > channel.n
    if answers or follows:
        return pursue(turn, absorb(turn, shade, report))
    if channel.answered and report.boot == channel.boot:
        turn.note("board.report.outdated", Level.DEBUG, shade=shade.id, n=report.n, newest=channel.n)
        return shade
    return pursue(turn, _redirected(turn, shade, report))


def _hinted(turn: Turn, shade: Shade, report: Report) -> Shade:
    """Return the shade with a retained report taken as a hint of boot and numbers."""
    channel = shade.channel
    if channel.boot is not None and report.boot < channel.boot:
        return shade
    shade = overtaken(turn, shade, report)
    channel = readdressed(shade.channel, report.boot)
    channel = _hint_of(channel, report, ordered=report.seq > shade.seq)
    return replace(shade, channel=channel, seq=max(shade.seq, report.seq))


def _hint_of(channel: Channel, report: Report, *, ordered: bool) -> Channel:
    """Return the conversation after a hint; `ordered` when the board has had orders that are not here."""
    channel = replace(channel, n=max(report.n, channel.n))
    return unbounded(channel) if ordered else channel


def _redirected(turn: Turn, shade: Shade, report: Report) -> Shade:
    """Return the shade ready to ask again where a live report came from, at once when it brought news."""
    channel = shade.channel
    news = report.boot != channel.boot or report.seq > shade.seq
    higher = report.because in ADDRESSING and (report.term or 0) > turn.term
    if report.why is Why.REFUSED and higher:
        shade = outdated(turn, shade, "another bridge, or a newer journal of this one, has given it orders")
        if turn.may_outbid:
            turn.term = (report.term or 0) + 1
            turn.note("claim.term.raised", Level.WARNING, shade=shade.id, term=turn.term)
            news = True
    else:
        shade = overtaken(turn, shade, report)
    if channel.answered:
        shade = fallen_silent(shade)
    channel = readdressed(shade.channel, report.boot)
    channel = _hint_of(channel, report, ordered=report.seq > shade.seq)
    if news:
        channel = replace(channel, asked_seq=None)
    return replace(shade, channel=channel, seq=max(shade.seq, report.seq))


def heard_board(known: Board, event: LinkHeard, *, trusted: bool) -> Board:
    """Return what is known of a board's link.

    Args:
        known: What was known.
        event: What its link topic said.
        trusted: The board is in live conversation, which no retained or older word overrules.
    """
    older = event.boot is not None and known.boot is not None and event.boot < known.boot
    if (event.retained and trusted) or (older and event.link is not Link.UP):
        return known
    return Board(link=event.link, boot=event.boot if event.boot is not None else known.boot)
