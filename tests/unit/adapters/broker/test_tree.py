import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest

from bridge.adapters.broker.homie import State
from bridge.adapters.broker.messages import Incoming, Publication, Subscription
from bridge.adapters.broker.tree import Confirming, Refused, Request, Switching, Tree, Wanted, WantedOfGroup
from bridge.adapters.doors import LIMIT_BYTES
from bridge.core.events import Button, Nudge, Percent, Place, Press, Release, Switch, Want
from bridge.core.outcome import Level
from bridge.core.outlook import Alert, BoardState, Motion, ShadeOutlook
from bridge.core.overview import BridgeOutlook, GroupOutlook
from bridge.core.position.estimate import Grade
from bridge.core.values import GroupId, ShadeId

STUDY, HALL = ShadeId("study"), ShadeId("hall")
TREE = Tree(root="weir", name="Weir house", version="1.2", shades=((STUDY, "Study"), (HALL, "Hall")))
UP = GroupId("up")
GROUPED = replace(TREE, groups=((UP, "Upstairs"),))
GROUP = GroupOutlook(
    id=UP,
    name="Upstairs",
    members=(STUDY, HALL),
    position_pct=40,
    target_pct=50,
    motion=Motion.RAISING,
    reason="asked for 50 %",
    board=BoardState.UP,
)
BRIDGE = BridgeOutlook(paused=False, locked=True, in_charge=True, term=7, alerts=())


def outlook(shade: ShadeId = STUDY, **changes: Any) -> ShadeOutlook:
    plain = ShadeOutlook(
        id=shade,
        name="Study",
        position_pct=40,
        target_pct=40,
        low_pct=39.5,
        high_pct=40.5,
        width_mm=18.0,
        low_steps=100,
        high_steps=120,
        grade=Grade.REFERENCED,
        motion=Motion.STILL,
        reason="asked for 40 %",
        until=None,
        board=BoardState.UP,
        alerts=(),
    )
    return replace(plain, **changes)


def shown(**changes: Any) -> dict[str, bytes]:
    prefix = "homie/5/weir-study/"
    return {topic.removeprefix(prefix): value for topic, value in TREE.values(outlook(**changes)).items()}


def test_a_shade_s_values_are_the_outlook_s() -> None:
    assert shown() == {
        "opening/position/$target": b"40",
        "opening/position": b"40",
        "opening/motion": b"still",
        "knowledge/grade": b"referenced",
        "knowledge/low": b"39.5",
        "knowledge/high": b"40.5",
        "knowledge/width": b"18.0",
        "reason/text": b"asked for 40 %",
        "reason/until": b"",
        "service/active": b"true",
        "$alert/charge": b"",
        "$alert/board": b"",
        "$alert/drive": b"",
        "$alert/request": b"",
        "$alert/reference": b"",
        "$alert/sensors": b"",
        "$state": b"ready",
    }


def test_every_value_has_a_described_property() -> None:
    publications, _ = TREE.opening([outlook()])
    [described] = [json.loads(p.payload) for p in publications if p.topic.endswith("study/$description")]
    for levels in shown():
        if not levels.startswith("$"):
            node, name, *_ = levels.split("/")
            assert name in described["nodes"][node]["properties"]


def test_an_unknown_shade_shows_no_percent() -> None:
    said = shown(position_pct=None, target_pct=None, grade=Grade.UNKNOWN)
    assert said["opening/position"] == said["opening/position/$target"] == b""


def test_without_a_request_the_target_is_where_the_shade_is() -> None:
    # The convention: `$target` is used for every value update, the first included, or never.
    assert shown(target_pct=None, position_pct=73)["opening/position/$target"] == b"73"


@pytest.mark.parametrize(
    ("low", "high", "width", "said"),
    [
        (39.51, 40.51, 18.01, (b"39.5", b"40.6", b"18.1")),
        (-0.01, 100.01, 0.0, (b"-0.1", b"100.1", b"0.0")),
        (-0.0, -0.04, 1e-9, (b"0.0", b"0.0", b"0.1")),
        (12.3, 12.3, 1234567.0, (b"12.3", b"12.3", b"1234567.0")),
    ],
)
def test_bounds_are_rounded_outwards(
    low: float, high: float, width: float, said: tuple[bytes, bytes, bytes]
) -> None:
    values = shown(low_pct=low, high_pct=high, width_mm=width)
    assert (values["knowledge/low"], values["knowledge/high"], values["knowledge/width"]) == said


