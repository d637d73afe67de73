"""`status`, `move`, `release`, `confirm`, `pause`, `lock` and `watch` against a house that is not there."""

import json
from collections.abc import Callable
from datetime import UTC, datetime
from types import ModuleType
from typing import Any

import pytest

from bridge.adapters.broker.oneshot import Answer
from bridge.cli import confirm, listen_in, main, move, release, status, switch, watch
from bridge.core.values import Moment
from tests.visit import FakeVisit, root, shade

ASKING = (confirm, listen_in, move, release, status, switch, watch)
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def house() -> FakeVisit:
    return FakeVisit(
        {"hembar": root(rules__pause="false", service__lock="false"), "hembar-study": shade()},
    )


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], house: FakeVisit) -> Run:
    modules: tuple[ModuleType, ...] = ASKING
    for module in modules:
        monkeypatch.setattr(module, "visit", lambda args: house)

    def of(*words: str) -> tuple[int, str, str]:
        code = main.main(words)
        said = capsys.readouterr()
        return code, said.out, said.err

    return of


def test_status_prints_the_house_and_ends_well(run: Run) -> None:
    code, out, _ = run("status")
    assert code == 0
    assert out.splitlines()[1].startswith("study   40 %      7 mm  referenced  still")


def test_status_as_json_says_what_the_lines_say(run: Run, house: FakeVisit) -> None:
    house.devices["hembar"] = root("lost", rules__pause="true")
    code, out, _ = run("status", "--json")
    assert code == 1
    assert json.loads(out) == {
        "bridge": "lost",
        "paused": True,
        "locked": False,
        "shades": [
            {
                "shade": "study",
                "state": "ready",
                "open_pct": 40,
                "target_pct": 40,
                "low_pct": 39.8,
                "high_pct": 40.2,
                "width_mm": 7.4,
                "grade": "referenced",
                "motion": "still",
                "why": "40 % asked by the kitchen panel",
                "hold_until": None,
                "alert": None,
            }
        ],
        "groups": [],
    }


@pytest.mark.parametrize(
    ("words", "levels", "payload"),
    [
        (("move", "study", "40"), "opening/position", b"40"),
        (("move", "study", "0"), "opening/position", b"0"),
        (("move", "study", "stop"), "opening/button", b"stop"),
        (("move", "study", "+5"), "opening/nudge", b"5"),
        (("move", "study", "-10"), "opening/nudge", b"-10"),
        (("release", "study"), "reason/release", b"release"),
        (("confirm", "study", "upper"), "knowledge/confirm", b"upper"),
    ],
)
def test_what_is_asked_of_a_shade_goes_to_its_own_device(
    run: Run, house: FakeVisit, words: tuple[str, ...], levels: str, payload: bytes
) -> None:
    code, out, _ = run(*words)
    assert (code, out) == (0, "study: accepted\n")
    assert house.asked == [("hembar-study", levels, payload)]


def test_a_refusal_is_told_with_its_reason(run: Run, house: FakeVisit) -> None:
    house.answers = Answer(taken=False, reason="its board is lost")
    assert run("move", "study", "40")[:2] == (1, "study: refused; its board is lost\n")
    assert json.loads(run("release", "study", "--json")[1]) == {
        "shade": "study",
        "accepted": False,
        "why": "its board is lost",
    }


def test_silence_is_told_as_silence(run: Run, house: FakeVisit) -> None:
    house.answers = Answer(taken=None)
    assert run("move", "study", "40")[:2] == (1, "study: refused; the bridge did not answer\n")


@pytest.mark.parametrize("want", ["101", "-101", "open", "4_0", "١٢", "40%", "1e1", "release", ""])
def test_what_cannot_be_asked_for_is_never_published(run: Run, house: FakeVisit, want: str) -> None:
    code, _, err = run("move", "study", want)
    assert code == 2
    assert "say 0 to 100, up, stop, down, +10 or -10" in err
    assert house.asked == []


def test_a_shade_that_is_not_there_is_answered_with_those_that_are(run: Run, house: FakeVisit) -> None:
    for words in (("move", "attic", "40"), ("release", "attic"), ("watch", "attic")):
        assert run(*words) == (
            2,
            "",
            "shade 'attic': it is not in this house\n  name one of study\n",
        )
    assert house.asked == []


