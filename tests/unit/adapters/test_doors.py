import pytest

from bridge.adapters.doors import LIMIT_BYTES, read_integer, read_json, read_word
from bridge.core.errors import LinkError


@pytest.mark.parametrize(("payload", "value"), [(b"0", 0), (b"40", 40), (b"-7", -7), (b"100", 100)])
def test_plain_digits_are_a_whole_number(payload: bytes, value: int) -> None:
    assert read_integer(payload, where="t") == value


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"5x0",
        b"1_0",
        b"+5",
        b" 5",
        b"5 ",
        b"5\n",
        b"5.0",
        b"05",
        b"-0",
        b"--5",
        b"-",
        b"1e2",
        b"0x10",
        b"NaN",
        b"Infinity",
        b"true",
        b"5\x00",
        "\u0665".encode(),
        "\uff11\uff12".encode(),
        b"\xff",
        b"9" * 20,
        b"9" * 300_000,
    ],
)
def test_anything_else_is_no_whole_number(payload: bytes) -> None:
    with pytest.raises(LinkError) as refused:
        read_integer(payload, where="t")
    assert len(str(refused.value)) < 200


def test_the_refusal_shows_the_value_and_what_came_of_it() -> None:
    with pytest.raises(LinkError) as refused:
        read_integer(b"5x0", where="a/b/set")
    assert str(refused.value) == "a/b/set: '5x0' is not a whole number in plain digits; it was ignored"


def test_a_word_is_taken_only_as_it_is_spelt() -> None:
    assert read_word(b"stop", where="t", words=("up", "stop")) == "stop"
    for payload in (b"Stop", b"stop ", b"", b"down", "\uff53top".encode()):
        with pytest.raises(LinkError):
            read_word(payload, where="t", words=("up", "stop"))


@pytest.mark.parametrize(
    ("payload", "problem"),
    [
        (b"", "the payload is empty"),
        (b'"' + b"x" * LIMIT_BYTES + b'"', "8194 bytes; at most 8192 are read"),
        (b"{", "'{' is not JSON at character 1"),
        (b"\xff\xfe", r"'\\xff\\xfe' is not UTF-8 text"),
        (b"\xef\xbb\xbf1", r"'\ufeff1' is not JSON at character 0"),
        (b"[NaN]", "NaN is not a number"),
        (b"-Infinity", "-Infinity is not a number"),
        (b"1e999", "1e999 is not a finite number"),
        (b"9" * 5000, "a number of 5000 digits"),
        (b'{"a":1,"a":2}', "the key 'a' is given twice"),
        (rb'"\ud800"', r"""'"\\ud800"' is not UTF-8 text"""),
        (b"[" * 5000 + b"]" * 3000, "is nested too deep"),
    ],
)
def test_json_that_is_not_fit_is_refused_with_a_reason(payload: bytes, problem: str) -> None:
    with pytest.raises(LinkError) as refused:
        read_json(payload, where="t")
    assert problem in refused.value.problem


def test_the_largest_payload_and_a_whole_surrogate_pair_are_read() -> None:
    assert read_json(b'"' + b"x" * (LIMIT_BYTES - 2) + b'"', where="t") == "x" * (LIMIT_BYTES - 2)
    assert read_json(rb'"\ud83d\ude00"', where="t") == "\U0001f600"