def test_the_end_of_a_hold_is_shown_in_utc() -> None:
    until = datetime(2026, 11, 25, 9, 30, 5, tzinfo=timezone(timedelta(hours=2)))
    assert shown(until=until)["reason/until"] == b"2026-11-25T07:30:05Z"


@pytest.mark.parametrize(
    ("board", "state"),
    [
        (BoardState.UNHEARD, b"init"),
        (BoardState.ASKED, b"ready"),
        (BoardState.UP, b"ready"),
        (BoardState.LOST, b"lost"),
        (BoardState.OFF, b"lost"),
    ],
)
def test_a_shade_is_lost_with_its_board(board: BoardState, state: bytes) -> None:
    assert shown(board=board)["$state"] == state


def test_a_tree_opens_root_first_and_is_ready_last() -> None:
    publications, _ = TREE.opening([outlook(), outlook(HALL, board=BoardState.LOST)])
    states = [(p.topic, p.payload) for p in publications if p.topic.endswith("$state")]
    assert states == [
        ("homie/5/weir/$state", b"init"),
        ("homie/5/weir-study/$state", b"init"),
        ("homie/5/weir-study/$state", b"ready"),
        ("homie/5/weir-hall/$state", b"init"),
        ("homie/5/weir-hall/$state", b"lost"),
        ("homie/5/weir/$state", b"ready"),
    ]
    topics = [p.topic for p in publications]
    start, end = topics.index("homie/5/weir-study/$state"), topics.index("homie/5/weir-hall/$state")
    assert topics[start + 1] == "homie/5/weir-study/$description"
    assert topics[end - 1] == "homie/5/weir-study/$state"
    assert all(p.retain and p.qos == 1 for p in publications)


def test_only_what_differs_is_published_again_target_first() -> None:
    _, before = TREE.opening([outlook(), outlook(HALL)])
    moving = outlook(position_pct=41, target_pct=80, motion=Motion.RAISING)
    publications, news = TREE.update(before, moving)
    assert [(p.topic, p.payload) for p in publications] == [
        ("homie/5/weir-study/opening/position/$target", b"80"),
        ("homie/5/weir-study/opening/position", b"41"),
        ("homie/5/weir-study/opening/motion", b"raising"),
    ]
    assert TREE.update({**before, **news}, moving) == ((), {})
    assert TREE.update({**before, **news}, outlook(HALL)) == ((), {})


def test_a_position_that_becomes_unknown_is_deleted_once() -> None:
    _, before = TREE.opening([outlook()])
    unknown = outlook(position_pct=None, target_pct=None)
    publications, news = TREE.update(before, unknown)
    assert {p.payload for p in publications} == {b""}
    assert TREE.update({**before, **news}, unknown)[0] == ()


@pytest.mark.parametrize(
    ("want", "topic", "payload", "retain"),
    [
        (Percent(open_pct=0), "opening/position/$target", b"0", True),
        (Nudge(by_pct=-5), "opening/nudge", b"-5", False),
        (Press(button=Button.STOP), "opening/button", b"stop", False),
        (Release(), "reason/release", b"release", False),
        (Place.UPPER, "knowledge/confirm", b"upper", False),
    ],
)
def test_a_request_that_was_taken_is_told(
    want: Want | Place, topic: str, payload: bytes, retain: bool
) -> None:
    assert TREE.accepted(STUDY, want) == Publication(
        topic=f"homie/5/weir-study/{topic}", payload=payload, retain=retain, qos=1 if retain else 0
    )


def test_a_refusal_names_the_request_that_it_answers() -> None:
    refused = read("weir-study/opening/position/set", b"101")
    assert isinstance(refused, Refused)
    assert TREE.refused(refused) == Publication(
        topic="homie/5/weir-study/$log/warn",
        payload=b"refused: opening/position '101': 101 is not between 0 and 100",
    )
    assert TREE.declined(STUDY, Press(button=Button.UP), "it is unknown where it is") == Publication(
        topic="homie/5/weir-study/$log/warn",
        payload=b"refused: opening/button 'up': it is unknown where it is",
    )


