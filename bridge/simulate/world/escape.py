"""How a broken invariant is told."""

from __future__ import annotations


class Escape(Exception):  # noqa: N818 - the trade of this simulator: the truth escaped the claim
    """An invariant is broken.

    Args:
        invariant: Its name, `I1` and so on.
        story: What was seen.
    """

    def __init__(self, invariant: str, story: str) -> None:
        super().__init__(f"{invariant}: {story}")
        self.invariant, self.story = invariant, story
