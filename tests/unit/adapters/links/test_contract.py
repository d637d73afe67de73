import json
import tomllib
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from bridge.adapters.links import contract
from bridge.core.contract import Do, Link, Order, Report, Sense, Then, Toward, Why
from bridge.core.errors import LinkError
from bridge.core.events import LinkHeard, ReportHeard
from bridge.core.values import BoardId, Moment

AT = Moment(utc=datetime(2026, 11, 25, 7, 30, tzinfo=UTC), mono_s=12.5)
CASES = tomllib.loads((Path(__file__).parent / "cases" / "contract.toml").read_text())
REPORT = {
    "v": 1,
    "boot": 4,
    "n": 9,
    "count": 7,
    "kept": True,
    "moving": False,
    "awake": False,
    "why": "told",
    "seq": 3,
}


def heard(topic: str, payload: bytes, *, retained: bool = False) -> LinkHeard | ReportHeard | None:
    return contract.decode("shade-boards", topic, payload, retained=retained, at=AT)


def report(**changes: Any) -> bytes:
    return json.dumps(REPORT | changes).encode()


@pytest.mark.parametrize("case", CASES["reports"], ids=lambda case: str(case["name"]))
def test_a_report_reads_as_the_case_says(case: dict[str, Any]) -> None:
    event = heard(case["topic"], case["payload"].encode())
    assert isinstance(event, ReportHeard)
    assert (event.board, event.channel, event.at) == (case["board"], case["channel"], AT)
    for field, value in case["expect"].items():
        got = getattr(event.report, field)
        plain = [got.numerator, got.denominator] if isinstance(got, Fraction) else got
        assert (list(plain) if isinstance(plain, tuple) else plain) == value, field


@pytest.mark.parametrize("case", CASES["refusals"], ids=lambda case: str(case["name"]))
def test_what_the_contract_does_not_allow_is_refused(case: dict[str, Any]) -> None:
    with pytest.raises(LinkError) as refused:
        heard(case["topic"], case["payload"].encode())
    assert case["expect"] in refused.value.problem
    assert refused.value.where == case["topic"]
    assert len(str(refused.value)) < 300


def test_the_report_printed_in_the_contract_reads_field_for_field() -> None:
    printed = (
        b'{"v":1,"boot":412,"n":118,"count":20514,"kept":true,"moving":false,"awake":false,"why":"arrived",'
        b'"seq":37,"to":20514,"answers":null,"senses":["upper-switch"],"pulses_per_turn":[45600,11]}'
    )
    assert heard("shade-boards/south/0/report", printed, retained=True) == ReportHeard(
        at=AT,
        board=BoardId("south"),
        channel=0,
        retained=True,
        report=Report(
            boot=412,
            n=118,
            count=20514,
            kept=True,
            moving=False,
            awake=False,
            why=Why.ARRIVED,
            seq=37,
            to=20514,
            senses=(Sense.UPPER_SWITCH,),
            pulses_per_turn=Fraction(45600, 11),
        ),
    )


@pytest.mark.parametrize("word", list(Link))
def test_the_link_topic_says_up_lost_or_off(word: Link) -> None:
    payload = json.dumps({"link": word, "boot": 412}).encode()
    assert heard("shade-boards/south/link", payload) == LinkHeard(
        at=AT, board=BoardId("south"), link=word, boot=412, retained=False
    )


def test_a_link_without_a_boot_is_heard_too() -> None:
    event = heard("shade-boards/south/link", b'{"link":"lost"}', retained=True)
    assert isinstance(event, LinkHeard)
    assert event.boot is None
    assert event.retained


@pytest.mark.parametrize(
    "topic",
    [
        "shade-boards/south/0/order",
        "shade-boards/south/report",
        "shade-boards/South/link",
        "shade-boards/-south/link",
        "shade-boards/south/-1/report",
        "shade-boards/south/01/report",
        "shade-boards/south/٣/report",
        "shade-boards//0/report",
        "shade-boards/south/0/report/more",
        "shade-boardsx/south/link",
        "other/south/link",
        "shade-boards",
    ],
)
def test_topics_that_are_no_board_s_are_left_alone(topic: str) -> None:
    assert heard(topic, b"garbage") is None


