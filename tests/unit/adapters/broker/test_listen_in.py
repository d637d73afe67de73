"""What is proposed from what was heard; each proposal is read by the settings that it makes."""

import json
from collections.abc import Sequence
from typing import Any

import pytest

from bridge.adapters.broker.listen import Listen, read
from bridge.adapters.broker.listen_in import Proposal, propose
from bridge.adapters.broker.messages import Incoming
from bridge.core.events import Button, Percent, Press


def heard(*payloads: Any, retained: bool = False) -> list[Incoming]:
    texts = [each if isinstance(each, str) else json.dumps(each) for each in payloads]
    return [Incoming(topic="t", payload=text.encode(), retained=retained) for text in texts]


def as_proposed(found: Proposal) -> Listen:
    return Listen(
        topic="t",
        shade="study",
        group=None,
        says=found.says,
        words={word: Press(button=Button.STOP) for word in found.words},
        pointer=found.pointer,
        source="t",
        retained=found.retained,
    )


@pytest.mark.parametrize(
    ("payloads", "says", "ends"),
    [
        (["0", "30", "61", "100"], "percent open", (0, 100)),
        (["100", "55.5", "3"], "percent closed", (0, 97)),
        (["0", "0.25", "1"], "fraction open", (0, 100)),
        (["0.9", "0.1"], "fraction closed", (10, 90)),
        (["0", "101", "255"], "byte open", (0, 100)),
        (["254", "3"], "byte closed", (0, 99)),
    ],
)
def test_the_range_of_the_numbers_and_their_way_tell_what_they_say(
    payloads: Sequence[str], says: str, ends: tuple[int, int]
) -> None:
    found = propose(heard(*payloads))
    assert found.says == says
    wishes = [read(as_proposed(found), message) for message in heard(*payloads)]
    percents = [wish.open_pct for wish in wishes if isinstance(wish, Percent)]
    assert (min(percents), max(percents)) == ends
    assert percents == sorted(percents), "from lowered to raised, as the person was told"


def test_the_direction_is_a_remark_that_names_the_other_one() -> None:
    assert propose(heard("0", "100")).remarks == (
        'they rose from 0 to 100 on the way to raised; if you lowered it: "percent closed"',
    )


def test_an_unknown_direction_is_said_to_be_unknown() -> None:
    found = propose(heard("40", "100", "40"))
    assert found.remarks == (
        'the direction is not known: the first and the last were both 40; or "percent closed"',
    )


def test_an_end_that_was_not_seen_is_a_remark() -> None:
    found = propose(heard("3", "83"))
    assert found.remarks[1] == "the highest was 83; at the end of a percent slider it is 100"


@pytest.mark.parametrize("payloads", [["-5", "50"], ["0", "1023"], ["0.5", "180.5"]])
def test_numbers_of_another_range_are_not_forced_into_one(payloads: Sequence[str]) -> None:
    found = propose(heard(*payloads))
    assert not found.fits
    assert "fit neither percent (0 to 100), fraction (0 to 1) nor byte (0 to 255, whole)" in found.remarks[0]


def test_words_are_proposed_as_they_were_spelt() -> None:
    found = propose(heard("auf", "Stop!", "auf", "zu"))
    assert found.words == ("auf", "Stop!", "zu")
    assert found.says is None


def test_words_among_numbers_are_taken_beside_them() -> None:
    found = propose(heard("10", "90", "STOP", "100"))
    assert (found.says, found.words) == ("percent open", ("STOP",))


def test_a_switch_is_taken_as_words() -> None:
    found = propose(heard("0", "1", "0"))
    assert found.words == ("0", "1")
    assert found.remarks == (
        "only 0 and 1 were seen, so they are taken as words; if this is a slider, move it slowly",
    )


def test_too_many_texts_are_no_words() -> None:
    found = propose(heard(*[f"text {n}" for n in range(13)]))
    assert not found.fits
    assert found.remarks == ("13 different texts are more than a few words",)


def test_what_changes_in_a_document_gives_the_pointer() -> None:
    found = propose(heard(*({"state": "on", "rooms": [{"a/b": v}], "n": 7} for v in (0, 120, 255))))
    assert (found.pointer, found.says, found.others) == ("/rooms/0/a~1b", "byte open", ())


def test_the_value_that_covers_its_range_goes_before_one_that_flickers() -> None:
    found = propose(heard(*({"signal": s, "level": v} for s, v in ((40, 0), (43, 55), (41, 99)))))
    assert (found.pointer, found.others) == ("/level", ("/signal",))


def test_a_number_goes_before_words() -> None:
    found = propose(heard({"do": "go", "to": 3}, {"do": "went", "to": 97}))
    assert (found.pointer, found.others) == ("/to", ("/do",))


def test_words_in_a_document_and_a_document_that_is_a_word() -> None:
    assert propose(heard({"do": "auf"}, {"do": "zu"})).words == ("auf", "zu")
    bare = propose(heard('"auf"', '"zu"'))
    assert (bare.pointer, bare.words) == ("", ("auf", "zu"))


def test_a_document_that_did_not_change_is_proposed_with_a_remark() -> None:
    found = propose(heard({"level": 40}))
    assert found.pointer == "/level"
    assert found.remarks[-1] == "nothing changed in the document while it was watched"


def test_a_sender_that_retains_is_noticed() -> None:
    assert propose(heard("1", "50", retained=True)).retained
    assert not propose(heard("1", "50")).retained


def test_silence_and_rubbish_propose_nothing() -> None:
    assert propose([]) == Proposal(
        remarks=("nothing was published there meanwhile; check how the topic is spelt",)
    )
    rubbish = [Incoming(topic="t", payload=payload, retained=False) for payload in (b"\xff", b"", b"x" * 300)]
    assert not propose(rubbish).fits
    assert not propose(heard({}, [], {"a": None})).fits


def test_documents_among_numbers_are_said_to_be_refused() -> None:
    found = propose(heard("0", "100", {"a": 1}))
    assert found.says == "percent open"
    assert found.remarks[-1] == "some messages are of another kind and would be refused"