def test_a_bridge_that_is_away_is_asked_nothing(run: Run, house: FakeVisit) -> None:
    house.devices["hembar"] = root("disconnected")
    for words in (("move", "study", "40"), ("pause", "on"), ("lock", "off")):
        assert run(*words)[0] == 2
        assert house.asked == []
    assert run("pause", "on")[2] == "the bridge: it is disconnected\n  start `hembar run`\n"


def test_a_broker_without_a_house_says_so(run: Run, house: FakeVisit) -> None:
    house.devices = {}
    assert run("lock", "on")[2].startswith("the broker: no house has been shown there\n")


def test_waiting_follows_the_shade_until_it_stands(run: Run, house: FakeVisit) -> None:
    house.devices["hembar-study"] = shade("90", opening__motion="lowering")
    house.devices["hembar-study"]["opening/position/$target"] = b"40"
    house.steps = [("hembar-study", shade("60", opening__motion="lowering")), ("hembar-study", shade("40"))]
    code, out, _ = run("move", "study", "40", "--wait", "30")
    assert code == 0
    assert out.startswith("study   40 %      7 mm  referenced  still")


def test_waiting_ends_badly_when_a_person_must_see_to_it(run: Run, house: FakeVisit) -> None:
    house.devices["hembar-study"] = shade("60", **{"$alert/request": "it stalled on the way"})
    code, out, _ = run("move", "study", "40", "--wait", "30", "--json")
    assert code == 1
    assert json.loads(out)["alert"] == "it stalled on the way"


@pytest.mark.parametrize(
    ("command", "levels", "on", "off"),
    [
        ("pause", "rules/pause", "the rules rest", "the rules are at work"),
        (
            "lock",
            "service/lock",
            "the service lock is on: no order leaves",
            "the service lock is off: shades can move again",
        ),
    ],
)
def test_a_switch_of_the_house_is_the_bridges_own(
    run: Run, house: FakeVisit, command: str, levels: str, on: str, off: str
) -> None:
    assert run(command, "on")[:2] == (0, f"{on}\n")
    assert house.asked == [("hembar", levels, b"true")]
    house.devices["hembar"][levels] = b"true"
    assert run(command, "on")[:2] == (0, f"{on} (it was so already)\n")
    assert run(command, "off")[:2] == (0, f"{off}\n")
    assert house.asked[1:] == [("hembar", levels, b"false")]


def test_a_switch_that_is_refused_says_why(run: Run, house: FakeVisit) -> None:
    house.answers = Answer(taken=False, reason="the journal can't be written")
    assert run("lock", "on")[:2] == (1, "lock on: refused; the journal can't be written\n")
    house.answers = Answer(taken=None)
    assert json.loads(run("pause", "on", "--json")[1]) == {
        "pause": True,
        "accepted": False,
        "why": "the bridge did not answer",
    }


def test_a_switch_is_on_or_off(run: Run, house: FakeVisit) -> None:
    assert run("lock")[0] == run("lock", "true")[0] == 2
    assert house.asked == []


NOW = Moment(utc=datetime(2026, 3, 2, 12, 30, 5, tzinfo=UTC), mono_s=0.0)


def watched(run: Run, monkeypatch: pytest.MonkeyPatch, *words: str) -> list[str]:
    monkeypatch.setattr("bridge.shell.clock.now", lambda: NOW)
    code, out, _ = run("watch", *words)
    assert code == 0
    return out.splitlines()


def test_watching_prints_a_line_for_each_change(
    run: Run, house: FakeVisit, monkeypatch: pytest.MonkeyPatch
) -> None:
    house.steps = [
        ("hembar-study", {"opening/motion": b"raising"}),
        ("hembar-study", {"knowledge/confirm": b"a value that no line shows"}),
        ("hembar", {"service/lock": b"true"}),
        ("hembar-study", {"opening/position": b"45"}),
    ]
    clock = NOW.utc.astimezone().strftime("%H:%M:%S  ")
    lines = watched(run, monkeypatch)
    assert lines[0].startswith(" " * len(clock) + "shade   open  known to")
    assert [line.removeprefix(clock)[:40].rstrip() for line in lines[1:]] == [
        "the bridge is ready",
        "study   40 %      7 mm  referenced  still"[:40].rstrip(),
        "study   40 %      7 mm  referenced  raising"[:40].rstrip(),
        "the bridge is ready, locked",
        "study   45 %      7 mm  referenced  raising"[:40].rstrip(),
    ]


