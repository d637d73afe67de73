import asyncio

import pytest

from bridge.adapters.broker.messages import Incoming, Publication
from bridge.adapters.broker.queues import Dropped, Inbox, Outbox, room_for


def kept(topic: str, payload: bytes = b"1") -> Publication:
    return Publication(topic=topic, payload=payload, retain=True)


def passing(topic: str, payload: bytes = b"1") -> Publication:
    return Publication(topic=topic, payload=payload)


def taken(outbox: Outbox, *, now_s: float = 0.0) -> list[tuple[str, bytes]]:
    return [(each.topic, each.payload) for each in outbox.take(1000, now_s=now_s)[0]]


def test_a_large_house_has_room_for_all_that_the_broker_hands_back_at_once() -> None:
    # Memory, report and description of each shade, and a link for each board of one channel.
    assert room_for(5000) >= 4 * 5000
    assert room_for(20) == 1000


def test_orders_that_wait_are_counted() -> None:
    outbox = Outbox()
    outbox.put(kept("a"))
    for _ in range(3):
        outbox.put(passing("order"), expires_s=1.0)
    assert outbox.orders == 3
    taken(outbox)
    assert outbox.orders == 0


def test_the_newest_retained_value_replaces_the_one_that_waits() -> None:
    outbox = Outbox()
    for payload in (b"1", b"2", b"3"):
        outbox.put(kept("a", payload))
    assert taken(outbox) == [("a", b"3")]


def test_what_was_queued_before_the_newest_value_leaves_before_it() -> None:
    outbox = Outbox()
    for publication in (kept("a", b"1"), passing("order"), kept("a", b"2")):
        outbox.put(publication)
    assert taken(outbox) == [("order", b"1"), ("a", b"2")]


def test_states_of_a_device_keep_their_sequence() -> None:
    outbox = Outbox()
    for publication in (kept("d/$state", b"init"), kept("d/$description"), kept("d/$state", b"ready")):
        outbox.put(publication)
    assert taken(outbox) == [("d/$state", b"init"), ("d/$description", b"1"), ("d/$state", b"ready")]


def test_orders_of_one_topic_all_leave_in_sequence() -> None:
    outbox = Outbox()
    for payload in (b"1", b"2", b"3"):
        outbox.put(passing("order", payload), expires_s=10.0)
    assert taken(outbox) == [("order", b"1"), ("order", b"2"), ("order", b"3")]
    assert len(outbox) == 0


@pytest.mark.parametrize(("now_s", "leaves"), [(10.0, True), (10.001, False)])
def test_an_order_expires_rather_than_leave_late(now_s: float, leaves: bool) -> None:
    outbox = Outbox()
    outbox.put(passing("order"), expires_s=10.0)
    out, late = outbox.take(10, now_s=now_s)
    assert bool(out) is leaves
    assert late == ([] if leaves else [Dropped(publication=passing("order"), reason="it waited too long")])


def test_a_batch_is_no_larger_than_asked() -> None:
    outbox = Outbox()
    for number in range(5):
        outbox.put(passing("order", b"%d" % number))
    assert len(outbox.take(2, now_s=0)[0]) == 2
    assert len(outbox) == 3


def test_a_full_outbox_gives_up_its_oldest_log_line_and_says_so() -> None:
    outbox = Outbox(passing_max=2)
    outbox.put(passing("order"), expires_s=10.0)
    outbox.put(passing("log", b"old"))
    dropped = outbox.put(passing("log", b"new"))
    assert dropped == Dropped(publication=passing("log", b"old"), reason="too many messages wait")
    assert taken(outbox) == [("order", b"1"), ("log", b"new")]


def test_an_outbox_full_of_orders_refuses_the_next_one_and_says_so() -> None:
    outbox = Outbox(passing_max=2)
    for payload in (b"1", b"2"):
        outbox.put(passing("order", payload), expires_s=10.0)
    dropped = outbox.put(passing("order", b"3"), expires_s=10.0)
    assert dropped == Dropped(publication=passing("order", b"3"), reason="too many orders wait")
    assert taken(outbox) == [("order", b"1"), ("order", b"2")]


def test_retained_values_are_taken_however_many_orders_wait() -> None:
    outbox = Outbox(passing_max=1)
    outbox.put(passing("order"), expires_s=10.0)
    assert outbox.put(kept("a")) is None
    assert outbox.put(kept("d/$state")) is None
    assert len(outbox) == 3


def test_clearing_names_what_nobody_publishes_again() -> None:
    outbox = Outbox()
    for publication in (kept("a"), passing("order"), kept("d/$state")):
        outbox.put(publication)
    assert outbox.clear() == [Dropped(publication=passing("order"), reason="the broker is gone")]
    assert len(outbox) == 0


def heard(topic: str, payload: bytes = b"1") -> Incoming:
    return Incoming(topic=topic, payload=payload, retained=False)


def filled(*messages: Incoming) -> Inbox:
    inbox = Inbox(limit=len(messages))
    for message in messages:
        assert inbox.put(message) is None
    return inbox


async def test_messages_come_out_in_the_sequence_in_which_they_went_in() -> None:
    inbox = filled(heard("a", b"1"), heard("b", b"2"), heard("a", b"3"))
    assert [(await inbox.get()).payload for _ in range(3)] == [b"1", b"2", b"3"]


async def test_who_waits_for_a_message_gets_the_next_one() -> None:
    inbox = Inbox()
    waiting = asyncio.ensure_future(inbox.get())
    await asyncio.sleep(0)
    inbox.put(heard("a"))
    assert await waiting == heard("a")


STOP = heard("d/opening/button/set", b"stop")


@pytest.mark.parametrize(
    ("waiting", "arrives", "goes"),
    [
        ([heard("a", b"1"), heard("b"), heard("a", b"2")], heard("c"), heard("a", b"1")),
        ([heard("a"), heard("b")], heard("c"), heard("a")),
        ([heard("b"), heard("a", b"1")], heard("a", b"2"), heard("a", b"1")),
        ([STOP, heard("a")], heard("b"), heard("a")),
        ([STOP, heard("d/opening/button/set", b"up")], heard("b"), heard("b")),
        ([STOP, heard("d/opening/button/set", b"up")], STOP, STOP),
        ([heard("d/opening/button/set", b"up"), STOP], heard("e/opening/button/set", b"up"), None),
    ],
)
def test_when_full_the_stalest_goes_and_never_the_newest_stop(
    waiting: list[Incoming], arrives: Incoming, goes: Incoming | None
) -> None:
    inbox = filled(*waiting)
    gone = inbox.put(arrives)
    assert gone == (goes or waiting[0])
    assert len(inbox) == len(waiting)


async def test_a_flood_stays_bounded_and_keeps_the_newest_of_each_topic() -> None:
    inbox = Inbox(limit=20)
    inbox.put(STOP)
    for number in range(2000):
        inbox.put(heard(f"t{number % 10}", b"%d" % number))
    assert len(inbox) == 20
    left = [await inbox.get() for _ in range(20)]
    assert STOP in left
    assert {message.payload for message in left} >= {b"%d" % number for number in range(1990, 2000)}
