"""Every command that a document, an example or the service unit names is one that can be typed."""

import json
import re
import shlex
from pathlib import Path

import pytest

from bridge.cli.main import whole_parser
from bridge.core.errors import RequestError

ROOT = Path(__file__).parents[3]
DOCUMENTS = [
    *sorted(ROOT.glob("*.md")),
    *sorted(path for path in (ROOT / "config").iterdir() if path.suffix in (".md", ".conf", ".toml", ".acl")),
    ROOT / "bridge/board/README.md",
    ROOT / "systemd/hembar.service",
]
# In a text, and as a line in a block of lines to type; a path or other commands may stand before it.
QUOTED = re.compile(r"`(?:[^`\s]*/)?hembar ([^`]+)`")
BLOCK = re.compile(r"^```\n(.*?)^```", re.MULTILINE | re.DOTALL)
TYPED = re.compile(r"^(?:.* && |ExecStart=)?(?:[^\s`=]*/)?hembar ([a-z].*)$", re.MULTILINE)
PARSER = whole_parser()
# A text may name a command without all that belongs to it.
MENTIONED = ("arguments are required", "expected one argument")


def commands() -> list[tuple[str, str]]:
    found = []
    for path in DOCUMENTS:
        text = path.read_text()
        blocks = "\n".join(BLOCK.findall(text)) if path.suffix == ".md" else text
        said = {" ".join(each.split()): None for each in [*QUOTED.findall(text), *TYPED.findall(blocks)]}
        found += [(path.name, each) for each in said]
    return found


def refusal(words: list[str]) -> str:
    """Return why it can't be typed; "" when it can."""
    try:
        PARSER.parse_args(words)
    except RequestError as error:
        return error.problem
    except SystemExit:  # --help ends so
        return ""
    return ""


@pytest.mark.parametrize(("document", "words"), commands())
def test_it_can_be_typed(document: str, words: str) -> None:
    said = refusal([word for word in shlex.split(words, comments=True) if word != "…"])
    assert not said or any(each in said for each in MENTIONED), f"{document}: {said}"


def test_the_container_is_built_from_what_is_here_and_starts_the_service() -> None:
    text = (ROOT / "config/Containerfile").read_text()
    copied = re.findall(r"^COPY (?!--from)(.+) \S+$", text, re.MULTILINE)
    assert copied
    for source in " ".join(copied).split():
        assert (ROOT / source).exists(), source
    started = {
        word: json.loads(said) for word, said in re.findall(r"^(ENTRYPOINT|CMD) (.+)$", text, re.MULTILINE)
    }
    assert started["ENTRYPOINT"] == ["/opt/hembar/bin/hembar"]
    assert started["CMD"][0] == "run"
    assert refusal(started["CMD"]) == ""
