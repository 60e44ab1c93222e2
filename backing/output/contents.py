"""The contents page of a lesson: lists every file and plays every sound, with no network and no script.

Conventions: white paper and near-black ink (they swap at night), one column, the browser's own players.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from pathlib import PurePosixPath

from backing.output.bundle import Item
from backing.output.files import MARK

SOUND = (".mp3", ".m4a", ".ogg", ".wav", ".flac")
CAUTION = (
    "Keep headphones low enough that you could still talk over them, rest your ears, and take breaks. "
    "Stop when your ears ring or something hurts, and ask a professional if it does not pass."
)
STYLE = """
:root { color-scheme: light dark; --ink: #1a1a1a; --paper: #fff; --soft: #6b6b6b; }
@media (prefers-color-scheme: dark) { :root { --ink: #f2f2f2; --paper: #141414; --soft: #a5a5a5; } }
body { background: var(--paper); color: var(--ink); font: 17px/1.5 system-ui, sans-serif; margin: 0; }
main { max-width: 44rem; margin: 0 auto; padding: 2rem 1.2rem 3rem; }
h1 { font-size: 2rem; line-height: 1.15; margin: 0; }
.by { color: var(--soft); margin: .2rem 0 2rem; }
h2 { font-size: 1rem; margin: 2.2rem 0 .4rem; border-bottom: 1px solid var(--ink); padding-bottom: .2rem; }
ul { list-style: none; margin: 0; padding: 0; }
li { padding: .6rem 0; }
a { color: inherit; text-underline-offset: .2em; }
audio { display: block; width: 100%; margin-top: .3rem; }
.kind { color: var(--soft); font-size: .85rem; }
footer { color: var(--soft); font-size: .85rem; margin-top: 3rem; }
@media print { audio { display: none; } }
"""


def index_page(title: str, by: str, items: Sequence[Item]) -> str:
    """The page as HTML; groups stand in the order in which they first occur."""
    groups: dict[str, list[Item]] = {}
    for item in items:
        groups.setdefault(item.group, []).append(item)
    body = "\n".join(
        f"<h2>{escape(name)}</h2>\n<ul>\n{_rows(rows)}\n</ul>" for name, rows in groups.items()
    )
    maker = f'<p class="by">{escape(by)}</p>' if by else '<p class="by"></p>'
    return (
        f'<!doctype html>\n<!-- {MARK} -->\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n<main>\n"
        f"<h1>{escape(title)}</h1>\n{maker}\n{body}\n<footer>{escape(CAUTION)}</footer>\n"
        "</main>\n</body>\n</html>\n"
    )


def _rows(items: Sequence[Item]) -> str:
    return "\n".join(_row(item) for item in items)


def _row(item: Item) -> str:
    path = escape(item.path, quote=True)
    kind = PurePosixPath(item.path).suffix
    link = f'<a href="{path}">{escape(item.title)}</a> <span class="kind">{escape(kind[1:].upper())}</span>'
    if kind not in SOUND:
        return f"<li>{link}</li>"
    again = " loop" if item.group == "Loops" else ""
    label = escape(f"{item.title}: play", quote=True)
    return f'<li>{link}<audio controls preload="none"{again} aria-label="{label}" src="{path}"></audio></li>'
