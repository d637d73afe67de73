"""Other bridges' claims: read strictly, told apart from our own, and dated by our own claim's echo."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest

from bridge.adapters.broker.messages import Incoming
from bridge.adapters.broker.tree import Tree
from bridge.core.events import ClaimHeard
from bridge.core.values import Moment
from bridge.shell.charge import Claims, put_right

AT = Moment(utc=datetime(2026, 3, 1, tzinfo=UTC), mono_s=5.0)


def claim(bridge: str, term: object, *, retained: bool = False) -> Incoming:
    payload = json.dumps({"bridge": bridge, "term": term}).encode()
    return Incoming(topic="shade-boards/claim", payload=payload, retained=retained)


def claims() -> Claims:
    fresh = Claims("mine", "shade-boards")
    fresh.opened()
    return fresh


@pytest.mark.parametrize(
    "payload",
    [
        b'{"bridge": "mine", "term": 7}',
        b'{"bridge": "other", "term": true}',
        b'{"bridge": "other", "term": 7.0}',
        b'{"bridge": "other", "term": -1}',
        b'{"bridge": "other", "term": 2147483647}',
        b'{"bridge": "other"}',
        b'{"term": 7}',
        b"[7]",
        b"",
        b"\xff",
        b" " * 300,
    ],
)
def test_only_a_sound_claim_of_another_bridge_counts(payload: bytes) -> None:
    assert claims().heard(Incoming(topic="shade-boards/claim", payload=payload, retained=True), AT) is None


def test_what_comes_before_our_own_claim_is_heard_was_said_before_it() -> None:
    ours = claims()
    assert ours.heard(claim("other", 7), AT) == ClaimHeard(at=AT, term=7, retained=True, ahead=False)
    assert ours.heard(claim("mine", 8), AT) is None
    assert ours.heard(claim("other", 9), AT) == ClaimHeard(at=AT, term=9, retained=False, ahead=False)
    ours.opened()
    again = ours.heard(claim("other", 9), AT)
    assert again is not None
    assert again.retained


def test_a_retained_claim_of_our_own_is_no_echo() -> None:
    ours = claims()
    ours.heard(claim("mine", 8, retained=True), AT)
    heard = ours.heard(claim("other", 9), AT)
    assert heard is not None
    assert heard.retained


def test_in_a_tie_the_first_name_goes_ahead() -> None:
    ahead, behind = claims().heard(claim("a", 7), AT), claims().heard(claim("z", 7), AT)
    assert ahead is not None
    assert behind is not None
    assert (ahead.ahead, behind.ahead) == (True, False)


@pytest.mark.parametrize(
    ("payload", "retained", "answered"),
    [
        (b"lost", False, True),
        (b"disconnected", False, True),
        (b"lost", True, False),
        (b"init", False, False),
        (b"ready", False, False),
        (b"", False, False),
    ],
)
def test_whoever_says_that_the_bridge_in_charge_has_gone_is_put_right(
    payload: bytes, retained: bool, answered: bool
) -> None:
    tree = Tree(shades=())
    message = Incoming(topic="homie/5/hembar/$state", payload=payload, retained=retained)
    right = put_right(tree, message)
    assert (right is not None) == answered
    if right is not None:
        assert (right.topic, right.payload, right.retain) == (message.topic, b"ready", True)


def test_the_state_of_another_device_is_its_own_business() -> None:
    message = Incoming(topic="homie/5/other/$state", payload=b"lost", retained=False)
    assert put_right(Tree(shades=()), message) is None


def test_a_broker_that_comes_back_without_our_claim_has_forgotten_it() -> None:
    ours = claims()
    ours.heard(claim("mine", 8), AT)
    told = [ours.forgot]
    ours.opened()
    ours.heard(claim("mine", 8), AT)
    told.append(ours.forgot)
    ours.opened()
    ours.heard(claim("mine", 8, retained=True), AT)
    ours.heard(claim("mine", 8), AT)
    assert [*told, ours.forgot] == [None, True, False]


@pytest.mark.parametrize("kept", [True, False])
def test_a_claim_that_an_earlier_run_has_left_is_missed_at_the_first_meeting(kept: bool) -> None:
    ours = Claims("mine", "shade-boards")
    ours.left_before()
    ours.opened()
    if kept:
        ours.heard(claim("an earlier run", 7, retained=True), AT)
    ours.heard(claim("mine", 8), AT)
    assert ours.forgot is not kept


def test_an_empty_broker_at_the_first_meeting_has_forgotten_nothing() -> None:
    ours = claims()
    ours.opened()
    ours.heard(claim("mine", 8), AT)
    assert ours.forgot is None
