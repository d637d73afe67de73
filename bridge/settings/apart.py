"""Settings read in a process that ends: the models of the file, 8 MB, have no place in a service of years.

`python -m bridge.settings.apart FILE` writes what it has read, or the faults, for the process that asked.
"""

from __future__ import annotations

import pickle
import signal
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from bridge.core.errors import ConfigError, LinkError
from bridge.settings.faults import ConfigFaults

if TYPE_CHECKING:
    # Not in earnest: the reader starts first, and loads beside all that this process needs.
    from bridge.settings.plain import Settings


class Reading:
    """Settings that are being read while this process does something else.

    Args:
        path: The TOML file.

    Raises:
        LinkError: no process can be started.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        words = [sys.executable, "-m", __name__, str(path)]
        try:
            self._process = subprocess.Popen(  # noqa: S603  # the words are our own
                words, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE
            )
        except OSError as error:
            raise self._failed(f"no process can be started to read it: {error}") from error

    def result(self) -> Settings:
        """Wait for the settings.

        Raises:
            ConfigFaults: the file can't be read, or something in it is wrong; all faults are listed.
            LinkError: the reading process failed.
        """
        with self._process as process:
            try:
                said, _ = process.communicate()
            finally:
                process.kill()
        if process.returncode != 0:
            raise self._failed(f"the process that reads it ended with {process.returncode}")
        read: Settings | list[tuple[str, str, str]] = pickle.loads(said)  # noqa: S301  # our own words
        if not isinstance(read, list):
            return read
        faults = [ConfigError(where=where, problem=problem, remedy=remedy) for where, problem, remedy in read]
        raise ConfigFaults(origin=str(self._path), faults=faults)

    def _failed(self, problem: str) -> LinkError:
        remedy = "give the service memory and the right to start a process, and try again"
        return LinkError(where=str(self._path), problem=problem, remedy=remedy)


def load_apart(path: Path) -> Settings:
    """Read the settings in a TOML file by another process; as `load.load` otherwise.

    Raises:
        ConfigFaults: the file can't be read, or something in it is wrong; all faults are listed.
        LinkError: the reading process failed.
    """
    return Reading(path).result()


def _main(path: str) -> None:
    signal.signal(signal.SIGINT, signal.SIG_DFL)  # who is interrupted is the process that asked
    from bridge.settings.load import load  # noqa: PLC0415  heavy

    read: Settings | list[tuple[str, str, str]]
    try:
        read = load(path)
    except ConfigFaults as error:
        read = [(fault.where, fault.problem, fault.remedy) for fault in error.faults]
    sys.stdout.buffer.write(pickle.dumps(read, protocol=pickle.HIGHEST_PROTOCOL))


if __name__ == "__main__":
    _main(sys.argv[1])
