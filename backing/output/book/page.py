"""The contents page of a book: every tune with its files, to search, to sort and to listen, with no network.

Conventions: it looks as the contents page of a lesson; its script is its own, and the page's policy allows that script,
its style and the files beside it, nothing else. Without a script it is a list of links. What is typed is looked for in
title, maker, style and key, without capitals and accents.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from itertools import groupby
from pathlib import Path
from typing import NamedTuple

from backing.output.contents import CAUTION, SOUND, address, opening
from backing.output.contents import STYLE as LESSON
from backing.output.policy import hash_of

SCRIPT = Path(__file__).with_name("page.js").read_text("utf-8")
STYLE = (
    LESSON
    + """
main { max-width: 64rem; }
.tools { display: flex; flex-wrap: wrap; gap: .6rem; align-items: center; margin: 1.2rem 0; }
input { flex: 1 1 14rem; font: inherit; padding: .5rem .7rem; min-height: 44px; box-sizing: border-box; }
input, button { color: inherit; background: var(--paper); border: 1px solid var(--soft); border-radius: 4px; }
button { font: inherit; min-height: 44px; min-width: 44px; cursor: pointer; }
th button { border: 0; padding: 0; font-weight: 600; text-align: left; width: 100%; }
table { width: 100%; border-collapse: collapse; }
th { text-align: left; border-bottom: 1px solid var(--ink); }
td { padding: .3rem .8rem .3rem 0; border-bottom: 1px solid color-mix(in srgb, var(--soft) 35%, transparent); vertical-align: middle; }
td a, summary { display: inline-block; min-height: 44px; line-height: 44px; margin-right: .8rem; }
td.title { font-weight: 600; }
[aria-sort=ascending] button::after { content: " ↑"; }
[aria-sort=descending] button::after { content: " ↓"; }
#player { position: sticky; bottom: 0; background: var(--paper); padding: .6rem 0; border-top: 1px solid var(--ink); }
#player:empty, [hidden] { display: none !important; }
:focus-visible { outline: 2px solid var(--ink); outline-offset: 2px; }
@media (max-width: 44rem) {
  thead { position: absolute; clip-path: inset(50%); }
  tr, td { display: block; border: 0; padding: 0; }
  tbody tr { border-bottom: 1px solid var(--soft); padding: .6rem 0; }
  td.by:not(:empty), td.style, td.key, td.bpm { display: inline; color: var(--soft); font-size: .85rem; }
  td.by:not(:empty)::after, td.style::after, td.key::after { content: ", "; }
}
@media print { .tools, #player, .play { display: none; } }
"""
)
COLUMNS = (("title", "Title"), ("by", "By"), ("style", "Style"), ("key", "Key"), ("bpm", "Tempo"))


class File(NamedTuple):
    """A file of a tune: where, what it is, and which version of the tune ("" for the tune itself)."""

    path: str
    kind: str
    version: str = ""


class Listed(NamedTuple):
    """A tune of the page with its files; `bpm` as it is counted."""

    title: str
    by: str
    style: str
    key: str
    bpm: int
    heading: str
    files: tuple[File, ...]


def contents_page(title: str, by: str, whole: Sequence[File], tunes: Sequence[Listed]) -> str:
    """The page as HTML. `whole` are files of all tunes together."""
    maker = f'<p class="by" dir="auto">{escape(by)}</p>\n' if by else ""
    links = "".join(f"<li>{_link(file, file.kind)}</li>" for file in whole)
    heads = "".join(
        f'<th scope="col" data-of="{name}"><button type="button">{words}</button></th>'
        for name, words in COLUMNS
    )
    rows = "\n".join(_row(number, tune) for number, tune in enumerate(tunes))
    return (
        opening(title, policy(), STYLE)
        + f'<h1 dir="auto">{escape(title)}</h1>\n{maker}<ul>{links}</ul>\n'
        '<div class="tools" hidden><input type="search" aria-label="Search" placeholder="Title, maker, style or key">'
        '<span id="count" role="status"></span><button type="button" id="order">Playing order</button></div>\n'
        f'<table>\n<thead><tr>{heads}<th scope="col">Files</th></tr></thead>\n<tbody>\n{rows}\n</tbody>\n</table>\n'
        f'<div id="player"></div>\n<footer>{escape(CAUTION)}</footer>\n</main>\n<script>{SCRIPT}</script>\n'
        "</body>\n</html>\n"
    )


def key_shown(key: str) -> str:
    """A key with its sign.

    >>> key_shown("Bb major"), key_shown("F# minor")
    ('B♭ major', 'F♯ minor')
    """
    tonic, blank, mode = key.partition(" ")
    return tonic.replace("b", "♭").replace("#", "♯") + blank + mode


def policy() -> str:
    """Its own style and script and the sounds beside it (CSP level 3); `file:` for browsers to which no file is `self`."""
    return (
        f"default-src 'none'; style-src {hash_of(STYLE)}; script-src {hash_of(SCRIPT)}; "
        "media-src 'self' file:; base-uri 'none'; form-action 'none'"
    )


def _row(number: int, tune: Listed) -> str:
    told = {"title": tune.title, "by": tune.by, "style": tune.style, "key": key_shown(tune.key)}
    cells = "".join(f'<td class="{n}" dir="auto">{escape(words)}</td>' for n, words in told.items())
    sound = next((f.path for f in tune.files if f.path.endswith(SOUND)), "")
    play = ""
    if sound:
        label = escape(f"Play {tune.title}", quote=True)
        play = f'<button type="button" class="play" hidden data-sound="{address(sound)}" aria-label="{label}">▶</button> '
    files = "".join(
        _files(kind, list(own)) for kind, own in groupby(tune.files, key=lambda file: file.kind)
    )
    return f'<tr data-place="{number}">{cells}<td class="bpm">{tune.bpm}</td><td>{play}{files}</td></tr>'


def _files(kind: str, files: Sequence[File]) -> str:
    """The files of one kind: one as a link, several versions to unfold."""
    if len(files) == 1:
        return _link(files[0], kind)
    links = "".join(_link(file, file.version or "as written") for file in files)
    return f"<details><summary>{escape(kind)} ({len(files)})</summary>{links}</details>"


def _link(file: File, words: str) -> str:
    return f'<a href="{address(file.path)}">{escape(words)}</a>'
