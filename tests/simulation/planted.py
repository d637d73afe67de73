"""Bugs planted in the production code, one at a time, and the invariant that must catch each.

A patch replaces a function of the core as a slip of its author might have written it; no checker is touched.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import pytest

from bridge.core import (
    asking,
    comfort,
    concluding,
    hearing,
    house,
    outlook,
    retracting,
    settling,
    starting,
)
from bridge.core.command import one_way as command_one_way
from bridge.core.command import orders, pursue, requests, supply
from bridge.core.events import only_halts
from bridge.core.position import claims, evidence, fall, one_way
from bridge.core.position.estimate import Grade
from bridge.core.state import House
from bridge.core.turn import Turn
from bridge.core.values import Interval

Patch = Callable[[pytest.MonkeyPatch], None]


@dataclass(frozen=True)
class Planted:
    """A bug: its name, the patch, the invariants that may catch it, and the faults that bring it out."""

    name: str
    plant: Patch
    caught_by: frozenset[str]
    faults: tuple[str, ...] = ()
    days: float = 1.0
    # Found within so few seeds that plain tests can afford it.
    quick: bool = True


def _setting(target: Any, name: str, value: Any) -> Patch:
    return lambda patch: patch.setattr(target, name, value)


def _wrapping(target: Any, name: str, wrap: Callable[[Callable[..., Any]], Callable[..., Any]]) -> Patch:
    return lambda patch: patch.setattr(target, name, wrap(getattr(target, name)))


def _all(*patches: Patch) -> Patch:
    def plant(patch: pytest.MonkeyPatch) -> None:
        for each in patches:
            each(patch)

    return plant


def _believe_everything(original: Callable[..., Any]) -> Callable[..., Any]:
    def hear(turn: Turn, shade: Any, event: Any) -> Any:
        channel = replace(shade.channel, answered=True, boot=event.report.boot, n=event.report.n - 1)
        return original(turn, replace(shade, channel=channel), replace(event, retained=False))

    return hear


def _forget_orders_on_their_way(original: Callable[..., Any]) -> Callable[..., Any]:
    def absorb(turn: Turn, shade: Any, report: Any) -> Any:
        after = original(turn, replace(shade, seq=report.seq), report)
        return replace(after, seq=max(after.seq, shade.seq))

    return absorb


def _number_from_one(original: Callable[..., Any]) -> Callable[..., Any]:
    return lambda turn, spec, old: replace(original(turn, spec, old), seq=0)


def _only_once(shade: Any) -> float:
    return float("-inf") if shade.channel.asked_seq is None else float("inf")


def _without_its_remedy(original: Callable[..., Any]) -> Callable[..., Any]:
    return lambda turn, shade, fate, why: original(turn, shade, fate, why.split(";")[0])


def _keep_what_is_reached(original: Callable[..., Any]) -> Callable[..., Any]:
    def ended(turn: Turn, shade: Any, fate: Any, why: str) -> Any:
        after = original(turn, shade, fate, why)
        return replace(after, request=shade.request) if fate is requests.Fate.REACHED else after

    return ended


def _drop_in_silence(turn: Turn, shade: Any, fate: Any, why: str) -> Any:
    return replace(shade, request=None)


def _serve_what_has_expired(original: Callable[..., Any]) -> Callable[..., Any]:
    def give_up(turn: Turn, shade: Any) -> Any:
        after = original(turn, shade)
        if shade.request is not None and after.request is None:
            late = replace(shade.request, deadline_s=turn.now_s + 600)
            return replace(after, request=late)
        return after

    return give_up


def _unsent(original: Callable[..., Any]) -> Callable[..., Any]:
    def order_stop(turn: Turn, shade: Any) -> Any:
        after = original(turn, shade)
        turn.orders.pop()
        return after

    return order_stop


def _same_term(original: Callable[..., Any]) -> Callable[..., Any]:
    def started(turn: Turn, event: Any) -> Any:
        after = original(turn, event)
        turn.term = max(1, turn.term - 1)
        return after

    return started


def _older_term(original: Callable[..., Any]) -> Callable[..., Any]:
    return lambda shade, do, *, term, seq: original(shade, do, term=max(0, term - 1), seq=seq)


def _aim_past_the_limit(original: Callable[..., Any]) -> Callable[..., Any]:
    return lambda shade, goal, *, term, seq: original(shade, goal + goal // 4, term=term, seq=seq)


def _misplaced(original: Callable[..., Any]) -> Callable[..., Any]:
    return lambda spec, reference: original(spec, reference).shifted(400)


def _still_claiming(shade: Any) -> Any:
    return replace(shade, channel=replace(shade.channel, answered=False, asked_seq=None, asks=0, report=None))


def _impatient(shade: Any) -> float:
    return float("-inf")


def _dice(original: Callable[..., Any]) -> Callable[..., Any]:
    return lambda spec, *, by_switch: max(1, original(spec, by_switch=by_switch) - random.randint(0, 40))


def _any_boot(known: Any, report: Any) -> bool:
    return known.base is not None and report.count is not None


def _anything_goes(house: House, broker: bool = True) -> bool:
    return broker


def _one_end(spec: Any, known: Any, *, count: int, to: int) -> Any:
    return replace(known, hull=claims.claim_at(spec, known, count))


def _at_rest_there(spec: Any, known: Any, *, count: int, boot: int | None) -> Any:
    if known.base is None:
        return evidence.rebased(spec, known, known.hull, count=count, boot=boot)
    return evidence.settled(spec, known, count=count)


def _sharp(spec: Any, known: Any, at: Any, **told: Any) -> Any:
    return _referenced(spec, known, Interval(low=at.middle, high=at.middle), **told)


def _half_as_wide(spec: Any, hull: Any) -> float:
    return claims.width_mm(spec, hull) / 2


def _nothing_missed(spec: Any, known: Any, reckoning: Any) -> Any:
    return known, replace(reckoning, kept_s=None)


def _deaf_to_stops_of_a_group(original: Callable[..., Any]) -> Callable[..., Any]:
    def asked(turn: Turn, shade: Any, *, event: Any, front: Any) -> Any:
        return shade if only_halts(event) else original(turn, shade, event=event, front=front)

    return asked


_referenced = evidence.referenced

I1, I2, I3, I4, I5, I6, I7 = (frozenset({f"I{number}"}) for number in range(1, 8))
I8, I9, I11, I15 = (frozenset({f"I{number}"}) for number in (8, 9, 11, 15))
I10, I12, I13 = frozenset({"I10"}), frozenset({"I12"}), frozenset({"I13"})

PLANTED = (
    Planted("slip is not allowed for", _setting(evidence, "slip_of_path", lambda *a, **k: 0), I1, days=3),
    Planted("scale is not allowed for", _setting(claims, "scale_allowance", lambda *a, **k: 0.0), I1),
    Planted(
        "every drive counts as confirmed",
        _setting(claims, "scale_allowance", lambda spec, *, bound: spec.scale_allowance),
        I1,
    ),
    Planted(
        "a sleeping rotor does not snap",
        _all(*(_setting(at, "snap", lambda spec: 0) for at in (evidence, fall, orders, settling))),
        I1,
        ("cut", "flap"),
        4,
        quick=False,
    ),
    Planted(
        "cloth never falls", _setting(evidence, "after_power_cut", lambda spec, where: where), I1, ("cut",), 2
    ),
    Planted(
        "every motor holds its cloth",
        _all(*(_setting(at, "holds", lambda spec, where: True) for at in (evidence, orders, pursue, fall))),
        I1,
        ("cut",),
        2,
    ),
    Planted(
        "any boot continues the count", _setting(evidence, "chain_holds", _any_boot), I1, ("cut", "flap"), 2
    ),
    Planted(
        "a retained report is evidence",
        _wrapping(house, "hear_report", _believe_everything),
        I1 | I11,
        ("broker", "network-button", "cut"),
        2,
        quick=False,
    ),
    Planted(
        "the button is forgotten while unheard",
        _setting(pursue, "unheard", lambda spec, known, bounds: known),
        I1,
        ("network-button",),
        2,
    ),
    Planted(
        "orders on their way are forgotten",
        _wrapping(hearing, "absorb", _forget_orders_on_their_way),
        I1 | I5,
        ("slow", "hang"),
        6,
        quick=False,
    ),
    Planted(
        "a move is not written down", _setting(orders, "departed", lambda spec, known, *, to: known), I1 | I7
    ),
    Planted("a seek is not written down", _setting(orders, "departed_upward", lambda spec, known: known), I1),
    Planted("a moving shade is where it last reported", _setting(evidence, "passing", _one_end), I1),
    Planted(
        "a stall loses no steps",
        _setting(evidence, "stalled", _at_rest_there),
        I1,
        ("hold",),
        4,
        quick=False,
    ),
    Planted("a switch acts on the step", _setting(evidence, "referenced", _sharp), I1),
    Planted(
        "switches hang lower than the settings say", _wrapping(orders, "reference_interval", _misplaced), I1
    ),
    Planted(
        "a new session keeps the old claim",
        _all(
            _setting(hearing, "fallen_silent", _still_claiming),
            _setting(pursue, "fallen_silent", _still_claiming),
        ),
        I1,
        ("cut", "network-button"),
        2,
    ),
    Planted(
        "the stop swallows no steps",
        _setting(evidence, "swallowed_at", lambda spec, known, count: 0),
        I1,
        ("button",),
        4,
        quick=False,
    ),
    Planted("one way shows the scale", _setting(evidence, "_scale_agreed", lambda spec, meetings: 0.001), I1),
    Planted("nothing is worth a flush", _setting(house, "_grew", lambda before, after: False), I7),
    Planted(
        "order numbers start afresh",
        _wrapping(starting, "_carried_over", _number_from_one),
        I4,
        ("process",),
        2,
    ),
    Planted("a reached request stays", _wrapping(concluding, "ended", _keep_what_is_reached), I3 | I5),
    Planted(
        "a request ends without a word",
        _all(*(_setting(at, "ended", _drop_in_silence) for at in (concluding, settling, pursue, requests))),
        I3 | I5,
    ),
    Planted(
        "what has expired is still served",
        _wrapping(pursue, "_give_up", _serve_what_has_expired),
        I3 | I5,
        ("network", "cut", "slow"),
        3,
    ),
    Planted(
        "stop is not sent",
        _all(_wrapping(asking, "order_stop", _unsent), _wrapping(pursue, "order_stop", _unsent)),
        I6,
        (),
        2,
    ),
    Planted(
        "a bridge that stood down goes on",
        _setting(Turn, "may_order", property(lambda turn: turn.house.broker_up)),
        I6 | I13,
        ("rival",),
        2,
    ),
    Planted("a new run claims no new term", _wrapping(house, "started", _same_term), I13, ("process",)),
    Planted("orders carry an old term", _wrapping(pursue, "plain_order", _older_term), I13),
    Planted(
        "the way down is not bounded",
        _setting(orders, "refuse_downward", lambda shade, after, to: None),
        I2 | I1,
        ("cut", "flap", "flash", "network-button"),
        4,
        quick=False,
    ),
    Planted(
        "the button has no bounds",
        _setting(orders, "bounds_for", lambda shade, after, to: Interval(low=-(10**6), high=10**6)),
        I2,
    ),
    Planted("a goal lies past the limit", _wrapping(pursue, "draft_go", _aim_past_the_limit), I2),
    Planted("a dragged slider is not slowed", _setting(pursue, "ORDER_EVERY_S", 0.0), I12),
    Planted("a supply gives whatever is asked", _setting(pursue, "must_wait", lambda turn, shade: False), I8),
    Planted("a motor that moves draws nothing", _setting(supply, "draw_a", lambda shade, now_s: 0.0), I8),
    Planted(
        "the rules forget when they last moved a shade",
        _setting(comfort, "_since_s", lambda utc, moved_at: float("inf")),
        I9,
    ),
    Planted(
        "the rules forget how often they moved a shade today",
        _setting(comfort, "_moves_today", lambda turn, ruling: 0),
        I9,
        days=2,
    ),
    Planted(
        "what was heard before the broker was lost still counts",
        _setting(house, "out_of_hearing", lambda turn, shade: shade),
        I1 | I11,
        ("broker", "hang"),
        2,
    ),
    Planted("the width shown is the half-width", _setting(outlook, "width_mm", _half_as_wide), I15),
    Planted(
        "every position is shown as referenced",
        _setting(outlook, "grade_of", lambda spec, hull, hearsay=False: Grade.REFERENCED),
        I15,
    ),
    Planted(
        "a board is asked once and no more",
        _setting(pursue, "_ask_due_s", _only_once),
        I10,
        ("network", "slow", "cut"),
    ),
    Planted(
        "nobody is told what to do",
        _all(*(_wrapping(at, "ended", _without_its_remedy) for at in (concluding, settling))),
        I10,
        ("switch", "hold", "pull"),
    ),
    Planted(
        "what a board did unheard is forgotten",
        _setting(settling, "most_travelled", lambda spec, missed: 0),
        I1,
        ("wind", "process", "network-button"),
        4,
        quick=False,
    ),
    Planted("asking is due at every moment", _setting(pursue, "_ask_due_s", _impatient), I12, ("cut",)),
    Planted(
        "a board that never reports is taken to be quicker than it is",
        _setting(one_way, "PACE", -0.1),
        I1,
        (),
        2,
    ),
    Planted(
        "a guard whose move fails asks again at once",
        _setting(retracting, "_waits", lambda turn, shade: False),
        I12,
        ("sensor", "switch"),
        4,
        quick=False,
    ),
    Planted(
        "a retract that fails is tried again once a minute",
        _setting(retracting, "pause_s", lambda tries, *, first_s: first_s),
        I9,
        ("switch", "sensor", "cut", "button"),
        6,
        quick=False,
    ),
    Planted(
        "a halted board is left with the target that it was halted from",
        _setting(command_one_way, "gives_up_a_target", lambda spec, reckoning, run: False),
        I4,
        ("network", "stranger"),
        4,
        quick=False,
    ),
    Planted(
        "a target that the broker has lost is not missed",
        _setting(one_way, "forgotten", _nothing_missed),
        I1 | I2,
        ("broker", "cut"),
        4,
    ),
    Planted(
        "a move sent before a switch was met keeps its aim",
        _setting(settling, "_aimed_before", lambda shade: shade),
        I2,
        ("network", "hold"),
        6,
    ),
    Planted(
        "a stop of a group is not passed on",
        _wrapping(house, "_asked", _deaf_to_stops_of_a_group),
        I6,
        (),
        4,
    ),
    Planted(
        "every reference is kept",
        _setting(evidence, "MEETINGS_KEPT", 10**6),
        I12,
        ("process",),
        40,
        quick=False,
    ),
)

# Caught by living through the same seed twice.
UNREPEATABLE = Planted(
    "chance in the core", _wrapping(orders, "seek_pps", _dice), frozenset({"I14"}), ("cut",)
)
