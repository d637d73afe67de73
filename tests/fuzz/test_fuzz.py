"""Many inputs at every door; HEMBAR_FUZZ says how many in all (a million for the long run)."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.fuzz

# Of a hundred inputs, how many go to each door; a journal is a file and takes a hundred times as long.
SHARES = {"message": 47, "settings": 12, "events": 20, "board": 15, "page": 5, "journal": 1}
INPUTS = int(os.environ.get("HEMBAR_FUZZ", "100000"))
SECONDS = 60 + INPUTS // 500


@pytest.mark.parametrize("door", SHARES)
def test_nothing_that_comes_in_crashes_it_or_moves_a_shade(door: str, tmp_path: Path) -> None:
    pytest.importorskip("atheris", reason="the fuzzer has no wheel for this machine")
    runs = INPUTS * SHARES[door] // 100
    ran = subprocess.run(
        [sys.executable, "-m", "tests.fuzz.doors", door, f"-runs={runs}", f"-artifact_prefix={tmp_path}/"],
        check=False,
        capture_output=True,
        text=True,
        errors="replace",
        timeout=SECONDS,
    )
    assert ran.returncode == 0, ran.stderr[-3000:]
    assert f"Done {runs} runs" in ran.stderr
