"""Directives in curly brackets, as files of words with chords have them: what they are called, and what a chart types.

*Source*: ChordPro 6, its directives and their short forms.
"""

from __future__ import annotations

import re

# directive, or the word before the colon on a page of words: setting of a chart
SETTINGS = {
    "title": "title", "t": "title", "artist": "by", "composer": "by", "by": "by", "key": "key", "tonart": "key", "tempo": "tempo",
    "bpm": "tempo", "capo": "capo", "time": "meter", "meter": "meter",
}  # fmt: skip
NOTES = ("subtitle", "st")
COMMENTS = ("comment", "c", "comment_italic", "ci", "comment_box", "cb", "highlight")
SECTIONS = {"c": "Chorus", "v": "Verse", "b": "Bridge"}  # {soc}, {sov}, {sob}

_DIRECTIVE = re.compile(r"\{\s*(?P<name>[A-Za-z_]{1,40})\s*(?::\s*(?P<value>[^{}]*?))?\s*\}")
_OPENS = re.compile(r"start_of_(?P<long>\w+)|so(?P<short>[cvb])|(?P<again>chorus)")
_CLOSES = re.compile(r"end_of_\w+|eo[cvb]")


def typed(line: str) -> str | None:
    """What a chart types for a line that is a directive, "" for nothing at all; None where the line is none.

    >>> typed("{t: Night Road}"), typed("{soc}"), typed("{c: softly}"), typed("{eoc}"), typed("Night Road")
    ('title: Night Road', '[Chorus]', '# softly', '', None)
    """
    found = _DIRECTIVE.fullmatch(line.strip())
    if not found:
        return None
    name, value = found["name"].casefold(), found["value"] or ""
    if _CLOSES.fullmatch(name):
        return ""
    setting = SETTINGS.get(name) or ("notes" if name in NOTES else "")
    if setting and value:
        return f"{setting}: {value}"
    opens = _OPENS.fullmatch(name)
    if opens:
        named = SECTIONS.get(opens["short"] or "") or (opens["long"] or "chorus").capitalize()
        return f"[{value or named.replace('_', ' ')}]"
    return f"# {value}" if name in COMMENTS else f"# {name}: {value}".removesuffix(": ")


def without(text: str) -> str:
    r"""A text with every directive as a chart types it.

    >>> without("{t: Night Road}\n{soc}\n| C | G |\n{eoc}\n")
    'title: Night Road\n[Chorus]\n| C | G |\n'
    """
    lines = [(line, typed(line)) for line in text.split("\n")]
    return "\n".join(line if mended is None else mended for line, mended in lines if mended != "")
