"""The guide as pages of the desk: Markdown set as HTML, in the look of the desk."""

from __future__ import annotations

import html
from collections.abc import Sequence

FRAME = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<link rel="icon" href="/web/icon.svg">
<link rel="stylesheet" href="/web/desk.css">
<title>{title}</title>
</head>
<body class="guide">
<nav aria-label="Guide">{topics}</nav>
<main>
{body}
</main>
</body>
</html>
"""


def set_page(title: str, text: str, topics: Sequence[tuple[str, str]], here: str) -> str:
    """A page of Markdown with links to the others; `topics` are names and titles."""
    from markdown_it import MarkdownIt

    reader = MarkdownIt("commonmark", {"html": False}).enable("table")
    links = [
        f'<a href="/guide/{name}"{" aria-current=page" * (name == here)}>{html.escape(words)}</a>'
        for name, words in topics
    ]
    body = reader.render(text).replace(
        "<table>", '<div class="wide" tabindex="0" role="region" aria-label="Table"><table>'
    )
    body = body.replace("</table>", "</table></div>").replace("<pre>", '<pre tabindex="0">')
    return FRAME.format(title=html.escape(title), topics="\n".join(links), body=body)
