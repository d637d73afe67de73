"""Answers, progress and the sheet of `hembar commission`; the whole is tried over a broker."""

from __future__ import annotations

import re
import sys
from html.parser import HTMLParser
from io import StringIO
from pathlib import Path

import pytest

from bridge.cli import commission_progress as kept
from bridge.cli.commission_asking import Asker, read_answers
from bridge.cli.commission_progress import Progress
from bridge.cli.commission_sheet import sheet
from bridge.cli.main import main
from bridge.core.commissioning.beginning import CAUTIONS
from bridge.core.commissioning.courses import COURSES, Purpose
from bridge.core.commissioning.result import sheet_rows
from bridge.core.commissioning.state import Question
from bridge.core.errors import ConfigError, RequestError
from tests.commission_house import SETTINGS
from tests.unit.core.commissioning.bench import FACTS, Bench

DROP = Question(key="drop", text=("Measure.", "  - twice"), hint="mm", default="900")


def test_answers_come_from_the_file_in_turn_then_from_the_command_line(tmp_path: Path) -> None:
    path = tmp_path / "answers.toml"
    path.write_text('upper = ["up 30", "here"]\ndrop = 1200\n')
    asker = Asker(read_answers(path, ["drop=1201", "rose = up"]))
    upper = Question(key="upper", text=(), hint="")
    assert [asker.ask(upper), asker.ask(upper)] == ["up 30", "here"]
    assert [asker.ask(DROP), asker.ask(DROP)] == ["1200", "1201"]
    assert asker.ask(Question(key="rose", text=(), hint="")) == "up"


def test_with_nobody_to_ask_it_says_which_answer_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", StringIO(""))
    with pytest.raises(RequestError, match="question drop: there is nobody to ask here"):
        Asker({}).ask(DROP)


@pytest.mark.parametrize("text", ["drop", ""])
def test_an_answer_without_a_key_is_refused(text: str) -> None:
    with pytest.raises(RequestError, match="it has no ="):
        read_answers(None, [text])


def test_a_file_of_answers_that_is_none_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "answers.toml"
    path.write_text("drop: 3")
    with pytest.raises(RequestError, match="give a TOML file"):
        read_answers(path, [])


def test_asked_again_only_what_is_new_is_shown(capsys: pytest.CaptureFixture[str]) -> None:
    asker = Asker(read_answers(None, ["drop=1", "drop=2"]))
    asker.ask(DROP)
    asker.ask(DROP)
    assert capsys.readouterr().out.count("Measure.") == 1


def test_progress_is_read_back_as_it_was_at_every_step(tmp_path: Path) -> None:
    bench, path = Bench(), tmp_path / "house.toml.hall.progress.json"
    progress = Progress(purpose=Purpose.WHOLE, before=FACTS, board="b", channel=1, states=[bench.state])
    for step in ("rose", "made", "part", "creep", "done"):
        bench.run(step)
        progress.onward(bench.state)
        kept.save(path, progress)
        assert kept.load(path) == progress
    assert [each.name for each in tmp_path.iterdir()] == [path.name]


def test_undo_goes_back_answer_by_answer_and_not_beyond_the_first() -> None:
    bench = Bench()
    progress = Progress(purpose=Purpose.WHOLE, before=FACTS, states=[bench.state])
    first = bench.state
    bench.run("rose")
    progress.onward(bench.state)
    assert progress.undo()
    assert progress.state == first
    assert not progress.undo()


@pytest.mark.parametrize("text", ["", "{}", '{"purpose": "whole", "before": {}, "states": []}'])
def test_progress_that_is_none_is_told_with_the_remedy(tmp_path: Path, text: str) -> None:
    path = tmp_path / "progress.json"
    path.write_text(text)
    with pytest.raises(ConfigError, match="--anew"):
        kept.load(path)


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.outside: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag != "meta":
            self.open.append(tag)
        self.outside += [str(value) for name, value in attrs if name in ("src", "href")]

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def test_the_sheet_is_one_whole_page_with_all_cautions_and_nothing_from_elsewhere() -> None:
    bench = Bench()
    bench.run()
    page = sheet(
        name="Hall <script>",
        day="2026-11-25",
        link="board b",
        rows=sheet_rows(bench.state, FACTS),
        cautions=CAUTIONS,
    )
    reader = _Reader()
    reader.feed(page)
    assert (reader.open, reader.outside) == ([], [])
    assert "Hall <script>" in reader.text
    assert all(each in reader.text for each in CAUTIONS)
    assert "1320 mm" in reader.text


def test_without_a_broker_it_says_so_and_leaves_the_settings_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], unused_tcp_port: int
) -> None:
    path = tmp_path / "house.toml"
    path.write_text(SETTINGS.format(port=unused_tcp_port))
    before = path.read_text()
    assert main(["commission", "hall", "--settings", str(path)]) == 69
    assert "start the broker" in capsys.readouterr().err
    assert path.read_text() == before


def test_the_guide_s_transcript_asks_what_the_program_asks() -> None:
    guide = (Path(__file__).parents[3] / "config" / "builders-guide.md").read_text()
    shown = set(re.findall(r"^\(([a-z-]+?)(?:-\d+)?\) \[", guide, re.MULTILINE))
    of_one_way_boards = {"watch", "timed"}
    steps = (set(COURSES[Purpose.WHOLE]) - of_one_way_boards) | {
        "gear",
        "still-here",
        "board",
        "at-upper",
        "asleep",
        "creep",
    }
    assert shown == steps
    assert all(each.split(";")[0].split(",")[0] in " ".join(guide.split()) for each in CAUTIONS)


def test_a_second_run_on_the_same_shade_is_turned_away(tmp_path: Path) -> None:
    path = kept.path_of(tmp_path / "house.toml", "hall")
    with kept.alone(path), pytest.raises(RequestError, match="another run commissions this shade"):
        kept.alone(path).__enter__()
    with kept.alone(path):
        pass
    assert list(tmp_path.iterdir()) == []
