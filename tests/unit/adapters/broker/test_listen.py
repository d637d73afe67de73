"""What a dashboard's message asks for, and how each that cannot be read is told."""

import json
from collections.abc import Mapping

import pytest

from bridge.adapters.broker.listen import (
    AbsentError,
    Listen,
    Meaning,
    Says,
    is_pointer,
    read,
    subscriptions,
    to_pointer,
    word_means,
)
from bridge.adapters.broker.messages import Incoming, Subscription
from bridge.core.errors import LinkError
from bridge.core.events import Button, Percent, Press

WORDS: dict[str, Meaning] = {
    "tea time": Percent(open_pct=40),
    "halt": Press(button=Button.STOP),
    "Läden zu": Press(button=Button.DOWN),
    "true": Press(button=Button.UP),
}


def listen(
    says: str | None = "percent open",
    *,
    words: Mapping[str, Meaning] | None = None,
    pointer: str | None = None,
    retained: bool = False,
) -> Listen:
    return Listen(
        topic="test/slider",
        shade="study",
        group=None,
        says=None if says is None else Says(says),
        words=words or {},
        pointer=pointer,
        source="kitchen panel",
        retained=retained,
    )


def heard(payload: bytes, *, retained: bool = False) -> Incoming:
    return Incoming(topic="test/slider", payload=payload, retained=retained)


def asks(how: Listen, payload: bytes | str) -> int | str:
    meaning = read(how, heard(payload if isinstance(payload, bytes) else payload.encode()))
    return meaning.open_pct if isinstance(meaning, Percent) else meaning.button.value


def problem(how: Listen, payload: bytes | str, *, retained: bool = False) -> str:
    raw = payload if isinstance(payload, bytes) else payload.encode()
    with pytest.raises(LinkError) as caught:
        read(how, heard(raw, retained=retained))
    assert caught.value.where == "test/slider"
    return caught.value.problem


@pytest.mark.parametrize(
    ("says", "payload", "open_pct"),
    [
        ("percent open", "0", 0),
        ("percent open", "40", 40),
        ("percent open", "100", 100),
        ("percent open", "40.0", 40),
        ("percent open", "39.5", 40),
        ("percent open", "39.49", 39),
        ("percent open", "1e2", 100),
        ("percent closed", "0", 100),
        ("percent closed", "40", 60),
        ("percent closed", "100", 0),
        ("percent closed", "60.5", 40),
        ("fraction open", "0", 0),
        ("fraction open", "0.4", 40),
        ("fraction open", "0.405", 41),
        ("fraction open", "0.145", 15),
        ("fraction open", "1", 100),
        ("fraction open", "1.0", 100),
        ("fraction open", "4e-1", 40),
        ("fraction closed", "0.4", 60),
        ("byte open", "0", 0),
        ("byte open", "102", 40),
        ("byte open", "128", 50),
        ("byte open", "254", 100),
        ("byte open", "255", 100),
        ("byte closed", "255", 0),
        ("byte closed", "51", 80),
    ],
)
def test_a_number_becomes_the_nearest_whole_percent_open_halves_up(
    says: str, payload: str, open_pct: int
) -> None:
    assert asks(listen(says), payload) == open_pct


@pytest.mark.parametrize(
    ("says", "payload", "told"),
    [
        ("percent open", b"", "the payload is empty"),
        ("percent open", b"4" * 257, "257 bytes; at most 256 are read"),
        ("percent open", b"100.4", "'100.4' is not between 0 and 100"),
        ("percent open", b"101", "'101' is not between 0 and 100"),
        ("percent open", b"-1", "'-1' is not between 0 and 100"),
        ("percent open", b"-0", "'-0' is not between 0 and 100"),
        ("percent open", b"NaN", "'NaN' is not a number"),
        ("percent open", b"Infinity", "'Infinity' is not a number"),
        ("percent open", b"1e999", "'1e999' is not a number"),
        ("percent open", b"1e99", "'1E+99' is not between 0 and 100"),
        ("percent open", "١٢".encode(), "'\\u0661\\u0662' is not a number"),
        ("percent open", b"4_0", "'4_0' is not a number"),
        ("percent open", b" 40", "' 40' is not a number"),
        ("percent open", b"40\n", "'40\\n' is not a number"),
        ("percent open", b"+40", "'+40' is not a number"),
        ("percent open", b"040", "'040' is not a number"),
        ("percent open", b"0x28", "'0x28' is not a number"),
        ("percent open", b"40%", "'40%' is not a number"),
        ("percent open", b"40,5", "'40,5' is not a number"),
        ("percent open", b".5", "'.5' is not a number"),
        ("percent open", b"40\x00", "'40\\x00' is not a number"),
        ("percent open", b"\xff40", "'\\\\xff40' is not UTF-8 text"),
        ("percent open", b"open", "'open' is not a number"),
        ("percent open", b'{"a":1}', "'{\"a\":1}' is not a number"),
        ("fraction open", b"1.01", "'1.01' is not between 0 and 1"),
        ("fraction open", b"40", "'40' is not between 0 and 1"),
        ("byte open", b"256", "'256' is not between 0 and 255"),
        ("byte open", b"127.5", "'127.5' is not a whole number"),
    ],
)
def test_what_is_no_number_in_range_is_refused_and_shown(says: str, payload: bytes, told: str) -> None:
    assert problem(listen(says), payload) == told


def test_the_owners_words_mean_what_the_owner_says() -> None:
    how = listen(None, words=WORDS)
    assert asks(how, "tea time") == 40
    assert asks(how, "halt") == "stop"
    assert asks(how, "Läden zu") == "down"


