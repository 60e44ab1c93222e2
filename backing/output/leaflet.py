"""A page of the guide as a PDF, set by typst.

Conventions: Markdown as the guide has it (CommonMark: headings, paragraphs, lists of one level, code) becomes blocks, each a
kind, a number (level of a heading, figure of an item, 0), and its text: spans of `text`, `code`, `strong` and `em`, or
the lines of a piece of code. The same page gives the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from backing.ground.errors import OutputError
from backing.output import memory
from backing.output.files import MARK, claim, whole
from backing.output.sheet.faces import folders

if TYPE_CHECKING:
    from markdown_it.token import Token

TEMPLATE = Path(__file__).with_suffix(".typ")
Span = tuple[str, str]
Block = tuple[str, int, list[Span] | str]
_OPENS = {"strong_open": "strong", "em_open": "em", "strong_close": "text", "em_close": "text"}


def write(title: str, text: str, path: Path, *, force: bool = False) -> None:
    """Write a page of Markdown as a PDF. Raises `OutputError`."""
    if path.suffix.lower() != ".pdf":
        raise OutputError(f"{path}: a page of the guide is written as .pdf")
    claim(path, force=force)
    memory.enough()
    import typst

    data = {"title": title, "keywords": [MARK], "blocks": blocks(text)}
    made = typst.compile(
        str(TEMPLATE),
        format="pdf",
        font_paths=[str(folder) for folder in folders()],
        ignore_system_fonts=True,
        sys_inputs={"data": json.dumps(data, ensure_ascii=False)},
    )
    with whole(path, force=force) as beside:
        beside.write_bytes(made)


def blocks(text: str) -> list[Block]:
    r"""The blocks of a page.

    >>> blocks("# Bars\n\n- `|` a *line*\n")
    [('heading', 1, [('text', 'Bars')]), ('bullet', 0, [('code', '|'), ('text', ' a '), ('em', 'line')])]
    """
    from markdown_it import MarkdownIt

    found: list[Block] = []
    kind, number = "paragraph", 0
    for token in MarkdownIt().parse(text):
        if token.type == "fence":
            found.append(("code", 0, token.content.rstrip("\n")))
        elif token.type == "heading_open":
            kind, number = "heading", int(token.tag[1:])
        elif token.type == "list_item_open":
            kind, number = ("number", int(token.info)) if token.info else ("bullet", 0)
        elif token.type == "inline":
            found.append((kind, number, spans(token.children or ())))
            kind, number = "paragraph", 0
    return found


def spans(tokens: Iterable[Token]) -> list[Span]:
    """A line in pieces of one kind each; where it is broken stands a blank."""
    found: list[Span] = []
    kind = "text"
    for token in tokens:
        if token.type == "code_inline":
            found.append(("code", token.content))
        elif token.type in ("text", "softbreak"):
            found.append((kind, " " if token.type == "softbreak" else token.content))
        kind = _OPENS.get(token.type, kind)
    return [span for span in found if span[1]]
