"""What can go wrong and whose move it is: the owner's, the caller's, or the outside world's.

Every message says where, what, and what to do about it. Our own bugs are not here: they are
assertions, so that the service manager restarts us and the journal is replayed.
"""


class BridgeError(Exception):
    """Something that a person can read and act on.

    Args:
        where: The place: a file and table, a command option, a topic.
        problem: What is wrong there, with the offending value.
        remedy: What to do about it.
    """

    def __init__(self, *, where: str, problem: str, remedy: str) -> None:
        """Keep the three parts and join them into the message."""
        super().__init__(f"{where}: {problem}; {remedy}")
        self.where = where
        self.problem = problem
        self.remedy = remedy


class ConfigError(BridgeError):
    """The owner can edit a file to put this right."""


class RequestError(BridgeError):
    """A caller asked for the impossible."""


class LinkError(BridgeError):
    """The broker, a board or a sensor let us down; raised from the original error."""
