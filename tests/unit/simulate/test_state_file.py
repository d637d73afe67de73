import os
from dataclasses import replace
from pathlib import Path

import pytest

from bridge.core.errors import ConfigError
from bridge.simulate.board import DEFAULT_ROOT, Board
from bridge.simulate.demo_house import DEMO_HOUSE
from bridge.simulate.fitting import BoardPlan
from bridge.simulate.state_file import SLOT, BoardFiles, read_truth

ATTIC, STAIR = DEMO_HOUSE.boards
GO = b'{"v":1,"term":1,"boot":1,"seq":1,"seen":0,"do":"go","to":-20000,"low":-90000,"high":90000,'
GO += b'"pps":3000,"ramp":3000,"then":"stay"}'
LANDING = ("stair-board", 0)


def opened(folder: Path, plan: BoardPlan = STAIR) -> tuple[BoardFiles, Board]:
    files = BoardFiles(folder, plan, seed=1)
    return files, files.load(DEFAULT_ROOT)


def raised(board: Board, files: BoardFiles, seconds: float) -> None:
    """Power the landing up and let it rise for a while."""
    board.power_up(0.0)
    board.on_message("shade-boards/stair-board/0/order", GO, False, 0.0)
    files.save(board)
    board.advance(seconds)
    files.save(board)


def test_the_truth_on_disk_is_the_truth_of_the_board(tmp_path: Path) -> None:
    files, board = opened(tmp_path)
    raised(board, files, 4.0)
    bar, tube = read_truth(tmp_path)[LANDING], board.channels[0].tube
    assert (bar.drop_mm, bar.turns, bar.count) == (tube.drop_mm, tube.turns, board.channels[0].count)
    assert (bar.shade, bar.moving, bar.awake, bar.moves) == ("landing", True, True, 1)
    files.close()


def test_a_dead_process_reads_as_a_power_cut_and_is_taken_up_as_one(tmp_path: Path) -> None:
    files, board = opened(tmp_path)
    raised(board, files, 9.0)
    high = board.channels[0].tube.drop_mm
    files.close()  # what the kernel does for a killed process: its lock is gone, its files stand
    dead = read_truth(tmp_path)[LANDING]
    assert (dead.moving, dead.awake, dead.count) == (False, False, None)
    assert dead.drop_mm > high + 500
    again_files, again = opened(tmp_path)
    assert again.channels[0].tube.drop_mm == dead.drop_mm
    again.power_up(0.0)
    channel = again.channels[0]
    assert (again.boot, channel.kept, channel.count) == (2, False, 20512)
    again_files.close()


def test_slip_is_drawn_anew_after_each_start_and_never_the_same_twice(tmp_path: Path) -> None:
    files, board = opened(tmp_path)
    raised(board, files, 60.0)
    first = board.channels[0].tube.state.slope_mm
    board.power_cut(60.0)
    files.save(board)
    files.close()
    files, board = opened(tmp_path)
    board.power_up(0.0)
    board.on_message("shade-boards/stair-board/0/order", GO.replace(b'"boot":1', b'"boot":2'), False, 0.0)
    assert board.channels[0].tube.state.slope_mm not in (0.0, first) or not board.moving
    files.close()


@pytest.mark.parametrize("cut_at", [0, 5, 100, SLOT - 1, SLOT, SLOT + 9, 2 * SLOT - 1])
def test_a_torn_slot_leaves_the_one_before_it(tmp_path: Path, cut_at: int) -> None:
    files, board = opened(tmp_path)
    raised(board, files, 2.0)
    before = board.channels[0].tube.turns
    files.save(board)
    files.close()
    path = tmp_path / "stair-board.truth"
    data = bytearray(path.read_bytes())
    start = cut_at // SLOT * SLOT
    data[cut_at : start + SLOT] = os.urandom(start + SLOT - cut_at)
    path.write_bytes(data)
    files, board = opened(tmp_path)
    assert board.channels[0].tube.state.moves == 1
    assert board.channels[0].tube.turns >= before
    files.close()


def test_nothing_but_rubbish_on_disk_is_a_new_board(tmp_path: Path) -> None:
    (tmp_path / "stair-board.truth").write_bytes(b"\x00" * 100)
    (tmp_path / "stair-board.flash.json").write_bytes(b"\xff{")
    files, board = opened(tmp_path)
    assert board.channels[0].tube.drop_mm == pytest.approx(2120.0, abs=0.1)
    board.power_up(0.0)
    assert (board.boot, board.channels[0].count) == (1, None)
    files.close()


def test_a_board_that_is_only_just_being_built_is_left_out_of_the_truth(tmp_path: Path) -> None:
    (tmp_path / "bare.truth").write_bytes(b"")
    files = BoardFiles(tmp_path, STAIR, seed=1)
    assert read_truth(tmp_path) == {}
    files.load(DEFAULT_ROOT)
    assert list(read_truth(tmp_path)) == [LANDING]
    files.close()


def test_two_owners_of_one_board_are_refused(tmp_path: Path) -> None:
    files, _ = opened(tmp_path)
    with pytest.raises(ConfigError) as refused:
        BoardFiles(tmp_path, STAIR, seed=1)
    assert str(refused.value) == (
        f"{tmp_path}/stair-board.truth: another process runs board stair-board there; "
        "end it, or give another --state folder"
    )
    files.close()


def test_boards_of_one_house_lie_side_by_side(tmp_path: Path) -> None:
    pairs = [opened(tmp_path, plan) for plan in (ATTIC, STAIR)]
    assert list(read_truth(tmp_path)) == [("attic-board", 0), ("attic-board", 1), LANDING]
    for files, _ in pairs:
        files.close()


def test_a_board_with_another_number_of_channels_is_another_board(tmp_path: Path) -> None:
    files, board = opened(tmp_path, replace(ATTIC, channels=ATTIC.channels[:1]))
    files.close()
    files, board = opened(tmp_path, ATTIC)
    assert len(board.channels) == 2
    files.close()
