import re
from collections.abc import Callable
from enum import StrEnum

import pytest

from bridge.adapters.doors import LIMIT_BYTES, Fields, read_integer, read_json, read_word
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


class Colour(StrEnum):
    RED = "red"
    BLUE = "blue"


def said(text: str) -> Fields:
    return Fields(text.encode(), where="t")


def test_fields_are_read_and_keys_that_nobody_asks_for_are_ignored() -> None:
    fields = said(
        '{"n":3,"x":2,"y":0.5,"on":true,"c":"red","cs":["blue","red"],"p":[1,2],"t":"ab","more":{}}'
    )
    assert (fields.whole("n", 0, 3), fields.number("x", 0, 2), fields.number("y", 0.5, 1)) == (3, 2.0, 0.5)
    assert isinstance(fields.number("x", 0, 2), float)
    assert fields.flag("on") is True
    assert fields.word("c", Colour) is Colour.RED
    assert fields.words("cs", Colour) == (Colour.BLUE, Colour.RED)
    assert fields.wholes("p", 1, 2, count=2) == (1, 2)
    assert fields.text("t", re.compile("[a-z]+")) == fields.printable("t", 2) == "ab"


def test_a_key_is_absent_or_null_or_neither() -> None:
    fields = said('{"a":null,"b":0}')
    assert [(fields.absent(key), fields.null(key)) for key in "abc"] == [
        (False, True),
        (False, False),
        (True, False),
    ]


@pytest.mark.parametrize(
    ("value", "read", "problem"),
    [
        ("true", lambda it: it.whole("k", 0, 9), "k is True: it must be a whole number from 0 to 9"),
        ("1.0", lambda it: it.whole("k", 0, 9), "k is 1.0: it must be a whole number from 0 to 9"),
        ("10", lambda it: it.whole("k", 0, 9), "k is 10: it must be a whole number from 0 to 9"),
        ("-1", lambda it: it.whole("k", 0, 9), "k is -1: it must be a whole number from 0 to 9"),
        ("null", lambda it: it.whole("k", 0, 9), "k is None: it must be a whole number from 0 to 9"),
        ("true", lambda it: it.number("k", 0, 9), "k is True: it must be a number from 0 to 9"),
        ('"1"', lambda it: it.number("k", 0, 9), "k is '1': it must be a number from 0 to 9"),
        ("9.1", lambda it: it.number("k", 0, 9), "k is 9.1: it must be a number from 0 to 9"),
        ("1", lambda it: it.flag("k"), "k is 1: it must be true or false"),
        ('"Red"', lambda it: it.word("k", Colour), "k is 'Red': it must be one of red, blue"),
        ("[[]]", lambda it: it.words("k", Colour), "k.0 is []: it must be one of red, blue"),
        ('"red"', lambda it: it.words("k", Colour), "k is 'red': it must be a list"),
        ("[1,1,1]", lambda it: it.words("k", Colour), "k is [1, 1, 1]: it must have 2 words at most"),
        ("[1]", lambda it: it.wholes("k", 0, 9, count=2), "k is [1]: it must have 2 numbers"),
        ("[1,true]", lambda it: it.wholes("k", 0, 9, count=2), "k.1 is True: it must be a whole number"),
        ('"ab\\n"', lambda it: it.text("k", re.compile("[a-z]+")), r"k is 'ab\n': it must be text like"),
        ('"\\u0007"', lambda it: it.printable("k", 9), r"k is '\x07': it must be printable text"),
        ('"abc"', lambda it: it.printable("k", 2), "k is 'abc': it must be printable text of at most 2"),
    ],
)
def test_any_other_value_is_refused_with_its_key(
    value: str, read: Callable[[Fields], object], problem: str
) -> None:
    with pytest.raises(LinkError) as refused:
        read(said(f'{{"k":{value}}}'))
    assert refused.value.problem.startswith(problem)


def test_a_missing_key_and_what_is_no_object_are_refused() -> None:
    with pytest.raises(LinkError, match="k is missing"):
        said("{}").flag("k")
    with pytest.raises(LinkError, match="payload is 3: it must be an object"):
        said("3")


def test_a_refused_value_is_shown_cut_short() -> None:
    with pytest.raises(LinkError) as refused:
        said('{"k":"' + "\N{BLACK SQUARE}" * 900 + '"}').flag("k")
    assert len(refused.value.problem) < 120
