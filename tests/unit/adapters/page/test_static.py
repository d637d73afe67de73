"""The page's own files: every text is in the one table, nothing is inline, nothing comes from elsewhere."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

STATIC = Path(__file__).parents[4] / "bridge" / "adapters" / "page" / "static"
OWN = sorted(STATIC.glob("*.js"))
TABLE = (STATIC / "text.js").read_text()
KEYS = set(re.findall(r'^  "([^"]+)":', TABLE, re.MULTILINE))
OTHERS = "".join(each.read_text() for each in OWN if each.name != "text.js")
# A key in the code: a whole one, or the start of one that ends in ${…}.
WHOLE = set(re.findall(r'"([a-z]+(?:\.[a-z0-9-]+)*)"', OTHERS))
BEGINNINGS = tuple(re.findall(r"say\(`([a-z]+\.(?:[a-z]+\.)*)\$\{", OTHERS))


def test_every_text_in_the_table_is_used() -> None:
    assert len(KEYS) > 100
    assert {key for key in KEYS if key not in WHOLE and not key.startswith(BEGINNINGS)} == set()


@pytest.mark.parametrize("module", OWN, ids=lambda each: each.name)
def test_every_text_asked_for_is_in_the_table(module: Path) -> None:
    asked = re.findall(r'\bsay\("([^"]+)"', module.read_text())
    assert [key for key in asked if key not in KEYS] == []


@pytest.mark.parametrize("module", OWN, ids=lambda each: each.name)
def test_a_module_sets_no_style_attribute_and_parses_no_markup(module: Path) -> None:
    text = module.read_text()
    for barred in (
        "style:",
        "innerHTML",
        "outerHTML",
        "insertAdjacentHTML",
        "cssText",
        "eval(",
        "new Function",
    ):
        assert barred not in text


@pytest.mark.parametrize("module", OWN, ids=lambda each: each.name)
def test_every_module_that_is_imported_is_there(module: Path) -> None:
    for name in re.findall(r'(?:from|import\()\s*"\./([^"]+)"', module.read_text()):
        assert (STATIC / name).is_file()


class Seen(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.inline: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        self.inline += [name for name in named if name == "style" or name.startswith("on")]
        if tag == "style" or (tag == "script" and "src" not in named):
            self.inline.append(tag)
        self.links += [value for name in ("href", "src") if (value := named.get(name))]


def test_the_document_has_nothing_inline_and_every_file_it_names_is_there() -> None:
    seen = Seen()
    seen.feed((STATIC / "index.html").read_text())
    assert seen.inline == []
    assert seen.links
    assert [each for each in seen.links if not (STATIC / each).is_file()] == []


def test_the_chart_library_keeps_its_licence_beside_it() -> None:
    assert "MIT License" in (STATIC / "vendor" / "uplot" / "LICENSE").read_text()
    assert "uPlot (v1.6.32)" in (STATIC / "vendor" / "uplot" / "uPlot.iife.min.js").read_text()[:200]