def test_a_log_line_is_never_retained() -> None:
    assert TREE.log(STUDY, Level.WARNING, "no") == Publication(
        topic="homie/5/weir-study/$log/warn", payload=b"no", qos=1, retain=False
    )
    assert TREE.log(None, Level.ERROR, "no").topic == "homie/5/weir/$log/error"


def test_the_root_tells_its_own_state() -> None:
    assert TREE.state(State.LOST) == Publication(
        topic="homie/5/weir/$state", payload=b"lost", qos=1, retain=True
    )


def test_what_can_be_set_is_subscribed_live() -> None:
    assert TREE.subscriptions() == (
        Subscription(topic="homie/5/weir/+/+/set", live=True),
        Subscription(topic="homie/5/weir-study/+/+/set", live=True),
        Subscription(topic="homie/5/weir-hall/+/+/set", live=True),
        Subscription(topic="homie/5/+/$description"),
    )


def read(levels: str, payload: bytes, *, retained: bool = False) -> Request | Refused | None:
    return TREE.read_set(Incoming(topic=f"homie/5/{levels}", payload=payload, retained=retained))


@pytest.mark.parametrize(
    ("levels", "payload", "want"),
    [
        ("opening/position", b"0", Percent(open_pct=0)),
        ("opening/position", b"100", Percent(open_pct=100)),
        ("opening/nudge", b"-100", Nudge(by_pct=-100)),
        ("opening/nudge", b"100", Nudge(by_pct=100)),
        ("opening/button", b"up", Press(button=Button.UP)),
        ("opening/button", b"stop", Press(button=Button.STOP)),
        ("opening/button", b"down", Press(button=Button.DOWN)),
        ("reason/release", b"release", Release()),
    ],
)
def test_a_plain_payload_is_a_want(levels: str, payload: bytes, want: Want) -> None:
    assert read(f"weir-study/{levels}/set", payload) == Wanted(shade=STUDY, want=want)


@pytest.mark.parametrize("place", list(Place))
def test_a_person_confirms_a_limit(place: Place) -> None:
    assert read("weir-hall/knowledge/confirm/set", place.encode()) == Confirming(shade=HALL, place=place)


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"-1",
        b"101",
        b"NaN",
        b"nan",
        b"1e999",
        b"1e1",
        b"Infinity",
        b"5x0",
        b"1_0",
        b"+5",
        b" 5",
        b"5\n",
        b"40.0",
        b"040",
        "\u0665".encode(),
        "\u0661\u0662".encode(),
        b"\xff\xfe",
        b"9" * 300_000,
        b"[" * 10_000,
        b'{"position":40}',
        b"true",
    ],
)
@pytest.mark.parametrize("levels", ["opening/position", "opening/nudge", "opening/button", "reason/release"])
def test_rubbish_is_refused_with_a_short_reason(levels: str, payload: bytes) -> None:
    if (levels, payload) == ("opening/nudge", b"-1"):
        return
    refused = read(f"weir-study/{levels}/set", payload)
    assert isinstance(refused, Refused)
    assert refused.of == STUDY
    assert 0 < len(refused.reason) < 200
    assert refused.reason.isascii()


def test_a_refusal_shows_what_was_wrong() -> None:
    assert read("weir-study/opening/position/set", b"101") == Refused(
        of=STUDY,
        topic="homie/5/weir-study/opening/position/set",
        payload=b"101",
        reason="101 is not between 0 and 100",
    )


@pytest.mark.parametrize("payload", [b"40", b""])
def test_a_retained_wish_is_refused_whatever_it_says(payload: bytes) -> None:
    refused = read("weir-study/opening/position/set", payload, retained=True)
    assert isinstance(refused, Refused)
    assert refused.reason == "it is retained: a wish of unknown age moves no shade"


@pytest.mark.parametrize(
    "levels", ["opening/motion", "knowledge/grade", "no/such", "opening/position/$target"]
)
def test_what_cannot_be_set_is_not_set(levels: str) -> None:
    refused = read(f"weir-study/{levels}/set", b"40")
    assert refused is None or isinstance(refused, Refused)


def test_of_the_bridge_only_its_switches_can_be_set() -> None:
    refused = read("weir/software/version/set", b"2")
    assert isinstance(refused, Refused)
    assert refused.of is None


@pytest.mark.parametrize(
    "levels", ["other/opening/position/set", "weir-attic/opening/position/set", "weir-study"]
)
def test_topics_of_others_are_left_alone(levels: str) -> None:
    assert read(levels, b"40") is None


