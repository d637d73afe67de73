from dataclasses import replace
from datetime import UTC, datetime
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.adapters.links import one_way
from bridge.core.errors import LinkError
from bridge.core.events import AliveHeard, TargetHeard
from bridge.core.spec import ContractLink, OneWayLink, StopTopic, Unit
from bridge.core.values import BoardId, Moment, ShadeId
from tests.one_way_world import ALIVE, PORCH, STOP, given_link, given_spec

AT = Moment(utc=datetime(2026, 11, 25, 7, 30, tzinfo=UTC), mono_s=12.5)
LINK = given_link(alive=ALIVE, stop=STOP)


def heard(
    topic: str, payload: bytes, *, link: OneWayLink = LINK, retained: bool = False
) -> TargetHeard | AliveHeard | None:
    two_way = replace(given_spec(), link=ContractLink(board=BoardId("attic-board"), channel=0))
    return one_way.decode([two_way, given_spec(link)], topic, payload, retained=retained, at=AT)


@pytest.mark.parametrize(
    ("decimals", "value", "payload"),
    [
        (0, Fraction(40), b"40"),
        (0, Fraction(0), b"0"),
        (0, Fraction(-7), b"-7"),
        (1, Fraction("0.5"), b"0.5"),
        (3, Fraction("-0.005"), b"-0.005"),
        (3, Fraction("12.3"), b"12.300"),
        (2, Fraction(100), b"100.00"),
    ],
)
def test_a_target_is_written_with_its_decimals(decimals: int, value: Fraction, payload: bytes) -> None:
    link = given_link(unit=Unit.TURNS, decimals=decimals)
    assert one_way.encode(link, value) == ("porch/target", payload, True)


@given(
    decimals=st.integers(min_value=0, max_value=6), scaled=st.integers(min_value=-(10**9), max_value=10**9)
)
def test_what_is_written_is_read_as_the_same_number(decimals: int, scaled: int) -> None:
    value = Fraction(scaled, 10**decimals)
    topic, payload, _ = one_way.encode(given_link(unit=Unit.TURNS, decimals=decimals), value)
    assert one_way.read_number(topic, payload) == value


def test_a_target_is_retained_only_where_the_link_says_so() -> None:
    assert one_way.encode(given_link(retained=False), Fraction(1)) == ("porch/target", b"1", False)


def test_a_halt_is_the_owner_s_word_and_never_retained() -> None:
    assert one_way.encode(LINK, None) == ("porch/halt", b"halt", False)


def test_more_decimals_than_the_link_has_are_our_own_bug() -> None:
    with pytest.raises(AssertionError, match="more than 0 decimals"):
        one_way.encode(given_link(), Fraction("0.5"))


def test_a_halt_without_a_topic_is_our_own_bug() -> None:
    with pytest.raises(AssertionError, match="has no stop topic"):
        one_way.encode(given_link(), None)


def test_a_number_on_the_topic_is_a_target() -> None:
    assert heard("porch/target", b"-12.50", retained=True) == TargetHeard(
        at=AT, shade=PORCH, value=Fraction("-12.5"), retained=True
    )


@pytest.mark.parametrize(
    "payload",
    [
        b"", b" 40", b"40\n", b"+40", b"040", b"4e1", b".5", b"5.", b"NaN", b"inf", b"0x10", b"4_0", b"--1",
        "١٢".encode(), b"\xff\xfe", b"40" * 20, b"open",
    ],
)  # fmt: skip
def test_what_is_no_plain_number_is_heard_as_words_of_unknown_meaning(payload: bytes) -> None:
    event = heard("porch/target", payload)
    assert isinstance(event, TargetHeard)
    assert event.value is None
    assert not event.halts


def test_the_word_to_halt_is_heard_on_its_topic() -> None:
    assert heard("porch/halt", b"halt") == TargetHeard(
        at=AT, shade=PORCH, value=None, retained=False, halts=True
    )


@pytest.mark.parametrize(("payload", "retained"), [(b"halt", True), (b"Halt", False), (b"", False)])
def test_a_retained_halt_or_another_word_halts_nothing(payload: bytes, retained: bool) -> None:
    assert heard("porch/halt", payload, retained=retained) is None


def test_the_word_to_halt_may_share_the_topic_of_targets() -> None:
    link = replace(LINK, stop=StopTopic(topic="porch/target", payload="halt"))
    halt, target = heard("porch/target", b"halt", link=link), heard("porch/target", b"40", link=link)
    assert isinstance(halt, TargetHeard)
    assert halt.halts
    assert isinstance(target, TargetHeard)
    assert target.value == 40


def test_the_alive_topic_is_heard_word_for_word_and_cut_short() -> None:
    assert heard("porch/alive", b"here", retained=True) == AliveHeard(
        at=AT, topic="porch/alive", said="here", retained=True
    )
    long = heard("porch/alive", b"x" * 5000)
    assert isinstance(long, AliveHeard)
    assert len(long.said) == 64


@pytest.mark.parametrize("payload", [b"\xff", b"\x1b[2J"])
def test_an_alive_topic_that_is_no_plain_text_is_refused(payload: bytes) -> None:
    with pytest.raises(LinkError) as refused:
        heard("porch/alive", payload)
    assert refused.value.where == "porch/alive"


def test_other_topics_are_left_alone() -> None:
    assert heard("porch", b"1") is None
    assert heard("porch/target/more", b"1") is None


def test_the_shades_that_a_topic_concerns_are_found_by_it_in_their_order() -> None:
    first = given_spec(LINK)
    two_way = replace(first, link=ContractLink(board=BoardId("attic-board"), channel=0))
    second = replace(given_spec(replace(LINK, topic="landing/target")), id=ShadeId("landing"))
    found = one_way.by_topic([first, two_way, second])
    assert found["porch/target"] == [first]
    assert found["landing/target"] == [second]
    assert found["porch/alive"] == [first, second]
    assert found.keys() == {"porch/target", "porch/halt", "porch/alive", "landing/target"}


def test_everything_that_concerns_a_one_way_board_is_subscribed_to_once() -> None:
    shared = replace(LINK, topic="landing/target", stop=StopTopic(topic="landing/target", payload="halt"))
    topics = one_way.subscriptions([given_spec(LINK), given_spec(shared), given_spec(given_link())])
    assert topics == ("porch/target", "porch/halt", "porch/alive", "landing/target")
