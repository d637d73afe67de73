"""What each thing that was looked at is called, how much it matters, and what to do about it."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction

import pytest

from bridge.core.checkup import (
    CertificateSeen,
    ChannelSeen,
    Finding,
    Grade,
    RightSeen,
    Seen,
    findings,
    to_put_right,
)

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
WELL = Seen(
    now_utc=NOW,
    clock_set=True,
    rights=(RightSeen(topic="shade-boards/claim", passes=True),),
    stranger=False,
    need_bytes=900,
    passed=True,
    remembers=True,
    bridge_state="ready",
    claims=(("hembar-1", 4),),
    boards=(("attic", "up"),),
    channels=(
        ChannelSeen(
            board="attic",
            channel=0,
            shade="study",
            version=1,
            term=4,
            pulses_per_turn=Fraction(45600, 11),
            settings_pulses_per_turn=Fraction(45600, 11),
        ),
    ),
)


def of(seen: Seen, subject: str) -> Finding:
    (found,) = [each for each in findings(seen) if each.subject == subject]
    return found


def test_a_house_in_order_has_only_fine_findings() -> None:
    assert {each.grade for each in findings(WELL)} == {Grade.FINE}


CHANNEL = WELL.channels[0]
ENDS = NOW + timedelta(days=400)


@pytest.mark.parametrize(
    ("changes", "subject", "grade", "text"),
    [
        ({"clock_set": False}, "clock", Grade.ADVICE, "nothing keeps the clock right"),
        ({"clock_set": None}, "clock", Grade.UNTOLD, "can't be told"),
        ({"encrypted": False}, "way to the broker", Grade.ADVICE, "unencrypted"),
        (
            {"rights": (RightSeen(topic="a/order", passes=False),)},
            "right to publish a/order",
            Grade.FAULT,
            "denies it, without a word",
        ),
        (
            {"rights": (RightSeen(topic="a", passes=None), RightSeen(topic="b", passes=None))},
            "rights at the broker",
            Grade.UNTOLD,
            "lets a and 1 more through",
        ),
        (
            {"rights": (RightSeen(topic="t/+/+/set", passes=False, hear=True),)},
            "right to hear t/+/+/set",
            Grade.FAULT,
            "denies it, without a word",
        ),
        ({"stranger": True, "stranger_orders": True}, "strangers", Grade.ADVICE, "without a name"),
        ({"stranger": True, "stranger_orders": False}, "strangers", Grade.FINE, "no order of theirs"),
        (
            {"retained_orders": ("shade-boards/attic/0/order",)},
            "retained order on shade-boards/attic/0/order",
            Grade.FAULT,
            "no bridge of ours",
        ),
        ({"retained_wishes": ("t/set",)}, "retained request on t/set", Grade.ADVICE, "refused each time"),
        ({"passed": False, "packet_max": 800}, "message size", Grade.FAULT, "900 bytes (it takes 800)"),
        ({"passed": False}, "message size", Grade.FAULT, "swallows the house's description of 900 bytes"),
        ({"remembers": False}, "broker's memory", Grade.FAULT, "forgot what was retained"),
        ({"remembers": None}, "broker's memory", Grade.UNTOLD, "after its next one"),
        ({"claims": (("one", 4), ("two", 4))}, "bridge in charge", Grade.FAULT, "2 bridges claim"),
        ({"bridge_state": ""}, "bridge in charge", Grade.ADVICE, "not at work (never seen)"),
        ({"bridge_state": "lost"}, "bridge in charge", Grade.ADVICE, "not at work (lost)"),
        ({"alerts": ("two of us",)}, "alert of the bridge", Grade.FAULT, "two of us"),
        ({"boards": (("attic", "lost"),)}, "board attic", Grade.FAULT, "its link says lost"),
        ({"boards": (("attic", ""),)}, "board attic", Grade.FAULT, "never been heard"),
        ({"strange_boards": ("shed",)}, "board shed", Grade.ADVICE, "not in the settings"),
        (
            {"channels": (replace(CHANNEL, version=None),)},
            "board attic, channel 0",
            Grade.FAULT,
            "can't be read",
        ),
        ({"channels": (replace(CHANNEL, version=2),)}, "board attic, channel 0", Grade.FAULT, "version 2"),
        (
            {"channels": (replace(CHANNEL, missing=("term", "stalls")),)},
            "board attic, channel 0",
            Grade.ADVICE,
            "leave out term, stalls",
        ),
        (
            {"channels": (replace(CHANNEL, pulses_per_turn=Fraction(4000)),)},
            "board attic, channel 0",
            Grade.FAULT,
            "counts 4000 pulses a turn and the settings of study say 45600/11",
        ),
        (
            {"certificates": (CertificateSeen(whose="the broker", until_utc=NOW),)},
            "certificate of the broker",
            Grade.FAULT,
            "expired on 2026-06-01",
        ),
        (
            {"certificates": (CertificateSeen(whose="the bridge", until_utc=NOW + timedelta(days=29)),)},
            "certificate of the bridge",
            Grade.ADVICE,
            "in 29 days",
        ),
        (
            {"certificates": (CertificateSeen(whose="the bridge", until_utc=NOW + timedelta(days=6)),)},
            "certificate of the bridge",
            Grade.FAULT,
            "in 6 days",
        ),
        (
            {"certificates": (CertificateSeen(whose="your CA", until_utc=ENDS),)},
            "certificate of your CA",
            Grade.FINE,
            "good until 2027-07-06",
        ),
    ],
)
def test_each_thing_that_is_not_well_is_named_with_its_weight(
    changes: dict[str, object], subject: str, grade: Grade, text: str
) -> None:
    found = of(replace(WELL, **changes), subject)  # type: ignore[arg-type]  # one field of many kinds
    assert found.grade is grade
    assert text in found.text
    assert bool(found.remedy) == (grade in (Grade.ADVICE, Grade.FAULT))


def test_a_board_that_has_obeyed_a_higher_term_tells_of_another_bridge() -> None:
    seen = replace(WELL, channels=(replace(CHANNEL, term=9),))
    found = [each for each in findings(seen) if each.grade is Grade.FAULT]
    assert ["term 9, above the 4" in each.text for each in found] == [True]


def test_what_a_bridge_at_work_tells_by_itself_leaves_out_what_is_well_and_boards_that_are_away() -> None:
    assert to_put_right(WELL) == ()
    topic = "shade-boards/attic/0/order"
    seen = replace(WELL, clock_set=None, boards=(("attic", "lost"),), retained_orders=(topic,), passed=False)
    assert [each.subject for each in to_put_right(seen)] == [f"retained order on {topic}", "message size"]
