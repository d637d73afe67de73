"""The only place that reads the clocks."""

from __future__ import annotations

import time
from datetime import UTC, datetime

from bridge.core.values import Moment


def now() -> Moment:
    """Return this instant on both clocks."""
    return Moment(utc=datetime.now(UTC), mono_s=time.monotonic())
