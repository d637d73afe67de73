"""The sheet to print: what a commissioning found, and the cautions, as one page without any other file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape

STYLE = """
:root { color-scheme: light; }
body { font: 11pt/1.35 "DejaVu Serif", Georgia, serif; color: #1d1b16; background: #fff;
  margin: 2rem auto; max-width: 46rem; padding: 0 1rem; }
h1 { font-size: 1.5rem; margin: 0 0 .2rem; }
h2 { font-size: 1.05rem; margin: 1.2rem 0 .3rem; border-bottom: 1px solid #b9b09b; }
p.sub { margin: 0 0 1rem; color: #565044; }
table { border-collapse: collapse; width: 100%; }
td { padding: .18rem .4rem .18rem 0; vertical-align: top; }
td:first-child { width: 45%; color: #565044; }
tr + tr td { border-top: 1px dotted #d8d1c0; }
ul { margin: .2rem 0; padding-left: 1.2rem; }
section.cautions { border: 2px solid #7a2e1d; padding: .2rem .9rem .6rem; }
section.cautions h2 { border: 0; color: #7a2e1d; margin-top: .5rem; }
.signed { margin-top: 3rem; display: flex; gap: 2rem; }
.signed span { flex: 1; border-top: 1px solid #1d1b16; padding-top: .2rem; }
@media print { body { margin: 0; max-width: none; } section { break-inside: avoid; } }
"""
SIGNED = ("Who stood at the shade", "Next look at cords, fixings and switch")


def sheet(
    *,
    name: str,
    day: str,
    link: str,
    rows: Mapping[str, Sequence[tuple[str, str]]],
    cautions: Sequence[str],
) -> str:
    """Return the page."""
    parts = [
        '<!doctype html><html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{escape(name)}: commissioning sheet</title><style>{STYLE}</style></head><body>",
        f'<h1>{escape(name)}</h1><p class="sub">Commissioned {escape(day)}; {escape(link)}</p>',
        '<section class="cautions"><h2>Cautions</h2><ul>',
        *(f"<li>{escape(each)}</li>" for each in cautions),
        "</ul></section>",
    ]
    for heading, lines in rows.items():
        shown = [(what, much) for what, much in lines if much]
        if shown:
            parts += [f"<section><h2>{escape(heading)}</h2>", *_table(shown), "</section>"]
    signed = "".join(f"<span>{each}</span>" for each in SIGNED)
    parts.append(f'<p class="signed">{signed}</p>')
    return "\n".join([*parts, "</body></html>\n"])


def _table(lines: Sequence[tuple[str, str]]) -> list[str]:
    if all(not what for what, _ in lines):
        return ["<ul>", *(f"<li>{escape(much)}</li>" for _, much in lines), "</ul>"]
    rows = (f"<tr><td>{escape(what)}</td><td>{escape(much)}</td></tr>" for what, much in lines)
    return ["<table>", *rows, "</table>"]
