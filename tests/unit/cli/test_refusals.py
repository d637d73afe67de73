from pathlib import Path

import pytest

from bridge.cli.main import main

HOUSE = Path(__file__).parents[3] / "config/hembar.toml"


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("move study 140", "'140' can't be asked for; say 0 to 100, up, stop, down, +10 or -10"),
        ("move study 40 --wait -1", "--wait: '-1' is no length of time; give seconds, more than 0"),
        ("watch --seconds 0", "--seconds: '0' is no length of time"),
        ("listen-in panel/level --seconds -3", "--seconds: '-3' is no length of time"),
        ("status --broker 127.0.0.1:99999", "this is no HOST[:PORT]\n  write it like 127.0.0.1:1883"),
        ("soak --seeds 1-2 --minutes -3", "--minutes: -3 minutes\n  give more than 0"),
        ("soak --seeds 1-2 --jobs 0", "--jobs: 0 processes\n  give 1 or more"),
        ("bench --page --storm 5", "--storm: not allowed with argument --page"),
        ("commission study --settings {house} --trim-upper nan", "--trim-upper: 'nan' is not a number"),
        (
            "commission study --settings {house} --trim-upper 2 --new-board",
            "a trim moves limits and nothing else",
        ),
        ("simulate-boards --broker 127.0.0.1 --state {folder}/file/x", "it can't be made: Not a directory"),
        ("simulate-boards --broker 127.0.0.1 --state {folder} --board none", "the house has no such board"),
        ("bench --storm -5", "--storm: '-5' is not a whole number"),
        ("bench --disk {folder}/none", "there is no such folder\n  name one that stands"),
        ("demo --folder {folder}/file/demo", "it can't be made: Not a directory\n  name a folder"),
        ("health {folder}", "this is a folder\n  name the journal"),
        ("why study --journal {folder}/none.db", "there is no such file\n  name the journal"),
        ("why attic --settings {house}", "not in these settings\n  name one of study, kitchen, landing"),
        ("year {house} --shade attic --weather x", "not in these settings\n  name one of study"),
        ("sunmap attic --settings {house} --picture x.svg", "not in these settings"),
        ("commission attic --settings {house}", "name one of study, kitchen, landing; for a new one"),
        (
            "restore {folder}/none.tar.gz --settings x --state y",
            "can't be read: No such file or directory\n  name",
        ),
        ("restore {folder} --settings x --state y", "can't be read: Is a directory"),
        ("restore {folder}/file --settings x --state y", "can't be read: "),
    ],
)
def test_a_wrong_use_is_refused_with_2_and_says_what_to_do(
    line: str, told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("")
    assert main(line.format(folder=tmp_path, house=HOUSE).split()) == 2
    assert told in capsys.readouterr().err
