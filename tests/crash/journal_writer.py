"""A bridge's writing alone, as a process to be killed: appends events and says what is kept.

Each line on standard output is written after the call returned: `start N`, `kept N grew|plain`,
`snapshot N`, `refused N PROBLEM`. A refused event is written again.
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
    end = number + events
    while number < end:
        house, number = one(journal, house, number)
    journal.close()
    say("closed")


def wordy_handle(house: House | None, event: Event) -> tuple[House, Decisions]:
    """Rows about as large as real ones."""
    after, decisions = fake_handle(house, event)
    return after, replace(decisions, notes=decisions.notes * 3)


def one(journal: FileJournal, house: House | None, number: int) -> tuple[House | None, int]:
    event = started() if house is None else asked(number) if number % 3 == 0 else pressed(number)
    after, decisions = wordy_handle(house, event)
    try:
        journal.append(event, decisions)
    except LinkError as error:
        say(f"refused {after.next_request} {error.problem}")
        return house, number
    say(f"kept {after.next_request} {'grew' if decisions.grew else 'plain'}")
    if journal.wants_snapshot:
        try:
            journal.snapshot(after)
            say(f"snapshot {after.next_request}")
        except LinkError as error:
            say(f"no-snapshot {after.next_request} {error.problem}")
    return after, after.next_request


def say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main(Path(sys.argv[1]), events=int(sys.argv[2]), snapshot_every=int(sys.argv[3]))
