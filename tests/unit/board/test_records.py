from random import Random

import pytest

from bridge.board.records import SLOTS, Records
from tests.board_rig import Flash


def with_record(count: int = 77) -> Flash:
    flash = Flash()
    records = Records(flash, 2)
    assert records.begin_boot()
    records.lines[0].count, records.lines[0].clean = count, True
    assert records.save()
    return flash


def test_the_newest_record_counts_and_wear_goes_round_the_ring() -> None:
    flash = with_record()
    for count in range(50):
        records = Records(flash, 2)
        records.lines[0].count, records.lines[0].clean = count, True
        assert records.save()
        again = Records(flash, 2)
        assert (again.lines[0].count, again.lines[0].clean, again.lines[1].count) == (count, True, None)
    worn = [flash.writes.count(slot) for slot in range(SLOTS)]
    assert max(worn) - min(worn) <= 1


# What lacks two bytes looks like a whole record whose last byte has rotted, and of a boot that others know.
@pytest.mark.parametrize(
    ("keep", "boot"), [(0, 2), (1, 2), (8, 2), (9, 2), (20, 2), (-3, 2), (-2, 3), (-1, 2)]
)
def test_a_torn_write_leaves_the_record_before_it_but_claims_no_count(keep: int, boot: int) -> None:
    flash = with_record()
    flash.slots[2] = (flash.slots[1][:keep]) or b"\x00"
    records = Records(flash, 2)
    assert (records.damaged, records.lines[0].count, records.lines[0].clean) == (True, 77, False)
    assert records.begin_boot()
    assert (records.boot, records.lines[0].kept_since) == (boot, boot)
    assert not Records(flash, 2).damaged


def test_any_flipped_byte_of_the_newest_mark_never_brings_an_old_count_back() -> None:
    rng = Random(3)
    for _ in range(300):
        flash = with_record()
        records = Records(flash, 2)
        records.lines[0].clean = False
        assert records.save()
        rotten = bytearray(flash.slots[2])
        rotten[rng.randrange(len(rotten))] ^= 1 << rng.randrange(8)
        flash.slots[2] = bytes(rotten)
        assert not Records(flash, 2).lines[0].clean


def test_a_rotten_record_never_lets_a_boot_number_be_used_twice() -> None:
    flash = with_record()
    first = Records(flash, 2)
    assert first.begin_boot()
    for at in range(len(flash.slots[2])):
        rotten = bytearray(flash.slots[2])
        rotten[at] ^= 4
        flash.slots[2], whole = bytes(rotten), flash.slots[2]
        again = Records(flash, 2)
        assert again.boot >= first.boot, at
        flash.slots[2] = whole


def test_a_flash_of_rubbish_reads_as_blank() -> None:
    flash = Flash()
    flash.slots = dict.fromkeys(range(SLOTS), b"\xff" * 40)
    records = Records(flash, 1)
    assert records.begin_boot()
    assert (records.lines[0].count, records.lines[0].clean, records.boot) == (None, False, 2)


def test_a_flash_that_cannot_be_written_says_so() -> None:
    flash = with_record()
    flash.broken = True
    assert not Records(flash, 2).begin_boot()
