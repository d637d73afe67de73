import re
import subprocess
import sys

import pytest

from bridge.cli.main import main

BUILDING = ["roll", "gear", "move", "lift", "cable"]
SUN_AND_WIND = ["sun", "daylight", "sunlit-year", "cloth", "wind"]


def test_the_help_lists_all_calculators(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["calc", "--help"]) == 0
    listed = re.findall(r"^    ([a-z-]+)(?: |$)", capsys.readouterr().out, re.MULTILINE)
    assert listed == BUILDING + SUN_AND_WIND


@pytest.mark.parametrize("name", BUILDING + SUN_AND_WIND)
def test_each_calculator_has_help_of_its_own(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["calc", name, "--help"]) == 0
    shown = capsys.readouterr().out
    assert shown.startswith(f"usage: hembar calc {name} ")
    assert f"hembar calc {name} --" in shown


def test_the_builders_calculators_load_nothing_of_the_sun_or_of_the_daemon() -> None:
    code = (
        "import sys; from bridge.cli.main import main; main(sys.argv[1:]);"
        "print([name for name in ('pydantic', 'aiomqtt', 'structlog', 'numpy', 'astral', 'bridge.cli.check')"
        " if name in sys.modules])"
    )
    words = ["calc", "roll", "--tube-mm", "40", "--cloth-mm", "0.5", "--turns", "3"]
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