def test_watching_as_json_is_one_object_a_line(
    run: Run, house: FakeVisit, monkeypatch: pytest.MonkeyPatch
) -> None:
    house.steps = [("hembar-study", {"opening/position": b"45"})]
    said: list[dict[str, Any]] = [json.loads(line) for line in watched(run, monkeypatch, "--json")]
    assert said[0] == {
        "at": "2026-03-02T12:30:05.000+00:00",
        "bridge": "ready",
        "paused": False,
        "locked": False,
    }
    assert [(each["shade"], each["open_pct"]) for each in said[1:]] == [("study", 40), ("study", 45)]


def test_watching_one_shade_leaves_the_others_out_and_a_new_one_comes_in(
    run: Run, house: FakeVisit, monkeypatch: pytest.MonkeyPatch
) -> None:
    house.devices["hembar-attic"] = shade("10")
    house.steps = [("hembar-attic", {"opening/position": b"20"}), ("hembar-hall", shade("30"))]
    one = [json.loads(line).get("shade") for line in watched(run, monkeypatch, "study", "--json")]
    assert one == [None, "study"]
    house.steps = [("hembar-attic", {"opening/position": b"30"}), ("hembar-hall", shade("35"))]
    every = [json.loads(line).get("shade") for line in watched(run, monkeypatch, "--json")]
    assert every == [None, "study", "attic", "hall", "attic", "hall"]


def heard(*payloads: str, retained: bool = False) -> list[Any]:
    from bridge.adapters.broker.messages import Incoming

    return [Incoming(topic="panel/level", payload=each.encode(), retained=retained) for each in payloads]


def test_listening_in_prints_a_table_to_paste(run: Run, house: FakeVisit) -> None:
    house.overheard = heard('{"level": 0}', '{"level": 60}', '{"level": 100}')
    code, out, err = run("listen-in", "panel/level", "--seconds", "1")
    assert code == 0
    assert out.splitlines() == [
        "[[listen]]",
        'topic = "panel/level"',
        'shade = "which-shade"  # one of study',
        'pointer = "/level"',
        'says = "percent open"',
        '# they rose from 0 to 100 on the way to raised; if you lowered it: "percent closed"',
    ]
    assert err.splitlines()[0] == "Listening to panel/level for 1 s."


def test_words_are_proposed_as_stop_until_the_owner_says_what_they_mean(run: Run, house: FakeVisit) -> None:
    house.overheard = heard("auf", 'z"u', retained=True)
    _, out, _ = run("listen-in", "panel/level", "--shade", "study")
    assert out.splitlines() == [
        "[[listen]]",
        'topic = "panel/level"',
        'shade = "study"',
        '# Write what each word means: 0 to 100 percent open, "up", "stop" or "down".',
        'words = { "auf" = "stop", "z\\"u" = "stop" }',
        "retained = true  # its sender retains; a new one counts after a restart as well",
    ]


def test_what_listening_in_prints_is_read_by_the_settings(run: Run, house: FakeVisit) -> None:
    import tomllib

    house.overheard = heard("0.1", 'a "word"', "1")
    said = json.loads(run("listen-in", "panel/level", "--group", "south", "--json")[1])
    assert tomllib.loads(said["toml"])["listen"] == [
        {
            "topic": "panel/level",
            "group": "south",
            "says": "fraction open",
            "words": {'a "word"': "stop"},
        }
    ]


def test_silence_on_a_topic_is_told_and_no_table_is_made_up(run: Run, house: FakeVisit) -> None:
    code, out, err = run("listen-in", "panel/level")
    assert (code, out) == (1, "")
    assert err.splitlines()[-2:] == [
        "panel/level: 0 messages",
        "nothing was published there meanwhile; check how the topic is spelt",
    ]
    assert json.loads(run("listen-in", "panel/level", "--json")[1])["toml"] is None


@pytest.mark.parametrize("topic", ["panel/#", "+/level", "$SYS/load", ""])
def test_only_one_topic_is_listened_to(run: Run, topic: str) -> None:
    assert run("listen-in", topic)[0] == 2
