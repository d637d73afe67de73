"""How an event reads in the story of a seed."""

from __future__ import annotations

from bridge.core.events import Asked, Event, ReportHeard


def told(event: Event) -> tuple[object, ...]:
    """Return an event in words that are the same for value and wire."""
    if isinstance(event, ReportHeard):
        told = event.report
        return (
            event.board, event.channel, "retained" if event.retained else "", f"boot={told.boot}",
            f"n={told.n}",
            f"count={told.count}", f"to={told.to}", told.why.value, f"seq={told.seq}", f"ans={told.answers}",
            "moving" if told.moving else "", told.because or "", "" if told.kept else "unkept",
        )  # fmt: skip
    if isinstance(event, Asked):
        return (event.shade, event.want, event.rank.name)
    name = getattr(event, "board", "")
    return (name, getattr(event, "link", ""), getattr(event, "boot", ""), getattr(event, "retained", ""))
