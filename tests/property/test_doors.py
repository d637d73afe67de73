"""Whatever arrives: it reads as what it says, or it is refused with a short reason."""

import json
from dataclasses import asdict
from datetime import UTC, datetime
from fractions import Fraction
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from bridge.adapters.doors import read_integer, read_json
from bridge.adapters.links import contract
from bridge.core.contract import Do, Order, Report, Sense, Then, Toward, Why
from bridge.core.errors import LinkError
from bridge.core.events import ReportHeard
from bridge.core.values import BoardId, Moment

AT = Moment(utc=datetime(2026, 11, 25, 7, 30, tzinfo=UTC), mono_s=0.0)
TOPIC = "shade-boards/south/0/report"
counts = st.integers(-(2**31), 2**31)
numbers = st.integers(0, 2**31)
positive = st.integers(1, 2**31)
reports = st.builds(
    Report,
    boot=numbers,
    n=numbers,
    count=st.none() | counts,
    kept=st.booleans(),
    moving=st.booleans(),
    awake=st.booleans(),
    why=st.sampled_from(Why),
    seq=numbers,
    to=st.none() | counts,
    answers=st.none() | numbers,
    senses=st.lists(st.sampled_from(Sense), unique=True).map(tuple),
    pulses_per_turn=st.none() | st.builds(Fraction, positive, positive),
    because=st.none() | st.text(st.characters(categories=["L", "N"]), max_size=200),
    term=st.none() | numbers,
    kept_since=st.none() | numbers,
)
orders = st.builds(
    Order,
    term=numbers,
    boot=numbers,
    seq=numbers,
    seen=numbers,
    do=st.sampled_from(Do),
    to=counts,
    low=counts,
    high=counts,
    pps=positive,
    ramp=positive,
    then=st.sampled_from(Then),
    toward=st.sampled_from(Toward),
    at_most=positive,
)
wild = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
)


def written(report: Report) -> dict[str, Any]:
    ratio = report.pulses_per_turn
    return asdict(report) | {
        "v": 1,
        "pulses_per_turn": None if ratio is None else [ratio.numerator, ratio.denominator],
    }


def heard(payload: bytes) -> object:
    try:
        return contract.decode("shade-boards", TOPIC, payload, retained=False, at=AT)
    except LinkError as refused:
        return refused


@given(reports)
def test_a_report_reads_back_as_it_was_written(report: Report) -> None:
    event = heard(json.dumps(written(report)).encode())
    assert event == ReportHeard(at=AT, board=BoardId("south"), channel=0, report=report, retained=False)


@given(orders)
def test_an_order_is_plain_json_with_the_keys_of_the_contract_in_sequence(order: Order) -> None:
    _, payload = contract.encode(order, root="shade-boards", board=BoardId("south"), channel=0)
    said = json.loads(payload)
    assert list(said) == ["v", "term", "boot", "seq", "seen", "do", *contract.KEYS[order.do]]
    assert all(said[key] == getattr(order, key) for key in said if key != "v")
    assert read_json(payload, where="t") == said


@given(reports, st.text(min_size=1), wild)
def test_unknown_keys_change_nothing(report: Report, key: str, value: object) -> None:
    said = written(report) | {f"x-{key}": value}
    event = heard(json.dumps(said).encode())
    if isinstance(event, LinkError):  # not finite, too long or too large: the whole payload goes
        return
    assert isinstance(event, ReportHeard)
    assert event.report == report


@given(st.binary(max_size=200) | wild.map(lambda value: json.dumps(value).encode("utf-8", "replace")))
def test_no_bytes_are_anything_but_a_report_or_a_short_refusal(payload: bytes) -> None:
    event = heard(payload)
    assert isinstance(event, LinkError | ReportHeard)
    assert isinstance(event, ReportHeard) or len(str(event)) < 400


@given(reports, st.sampled_from(["boot", "n", "count", "kept", "moving", "awake", "why", "seq", "to"]), wild)
def test_a_known_key_of_another_kind_is_refused_or_taken_exactly(
    report: Report, key: str, value: object
) -> None:
    event = heard(json.dumps(written(report) | {key: value}).encode())
    if isinstance(event, ReportHeard):
        got = getattr(event.report, key)
        assert got == value
        assert isinstance(value, str) or type(got) is type(value)


@given(st.integers(-(10**19) + 1, 10**19 - 1))
def test_every_whole_number_reads_back(value: int) -> None:
    assert read_integer(str(value).encode(), where="t") == value


@given(
    st.binary(max_size=70) | st.text(max_size=20).map(str.encode) | st.floats().map(lambda x: str(x).encode())
)
def test_bytes_read_as_a_whole_number_only_in_its_own_spelling(payload: bytes) -> None:
    try:
        value = read_integer(payload, where="t")
    except LinkError:
        return
    assert str(value).encode() == payload
