"""Why a request is not answered: one kind of error, told as JSON and as a log line."""

from __future__ import annotations


class RefusalError(Exception):
    """A request is refused.

    Args:
        status: HTTP status.
        word: What went wrong, one fixed word of the API.
        problem: What is wrong with this request, without any secret.
        remedy: What to do.
        where: What it is about.
        retry_s: After so many seconds it may be tried again.
        close: The connection ends with the answer.
    """

    def __init__(
        self,
        status: int,
        word: str,
        problem: str,
        remedy: str,
        *,
        where: str = "page",
        retry_s: int | None = None,
        close: bool = False,
    ) -> None:
        super().__init__(problem)
        self.status, self.word, self.problem, self.remedy = status, word, problem, remedy
        self.where, self.retry_s, self.close = where, retry_s, close

    @property
    def document(self) -> dict[str, object]:
        """The answer's body."""
        return {
            "taken": False,
            "error": self.word,
            "where": self.where,
            "problem": self.problem,
            "remedy": self.remedy,
        }


def shown(text: str, most: int = 60) -> str:
    """Return a stranger's text in quotes, printable ASCII and short, fit for an answer and a log line."""
    said = ascii(text[:most])
    return said if len(text) <= most else f"{said}…"
