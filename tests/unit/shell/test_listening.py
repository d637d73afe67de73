"""What the owner's topics ask of the house, and what is said of messages that ask nothing."""

from datetime import UTC, datetime
from typing import Any, cast

import pytest
from structlog.typing import FilteringBoundLogger

from bridge.adapters.broker.listen import Listen, Says
from bridge.adapters.broker.messages import Incoming
from bridge.core.events import Asked, Event, GroupAsked, Percent, TopicHeard
from bridge.core.values import Moment, Rank
from bridge.shell.listening import LINES_APART_S, Listening


class Log:
    def __init__(self) -> None:
        self.lines: list[tuple[str, str, dict[str, Any]]] = []
        self.warned: list[tuple[str, str]] = []

    def warn(self, of: str, text: str) -> None:
        self.warned.append((of, text))

    def warning(self, event: str, **fields: Any) -> None:
        self.lines.append(("warning", event, fields))

    def debug(self, event: str, **fields: Any) -> None:
        self.lines.append(("debug", event, fields))


@pytest.fixture
def log() -> Log:
    return Log()


def at(mono_s: float = 0.0) -> Moment:
    return Moment(utc=datetime(2026, 3, 1, tzinfo=UTC), mono_s=mono_s)


def table(shade: str | None = "study", **changed: Any) -> Listen:
    values: dict[str, Any] = {
        "topic": "panel/level",
        "shade": shade,
        "group": None,
        "says": Says.PERCENT_OPEN,
        "source": "kitchen panel",
        **changed,
    }
    return Listen(**values)


def listening(log: Log, *tables: Listen) -> Listening:
    return Listening(tables, cast(FilteringBoundLogger, log), log.warn)


def said(payload: str, *, retained: bool = False, topic: str = "panel/level") -> Incoming:
    return Incoming(topic=topic, payload=payload.encode(), retained=retained)


def events(ears: Listening, message: Incoming, heard: dict[str, str] | None = None) -> list[Event]:
    return list(ears.events(message, at(), heard or {}))


def test_a_number_asks_the_shade_by_hand_and_names_its_source(log: Log) -> None:
    assert events(listening(log, table()), said("40")) == [
        Asked(at=at(), shade="study", want=Percent(open_pct=40), rank=Rank.HAND, source="kitchen panel")  # type: ignore[arg-type]  # a plain text
    ]
    assert log.lines == []


def test_a_group_is_asked_as_a_group(log: Log) -> None:
    asked = events(listening(log, table(None, group="south")), said("40"))
    assert asked == [
        GroupAsked(at=at(), group="south", want=Percent(open_pct=40), rank=Rank.HAND, source="kitchen panel")  # type: ignore[arg-type]  # a plain text
    ]


def test_only_the_owners_topics_are_heard(log: Log) -> None:
    ears = listening(log, table())
    assert ears.hears("panel/level")
    assert not ears.hears("panel")
    assert not ears.hears("panel/level/x")


def test_every_table_of_a_topic_gets_its_turn(log: Log) -> None:
    ears = listening(log, table(pointer="/left"), table("attic", pointer="/right"))
    asked = events(ears, said('{"left": 10, "right": 20}'))
    assert [(each.shade, each.want) for each in asked if isinstance(each, Asked)] == [
        ("study", Percent(open_pct=10)),
        ("attic", Percent(open_pct=20)),
    ]
    assert len(events(ears, said('{"right": 20}'))) == 1
    assert log.lines == []


def test_a_message_that_nobody_can_read_is_logged_with_its_remedy(log: Log) -> None:
    assert events(listening(log, table()), said("NaN")) == []
    assert log.lines == [
        (
            "warning",
            "listen.message.refused",
            {
                "topic": "panel/level",
                "problem": "'NaN' is not a number",
                "remedy": "it was ignored",
                "payload": "NaN",
                "retained": False,
                "untold": 0,
            },
        )
    ]


def test_whoever_watches_a_shade_or_group_is_told_what_was_not_understood(log: Log) -> None:
    tables = (table(), table(None, group="south"), table("hall", pointer="/level"))
    assert events(listening(log, *tables), said("NaN")) == []
    text = "a message on panel/level was refused: 'NaN' is not a number"
    assert ("study", text) in log.warned
    assert ("south", text) in log.warned
    assert "hall" in [of for of, _ in log.warned]
    assert len(log.lines) == 1


def test_whoever_watches_a_shade_that_understood_is_told_nothing(log: Log) -> None:
    tables = (table(), table("hall", says=Says.FRACTION_OPEN))
    assert len(events(listening(log, *tables), said("40"))) == 1
    assert [of for of, _ in log.warned] == ["hall"]


def test_a_document_without_any_of_the_values_is_logged_too(log: Log) -> None:
    assert events(listening(log, table(pointer="/left")), said("{}")) == []
    assert log.lines[0][2]["problem"] == "it has nothing at '/left'"


def test_a_bad_value_beside_a_good_one_is_logged(log: Log) -> None:
    ears = listening(log, table(pointer="/left"), table("attic", pointer="/right"))
    assert len(events(ears, said('{"left": 10, "right": 200}'))) == 1
    assert log.lines[0][2]["problem"] == "'200' is not between 0 and 100"


def test_a_topic_full_of_rubbish_is_logged_now_and_then_and_counted(log: Log) -> None:
    ears = listening(log, table())
    for mono_s in (0.0, 0.1, LINES_APART_S - 0.1, LINES_APART_S, LINES_APART_S + 1):
        list(ears.events(said("x"), at(mono_s), {}))
    assert [fields["untold"] for _, _, fields in log.lines] == [0, 2]


def test_a_retained_message_is_refused_where_the_owner_says_nothing(log: Log) -> None:
    assert events(listening(log, table()), said("40", retained=True)) == []
    assert log.lines[0][2]["retained"] is True
    assert log.lines[0][2]["problem"] == "it is retained: a wish of unknown age moves no shade"


def test_an_accepted_retained_message_is_remembered_before_it_asks(log: Log) -> None:
    ears = listening(log, table(retained=True))
    first, second = events(ears, said("40", retained=True))
    assert isinstance(first, TopicHeard)
    assert isinstance(second, Asked)
    assert events(ears, said("40", retained=True), {"panel/level": first.mark}) == []
    assert len(events(ears, said("41", retained=True), {"panel/level": first.mark})) == 2


def test_a_retained_message_older_than_one_that_waited_is_not_new(log: Log) -> None:
    ears = listening(log, table(retained=True))
    old = next(each.mark for each in events(ears, said("80")) if isinstance(each, TopicHeard))
    ears.begin({"panel/level": old})
    waited = next(each.mark for each in events(ears, said("70")) if isinstance(each, TopicHeard))
    assert events(ears, said("80", retained=True), {"panel/level": waited}) == []
    assert len(events(ears, said("90", retained=True), {"panel/level": waited})) == 2


def test_the_same_value_said_live_asks_again(log: Log) -> None:
    ears = listening(log, table(retained=True))
    mark = next(each.mark for each in events(ears, said("40")) if isinstance(each, TopicHeard))
    assert len(events(ears, said("40"), {"panel/level": mark})) == 2


def test_each_topic_is_subscribed_once(log: Log) -> None:
    ears = listening(log, table(pointer="/left"), table("attic", pointer="/right"), table(topic="a"))
    assert sorted(each.topic for each in ears.subscriptions()) == ["a", "panel/level"]