def test_a_tree_may_stand_under_a_longer_topic() -> None:
    tree = replace(TREE, domain="house/homie")
    message = Incoming(topic="house/homie/5/weir-study/opening/position/set", payload=b"101", retained=False)
    refused = tree.read_set(message)
    assert isinstance(refused, Refused)
    assert tree.refused(refused).topic == "house/homie/5/weir-study/$log/warn"
    assert tree.refused(refused).payload.startswith(b"refused: opening/position '101': ")
    assert TREE.read_set(message) is None


def described(device: str, payload: bytes) -> Incoming:
    return Incoming(topic=f"homie/5/{device}/$description", payload=payload, retained=True)


def test_the_device_of_a_shade_that_is_gone_is_deleted_state_first() -> None:
    before = replace(TREE, shades=(*TREE.shades, (ShadeId("attic"), "Attic")))
    publications, _ = before.opening([outlook(ShadeId("attic"))])
    kept = {p.topic for p in publications if p.topic.startswith("homie/5/weir-attic/")}
    [description] = [p.payload for p in publications if p.topic == "homie/5/weir-attic/$description"]
    removal = TREE.remnants(described("weir-attic", description))
    assert removal[0].topic == "homie/5/weir-attic/$state"
    assert kept <= {p.topic for p in removal}
    assert all(p.retain and p.payload == b"" for p in removal)


@pytest.mark.parametrize(
    ("device", "payload"),
    [
        ("weir-study", b'{"root":"weir"}'),
        ("weir", b'{"root":"weir"}'),
        ("dam-attic", b'{"root":"weir"}'),
        ("weir-attic", b'{"root":"dam"}'),
        ("weir-attic", b"{"),
        ("weir-attic", b"[]"),
        ("weir-attic", b""),
    ],
)
def test_no_other_device_is_deleted(device: str, payload: bytes) -> None:
    assert TREE.remnants(described(device, payload)) == ()


def test_only_descriptions_lead_to_a_deletion() -> None:
    message = Incoming(topic="homie/5/weir-attic/$state", payload=b"ready", retained=True)
    assert TREE.remnants(message) == ()


def test_an_instant_of_another_zone_stays_the_same_instant() -> None:
    utc = datetime(2026, 11, 25, 7, 30, 5, tzinfo=UTC)
    assert shown(until=utc) == shown(until=utc.astimezone(timezone(timedelta(hours=-9))))


def under(device: str, values: Mapping[str, bytes]) -> dict[str, bytes]:
    prefix = f"homie/5/{device}/"
    return {topic.removeprefix(prefix): said for topic, said in values.items() if topic.startswith(prefix)}


def test_a_group_s_values_are_its_outlook_s() -> None:
    assert under("weir-up", GROUPED.values(GROUP)) == {
        "opening/position/$target": b"50",
        "opening/position": b"40",
        "opening/motion": b"raising",
        "reason/text": b"asked for 50 %",
        "members/devices": b"weir-study,weir-hall",
        "$state": b"ready",
    }
    apart = replace(GROUP, motion=None, position_pct=None, target_pct=None, board=BoardState.LOST)
    said = under("weir-up", GROUPED.values(apart))
    assert (said["opening/motion"], said["opening/position"], said["$state"]) == (b"mixed", b"", b"lost")


def test_the_bridge_s_values_are_its_outlook_s() -> None:
    assert under("weir", TREE.values(BRIDGE)) == {
        "rules/pause": b"false",
        "service/lock": b"true",
        "service/charge": b"true",
        "service/term": b"7",
        "$alert/charge": b"",
        "$alert/board": b"",
        "$alert/drive": b"",
        "$alert/request": b"",
        "$alert/reference": b"",
        "$alert/sensors": b"",
    }


def test_groups_are_children_of_the_root_beside_the_shades() -> None:
    publications, _ = GROUPED.opening([BRIDGE, outlook(), outlook(HALL), GROUP])
    topics = [p.topic for p in publications]
    root = json.loads(publications[topics.index("homie/5/weir/$description")].payload)
    assert root["children"] == ["weir-study", "weir-hall", "weir-up"]
    group = json.loads(publications[topics.index("homie/5/weir-up/$description")].payload)
    assert (group["type"], group["name"], group["parent"]) == ("group", "Upstairs", "weir")
    assert topics.index("homie/5/weir-up/$state") < topics.index("homie/5/weir/service/lock")
    assert publications[-1] == TREE.state(State.READY)


