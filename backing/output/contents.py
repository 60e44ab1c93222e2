"""The contents page of a lesson: lists every file and plays every sound, with no network and no script.

Conventions: white paper and near-black ink (they swap at night), one column, the browser's own players. What is read
and practised with stands first, then the band, then what few will open. Links are relative and percent-encoded
(RFC 3986), and the page's policy allows its own style and files beside it, nothing else.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from pathlib import PurePosixPath
from urllib.parse import quote

from backing.output.bundle import Item
from backing.output.files import MARK
from backing.output.policy import hash_of

SOUND = (".mp3", ".m4a", ".ogg", ".wav", ".flac")
FIRST = ("To practise with", "To read", "The band")  # groups that stand before all others
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
li > a { display: inline-block; min-height: 44px; line-height: 44px; }
.kind, .about { color: var(--soft); font-size: .85rem; }
footer { color: var(--soft); font-size: .85rem; margin-top: 3rem; }
@media print { audio { display: none; } }
"""


def index_page(title: str, by: str, items: Sequence[Item]) -> str:
    """The page as HTML; groups stand in the order in which they first occur, those of `FIRST` before them."""
    groups: dict[str, list[Item]] = {}
    for item in in_order(items):
        groups.setdefault(item.group, []).append(item)
    body = "\n".join(
        f"<h2>{escape(name)}</h2>\n<ul>\n{_rows(rows)}\n</ul>"
        for name, rows in groups.items()
        if rows
    )
    maker = f'<p class="by" dir="auto">{escape(by)}</p>\n' if by else ""
    return (
        opening(title, policy(), STYLE)
        + f'<h1 dir="auto">{escape(title)}</h1>\n{maker}{body}\n<footer>{escape(CAUTION)}</footer>\n'
        "</main>\n</body>\n</html>\n"
    )


def in_order(items: Sequence[Item]) -> list[Item]:
    """The files with those of the groups in `FIRST` before all others."""
    return sorted(items, key=lambda i: FIRST.index(i.group) if i.group in FIRST else len(FIRST))


def opening(title: str, policy: str, style: str) -> str:
    """A contents page up to its heading; of a book too."""
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n<!-- {MARK} -->\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="color-scheme" content="light dark">\n'
        f"<title>{escape(title)}</title>\n<style>{style}</style>\n</head>\n<body>\n<main>\n"
    )


def policy() -> str:
    """Its own style and the sounds beside it (CSP level 3); `file:` for browsers to which no file is `self`."""
    return (
        f"default-src 'none'; style-src {hash_of(STYLE)}; media-src 'self' file:; "
        "base-uri 'none'; form-action 'none'"
    )


def address(path: str) -> str:
    """A file beside the page as a link.

    >>> address("without/a#1 100%.mp3"), address("javascript:x.html")
    ('without/a%231%20100%25.mp3', 'javascript%3Ax.html')
    """
    return quote(path, safe="/")


def _rows(items: Sequence[Item]) -> str:
    return "\n".join(_row(item) for item in items)


def _row(item: Item) -> str:
    path = address(item.path)
    kind = PurePosixPath(item.path).suffix
    link = f'<a dir="auto" href="{path}">{escape(item.title)}</a> <span class="kind">{escape(kind[1:].upper())}</span>'
    if item.about:
        link += f' <span class="about">{escape(item.about)}</span>'
    if kind not in SOUND:
        return f"<li>{link}</li>"
    again = " loop" if item.group.endswith("Loops") else ""
    label = escape(f"{item.title}: play", quote=True)
    return f'<li>{link}<audio controls preload="none"{again} aria-label="{label}" src="{path}"></audio></li>'
