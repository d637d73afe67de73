"""Settings read in a process that ends: pydantic and its models, 10 MB, have no place in a service of years.

At a start that is a fork, which shares what both have loaded. Later the service has threads, which no fork
may meet: then `python -m bridge.settings.apart FILE` writes what it has read, or the faults.
"""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import traceback
from pathlib import Path
from typing import NoReturn

from bridge.core.errors import ConfigError, LinkError
from bridge.settings.faults import ConfigFaults
from bridge.settings.plain import Settings


class Reading:
    """Settings that are being read while this process, which has no threads yet, does something else.

    Args:
        path: The TOML file.

    Raises:
        LinkError: no process can be started.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        end, far_end = os.pipe()
        try:
            self._child = os.fork()
        except OSError as error:
            raise _not_started(path, error) from error
        if self._child == 0:
            os.close(end)
            _answer(path, far_end)
        os.close(far_end)
        self._answer = os.fdopen(end, "rb")

    def result(self) -> Settings:
        """Wait for the settings.

        Raises:
            ConfigFaults: the file can't be read, or something in it is wrong; all faults are listed.
            LinkError: the reading process failed.
        """
        with self._answer as answer:
            said = answer.read()
        _, status = os.waitpid(self._child, 0)
        return _understood(self._path, said, os.waitstatus_to_exitcode(status))


def load_apart(path: Path) -> Settings:
    """Read the settings in a TOML file by another process; as `load.load` otherwise.

    Raises:
        ConfigFaults: the file can't be read, or something in it is wrong; all faults are listed.
        LinkError: the reading process failed.
    """
    words = [sys.executable, "-m", __name__, str(path)]
    try:
        ended = subprocess.run(  # noqa: S603  # the words are our own
            words, check=False, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE
        )
    except OSError as error:
        raise _not_started(path, error) from error
    return _understood(path, ended.stdout, ended.returncode)


def _understood(path: Path, said: bytes, code: int) -> Settings:
    if code != 0:
        raise _failed(path, f"the process that reads it ended with {code}")
    read: Settings | list[tuple[str, str, str]] = pickle.loads(said)  # noqa: S301  # our own words
    if isinstance(read, Settings):
        return read
    faults = [ConfigError(where=where, problem=problem, remedy=remedy) for where, problem, remedy in read]
    raise ConfigFaults(origin=str(path), faults=faults)


def _not_started(path: Path, error: OSError) -> LinkError:
    return _failed(path, f"no process can be started to read it: {error}")


def _failed(path: Path, problem: str) -> LinkError:
    remedy = "give the service memory and the right to start a process, and try again"
    return LinkError(where=str(path), problem=problem, remedy=remedy)


def _answer(path: Path, end: int) -> NoReturn:
    """Read in the child of a fork, which must never go on as the parent does."""
    code = 1
    try:
        said = _said(path)
        with os.fdopen(end, "wb") as out:
            out.write(said)
        code = 0
    except BaseException:  # noqa: BLE001  # the parent says what it means; here is what it was
        traceback.print_exc()
    finally:
        os._exit(code)


def _said(path: Path) -> bytes:
    signal.signal(signal.SIGINT, signal.SIG_DFL)  # who is interrupted is the process that asked
    from bridge.settings.load import load  # noqa: PLC0415  heavy

    read: Settings | list[tuple[str, str, str]]
    try:
        read = load(path)
    except ConfigFaults as error:
        read = [(fault.where, fault.problem, fault.remedy) for fault in error.faults]
    return pickle.dumps(read, protocol=pickle.HIGHEST_PROTOCOL)


if __name__ == "__main__":
    sys.stdout.buffer.write(_said(Path(sys.argv[1])))