def test_alerts_stand_one_for_each_cause_and_go_with_it() -> None:
    _, before = TREE.opening([outlook()])
    two = (Alert(id="board", text="no power"), Alert(id="reference", text="look"))
    publications, news = TREE.update(before, outlook(alerts=two))
    assert [(p.topic, p.payload) for p in publications] == [
        ("homie/5/weir-study/$alert/board", b"no power"),
        ("homie/5/weir-study/$alert/reference", b"look"),
    ]
    publications, _ = TREE.update({**before, **news}, outlook(alerts=two[1:]))
    assert [(p.topic, p.payload) for p in publications] == [("homie/5/weir-study/$alert/board", b"")]


def ask_grouped(levels: str, payload: bytes, *, retained: bool = False) -> Request | Refused | None:
    return GROUPED.read_set(Incoming(topic=f"homie/5/{levels}/set", payload=payload, retained=retained))


@pytest.mark.parametrize(
    ("levels", "payload", "want"),
    [
        ("opening/position", b"40", Percent(open_pct=40)),
        ("opening/nudge", b"-5", Nudge(by_pct=-5)),
        ("opening/button", b"stop", Press(button=Button.STOP)),
        ("reason/release", b"release", Release()),
    ],
)
def test_a_group_is_asked_like_a_shade(levels: str, payload: bytes, want: Want) -> None:
    assert ask_grouped(f"weir-up/{levels}", payload) == WantedOfGroup(group=UP, want=want)


@pytest.mark.parametrize("levels", ["knowledge/confirm", "knowledge/approach", "members/devices", "a/b"])
def test_nobody_stands_at_all_the_windows_of_a_group(levels: str) -> None:
    refused = ask_grouped(f"weir-up/{levels}", b"upper")
    assert isinstance(refused, Refused)
    assert (refused.of, refused.reason) == (UP, f"{levels} cannot be set for a group")


@pytest.mark.parametrize("device", ["weir-up/opening/position", "weir-up/a/b", "weir/rules/pause"])
def test_a_retained_wish_is_refused_for_every_device(device: str) -> None:
    refused = ask_grouped(device, b"40", retained=True)
    assert isinstance(refused, Refused)
    assert refused.reason == "it is retained: a wish of unknown age moves no shade"


@pytest.mark.parametrize(("levels", "switch"), [("rules/pause", Switch.PAUSE), ("service/lock", Switch.LOCK)])
def test_the_house_is_switched_by_true_and_false(levels: str, switch: Switch) -> None:
    assert ask_grouped(f"weir/{levels}", b"true") == Switching(switch=switch, on=True)
    assert ask_grouped(f"weir/{levels}", b"false") == Switching(switch=switch, on=False)
    assert TREE.switched(switch, on=True) == Publication(
        topic=f"homie/5/weir/{levels}", payload=b"true", qos=1, retain=True
    )
    assert TREE.not_switched(switch, on=False, reason="no disk").payload == (
        f"refused: {levels} 'false': no disk".encode()
    )


@pytest.mark.parametrize(
    "payload", [b"", b"True", b"TRUE", b"1", b"on", b"yes", b"true\n", b" true", b"\xff"]
)
def test_nothing_else_switches_the_house(payload: bytes) -> None:
    refused = ask_grouped("weir/service/lock", payload)
    assert isinstance(refused, Refused)
    assert refused.of is None


def test_the_device_of_a_group_that_is_gone_is_deleted_state_first() -> None:
    publications, _ = GROUPED.opening([GROUP])
    kept = {p.topic for p in publications if p.topic.startswith("homie/5/weir-up/")}
    [description] = [p.payload for p in publications if p.topic == "homie/5/weir-up/$description"]
    removal = TREE.remnants(described("weir-up", description))
    assert removal[0].topic == "homie/5/weir-up/$state"
    assert kept <= {p.topic for p in removal}
    assert GROUPED.remnants(described("weir-up", description)) == ()


def test_descriptions_fit_through_the_door_that_reads_them_back() -> None:
    publications, _ = GROUPED.opening([outlook(), GROUP])
    children = [p for p in publications if p.topic.endswith("$description")][1:]
    assert all(len(p.payload) < LIMIT_BYTES for p in children)
