"""Journals that earlier programs wrote, kept as they were: today's program must go on from each.

Each came from the demo house on a real broker and real motors in the simulator; the hem bar's true drop was
noted beside it. `stopped` after a clean stop, `running` copied from under a running bridge.
"""

import gzip
from dataclasses import dataclass
from pathlib import Path

import pytest

from bridge.adapters.journal.rows import FORMAT
from bridge.adapters.journal.store import FileJournal
from bridge.core.house import handle
from bridge.core.outlook import shade_outlook
from bridge.core.values import ShadeId

KEPT = Path(__file__).parent / "kept"


@dataclass(frozen=True)
class Kept:
    """One file, and what was true and shown of the study when it was written."""

    name: str
    true_drop_mm: float
    percent: int
    width_mm: float


FILES = (
    Kept("format-1-stopped", true_drop_mm=720.5240481182548, percent=60, width_mm=6.6),
    Kept("format-1-running", true_drop_mm=1170.7370643955128, percent=35, width_mm=8.5),
)


def opened(kept: Kept, folder: Path) -> FileJournal:
    path = folder / "journal.db"
    path.write_bytes(gzip.decompress((KEPT / f"{kept.name}.db.gz").read_bytes()))
    return FileJournal(path, handle)


@pytest.mark.parametrize("kept", FILES, ids=lambda kept: kept.name)
def test_a_house_goes_on_from_an_older_journal_with_its_positions(kept: Kept, tmp_path: Path) -> None:
    journal = opened(kept, tmp_path)
    found = journal.recover()
    assert (found.damage, found.lost) == ((), False)
    assert found.house is not None
    study = found.house.shades[ShadeId("study")]
    shown = shade_outlook(found.house, study)
    low_mm, high_mm = (study.spec.travel.drop_at_steps(each) for each in (shown.low_steps, shown.high_steps))
    assert low_mm <= kept.true_drop_mm <= high_mm
    assert shown.position_pct == kept.percent
    assert shown.width_mm == pytest.approx(kept.width_mm, abs=0.1)
    journal.close()


def test_what_was_stopped_cleanly_gives_no_cause_for_doubt(tmp_path: Path) -> None:
    journal = opened(FILES[0], tmp_path)
    found = journal.recover()
    assert found.differences == ()
    journal.close()


def test_every_format_that_was_ever_written_is_kept() -> None:
    kept = {int(path.name.split("-")[1]) for path in KEPT.glob("format-*.db.gz")}
    assert kept == set(range(1, FORMAT + 1))
