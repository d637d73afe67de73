import argparse
from pathlib import Path

import pytest

from bridge.cli.main import main
from bridge.cli.parser import Parser
from bridge.cli.simulate_boards import add_command
from bridge.core.errors import RequestError


def parsed(*words: str) -> argparse.Namespace:
    parser: argparse.ArgumentParser = Parser()
    add_command(parser.add_subparsers())
    return parser.parse_args(["simulate-boards", *words])


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("127.0.0.1", ("127.0.0.1", 1883)),
        ("localhost:2000", ("localhost", 2000)),
        ("[::1]:2000", ("::1", 2000)),
        ("::1", ("::1", 1883)),
    ],
)
def test_a_broker_is_a_host_and_maybe_a_port(text: str, address: tuple[str, int]) -> None:
    assert parsed("--broker", text, "--state", "x").broker == address


@pytest.mark.parametrize("text", ["", ":1883", "here:", "here:0", "here:65536", "here:x", "here:١٢"])
def test_what_is_no_address_is_refused(text: str) -> None:
    with pytest.raises(RequestError, match="is no HOST"):
        parsed("--broker", text, "--state", "x")


@pytest.mark.parametrize("text", ["", "a/#", "+", "/a", "a/", "$SYS"])
def test_what_is_no_root_is_refused(text: str) -> None:
    with pytest.raises(RequestError, match="is no topic level"):
        parsed("--broker", "x", "--state", "x", "--root", text)


def test_boards_may_be_named_one_by_one() -> None:
    args = parsed("--broker", "x", "--state", "x", "--board", "a", "--board", "b")
    assert (args.board, args.house, args.root, args.state) == (["a", "b"], "demo", "shade-boards", Path("x"))


def test_an_unknown_board_is_refused_with_the_ones_there_are(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["simulate-boards", "--broker", "127.0.0.1:9", "--state", str(tmp_path), "--board", "cellar"]
    assert main(words) == 2
    assert "choose from attic-board, stair-board" in capsys.readouterr().err


def test_a_house_file_that_is_not_there_ends_with_78(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["simulate-boards", "--broker", "127.0.0.1:9", "--state", str(tmp_path), "--house", "none.json"]
    assert main(words) == 78
    assert "none.json: No such file" in capsys.readouterr().err
