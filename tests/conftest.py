import asyncio
import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# No test fails for being slow: a busy machine is no defect.
settings.register_profile("plain", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("ci", settings.get_profile("plain"), derandomize=True, print_blob=True)
settings.register_profile("deep", settings.get_profile("plain"), max_examples=5000)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE") or ("ci" if os.environ.get("CI") else "plain"))

# Else pytest-asyncio asks for the current loop after a plain test, makes one by asking, and never closes it.
asyncio.set_event_loop(None)

MARKED_FOLDERS = ("broker", "crash", "browser")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what lies in tests/broker, tests/crash and tests/browser, so that plain runs leave it out."""
    here = Path(__file__).parent
    for item in items:
        room = item.path.relative_to(here).parts[0]
        if room in MARKED_FOLDERS:
            item.add_marker(room)
