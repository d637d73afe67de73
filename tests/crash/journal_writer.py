"""A bridge's writing alone, as a process to be killed: appends events and says what is kept.

Each line on standard output is written after the call returned: `start N`, `kept N grew|plain`,
`snapshot N`, `refused N PROBLEM`, `no-snapshot N PROBLEM`. After a refusal the house goes on in mind, and a
forced snapshot closes the gap, as the shell does it.
"""

import sys
from dataclasses import replace
from pathlib import Path

from bridge.adapters.journal.store import FileJournal
from bridge.core.errors import LinkError
from bridge.core.events import Event
from bridge.core.outcome import Decisions
from bridge.core.state import House
from tests.unit.adapters.journal.fakes import asked, fake_handle, pressed, started


def main(path: Path, *, events: int, snapshot_every: int) -> None:
    journal = FileJournal(path, wordy_handle, snapshot_every=snapshot_every)
    house = journal.recover().house
    number = 0 if house is None else house.next_request
    say(f"start {number}")
    gap = False
    for second in range(number, number + events):
        event = started() if house is None else asked(second) if second % 3 == 0 else pressed(second)
        gap = gap and not snapshot(journal, house, forced=True)
        house, decisions = wordy_handle(house, event)
        gap = gap or not append(journal, house, event, decisions)
        if journal.wants_snapshot and not gap:
            snapshot(journal, house)
    while gap:
        gap = not snapshot(journal, house, forced=True)
    journal.close()
    say("closed")


def wordy_handle(house: House | None, event: Event) -> tuple[House, Decisions]:
    """Rows about as large as real ones."""
    after, decisions = fake_handle(house, event)
    return after, replace(decisions, notes=decisions.notes * 3)


def append(journal: FileJournal, house: House, event: Event, decisions: Decisions) -> bool:
    try:
        journal.append((event, decisions))
    except LinkError as error:
        say(f"refused {house.next_request} {error.problem}")
        return False
    say(f"kept {house.next_request} {'grew' if decisions.grew else 'plain'}")
    return True


def snapshot(journal: FileJournal, house: House | None, *, forced: bool = False) -> bool:
    if house is None:
        return False
    try:
        journal.snapshot(house, forced=forced)
    except LinkError as error:
        say(f"no-snapshot {house.next_request} {error.problem}")
        return False
    say(f"snapshot {house.next_request}")
    return True


def say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main(Path(sys.argv[1]), events=int(sys.argv[2]), snapshot_every=int(sys.argv[3]))