@pytest.mark.parametrize("field", ["boot", "n", "count", "seq", "to", "answers", "term", "kept_since", "v"])
@pytest.mark.parametrize("value", [True, 1.0, "1", [1], {}, 2**31 + 1, -(2**31) - 1])
def test_a_number_is_a_whole_number_within_bounds(field: str, value: object) -> None:
    with pytest.raises(LinkError):
        heard("shade-boards/south/0/report", report(**{field: value}))


@pytest.mark.parametrize("value", [2**31, -(2**31)])
def test_the_largest_counts_are_read(value: int) -> None:
    event = heard("shade-boards/south/0/report", report(count=value, to=value))
    assert isinstance(event, ReportHeard)
    assert event.report.count == event.report.to == value


@pytest.mark.parametrize("field", ["kept", "moving", "awake"])
@pytest.mark.parametrize("value", [0, 1, "true", None])
def test_yes_and_no_are_json_s_own(field: str, value: object) -> None:
    with pytest.raises(LinkError):
        heard("shade-boards/south/0/report", report(**{field: value}))


@pytest.mark.parametrize("key", sorted(REPORT))
def test_every_required_key_is_missed(key: str) -> None:
    payload = json.dumps({name: value for name, value in REPORT.items() if name != key}).encode()
    with pytest.raises(LinkError) as refused:
        heard("shade-boards/south/0/report", payload)
    assert refused.value.problem.startswith(f"{key} is ")


def test_the_order_printed_in_the_contract_is_written_byte_for_byte() -> None:
    order = Order(
        term=5,
        boot=412,
        seq=38,
        seen=118,
        do=Do.GO,
        to=20514,
        low=-40,
        high=54900,
        pps=800,
        ramp=1600,
        then=Then.SLEEP,
    )
    topic, payload = contract.encode(order, root="shade-boards", board=BoardId("south"), channel=1)
    assert topic == "shade-boards/south/1/order"
    assert payload == (
        b'{"v":1,"term":5,"boot":412,"seq":38,"seen":118,"do":"go","to":20514,"low":-40,"high":54900,'
        b'"pps":800,"ramp":1600,"then":"sleep"}'
    )


@pytest.mark.parametrize(
    ("order", "tail"),
    [
        (Order(term=1, boot=2, seq=3, seen=4, do=Do.TELL), b'"do":"tell"}'),
        (Order(term=1, boot=2, seq=3, seen=4, do=Do.SLEEP), b'"do":"sleep"}'),
        (Order(term=1, boot=2, seq=3, seen=4, do=Do.WAKE), b'"do":"wake"}'),
        (Order(term=1, boot=2, seq=3, seen=4, do=Do.STOP, ramp=900), b'"do":"stop","ramp":900}'),
        (
            Order(
                term=1, boot=2, seq=3, seen=4, do=Do.SEEK, toward=Toward.UPPER, at_most=500, pps=200, ramp=900
            ),
            b'"do":"seek","toward":"upper","at_most":500,"pps":200,"ramp":900}',
        ),
    ],
)
def test_an_order_carries_only_what_its_do_needs(order: Order, tail: bytes) -> None:
    _, payload = contract.encode(order, root="r", board=BoardId("b"), channel=0)
    assert payload == b'{"v":1,"term":1,"boot":2,"seq":3,"seen":4,' + tail


def test_an_order_that_lacks_a_number_is_our_own_bug() -> None:
    with pytest.raises(AssertionError, match="go needs to"):
        contract.encode(
            Order(term=1, boot=2, seq=3, seen=4, do=Do.GO), root="r", board=BoardId("b"), channel=0
        )


def test_the_bridge_listens_to_links_and_reports_only() -> None:
    assert contract.subscriptions("shade-boards") == ("shade-boards/+/link", "shade-boards/+/+/report")