def test_there_are_no_words_but_the_owners() -> None:
    for word in ("open", "stop", "Halt", "halt ", "TEA TIME", "40"):
        assert problem(listen(None, words=WORDS), word) == (
            f"'{word}' is none of tea time, halt, Läden zu, true"
        )


def test_words_and_numbers_may_come_on_one_topic_and_a_word_goes_first() -> None:
    how = listen("percent open", words={"0": Press(button=Button.STOP), "halt": Press(button=Button.STOP)})
    assert asks(how, "40") == 40
    assert asks(how, "halt") == "stop"
    assert asks(how, "0") == "stop"
    assert problem(how, "hold") == "'hold' is not a number and none of 0, halt"


@pytest.mark.parametrize(
    ("document", "pointer", "open_pct"),
    [
        ({"position": 40}, "/position", 40),
        ({"position": 40.4}, "/position", 40),
        ({"position": "40"}, "/position", 40),
        ({"rooms": [{"level": 7}, {"level": 9}]}, "/rooms/1/level", 9),
        ({"a/b": {"m~n": 3}}, "/a~1b/m~0n", 3),
        ({"": 5}, "/", 5),
        (40, "", 40),
        ("40", "", 40),
    ],
)
def test_a_json_pointer_leads_to_the_number(document: object, pointer: str, open_pct: int) -> None:
    assert asks(listen(pointer=pointer), json.dumps(document)) == open_pct


def test_a_pointer_leads_into_every_kind_of_reading() -> None:
    assert asks(listen("fraction closed", pointer="/v"), '{"v": 0.25}') == 75
    assert asks(listen("byte open", pointer="/v"), '{"v": 51}') == 20
    assert asks(listen(None, words=WORDS, pointer="/do"), '{"do": "halt"}') == "stop"
    assert asks(listen(None, words=WORDS, pointer="/do"), '{"do": true}') == "up"


@pytest.mark.parametrize(
    "payload",
    ['{"battery": 90}', "[]", '["a"]', "40", '{"position": 40}', '{"list": [1]}'],
)
def test_a_message_about_something_else_is_told_apart(payload: str) -> None:
    with pytest.raises(AbsentError) as caught:
        read(listen(pointer="/list/01"), heard(payload.encode()))
    assert caught.value.problem == "it has nothing at '/list/01'"


@pytest.mark.parametrize(
    ("payload", "told"),
    [
        ('{"v": null}', "at '/v' is null, not a number or a word"),
        ('{"v": {}}', "at '/v' is an object, not a number or a word"),
        ('{"v": [40]}', "at '/v' is an array, not a number or a word"),
        ('{"v": true}', "'true' is not a number"),
        ('{"v": NaN}', "NaN is not a number"),
        ('{"v": 1e999}', "1e999 is not a finite number"),
        ('{"v": 101}', "'101' is not between 0 and 100"),
        ('{"v": "\\ud800"}', '\'{"v": "\\\\ud800"}\' is not UTF-8 text'),
        ('{"v": 1, "v": 2}', "the key 'v' is given twice"),
        ("{", "'{' is not JSON at character 1"),
        ("[" * 5000, f"'{'[' * 40}'... (5000 bytes) is nested too deep"),
        ("9" * 9000, "9000 bytes; at most 8192 are read"),
    ],
)
def test_a_document_without_a_fit_value_is_refused(payload: str, told: str) -> None:
    assert problem(listen(pointer="/v"), payload) == told


def test_a_retained_message_counts_only_where_the_owner_says_so() -> None:
    with pytest.raises(LinkError) as caught:
        read(listen(), heard(b"40", retained=True))
    assert caught.value.problem == "it is retained: a wish of unknown age moves no shade"
    assert caught.value.remedy == ("publish it without retaining, or write retained = true in its [[listen]]")
    assert read(listen(retained=True), heard(b"40", retained=True)) == Percent(open_pct=40)


def test_a_topic_is_subscribed_once_with_its_own_quality_of_service() -> None:
    one = Listen(topic="a", shade="study", group=None, says=Says.BYTE_OPEN, source="a", qos=2)
    other = Listen(topic="a", shade="attic", group=None, says=Says.BYTE_OPEN, source="a", qos=2)
    kept = Listen(topic="b", shade="attic", group=None, says=Says.BYTE_OPEN, source="b", retained=True)
    assert subscriptions([one, other, kept]) == (
        Subscription(topic="a", live=True, qos=2),
        Subscription(topic="b", live=False, qos=1),
    )


@pytest.mark.parametrize("pointer", ["", "/", "/a", "/a/0", "/~0~1", "//", "/ä b"])
def test_these_are_json_pointers(pointer: str) -> None:
    assert is_pointer(pointer)


@pytest.mark.parametrize("pointer", ["a", "a/b", "/~", "/~2", "#/a", " /a"])
def test_these_are_none(pointer: str) -> None:
    assert not is_pointer(pointer)


def test_a_way_through_a_document_is_written_as_a_pointer() -> None:
    assert to_pointer(("a/b", "m~n", "0", "")) == "/a~1b/m~0n/0/"
    assert to_pointer(()) == ""


def test_a_word_means_a_percent_or_a_button() -> None:
    assert word_means(0) == Percent(open_pct=0)
    assert word_means(100) == Percent(open_pct=100)
    assert word_means("down") == Press(button=Button.DOWN)
    others: list[object] = [101, -1, 40.0, True, "open", None, []]
    assert not any(word_means(other) for other in others)
