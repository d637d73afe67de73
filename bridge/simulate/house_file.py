"""A house of simulated boards as a JSON file, for people who want another than the demo's.

The keys are the fields of HousePlan and all below it; fractions are strings such as "57/11".
"""

from __future__ import annotations

from pathlib import Path
from typing import TypeVar

from pydantic import ConfigDict, TypeAdapter, ValidationError, with_config

from bridge.core.errors import ConfigError
from bridge.simulate.build import Build
from bridge.simulate.fitting import BoardPlan, Fitting, HousePlan, OneWayPlan, Plan
from bridge.simulate.truth import State

for _kind in (Build, State, Fitting, BoardPlan, OneWayPlan, HousePlan):
    with_config(ConfigDict(extra="forbid", allow_inf_nan=False))(_kind)

_HOUSE = TypeAdapter(HousePlan)
_BOARD: TypeAdapter[Plan] = TypeAdapter(Plan)
T = TypeVar("T")


def read_house(path: Path) -> HousePlan:
    """Read a house file.

    Raises:
        ConfigError: the file can't be read, or says something that can't be built; all faults together.
    """
    return _read(_HOUSE, path)


def read_board(path: Path) -> Plan:
    """Read what `board_text` gave."""
    return _read(_BOARD, path)


def write_house(path: Path, plan: HousePlan) -> None:
    path.write_bytes(_HOUSE.dump_json(plan, indent=1))


def board_text(plan: Plan) -> bytes:
    return _BOARD.dump_json(plan, indent=1)


def _read(kind: TypeAdapter[T], path: Path) -> T:
    try:
        return kind.validate_json(path.read_bytes())
    except OSError as error:
        raise ConfigError(
            where=str(path),
            problem=error.strerror or "it can't be read",
            remedy="give the path of a house file",
        ) from error
    except ValidationError as error:
        faults = [
            f"{'.'.join(str(part) for part in fault['loc']) or 'file'}: {fault['msg']}"
            for fault in error.errors(include_url=False)
        ]
        raise ConfigError(
            where=str(path),
            problem="; ".join(faults[:20]),
            remedy="correct these; `--house demo` needs no file and shows what works",
        ) from error
