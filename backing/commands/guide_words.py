"""Where the guide tells of a word or a sign: the paragraphs and items that show it as something to type.

Conventions: what can be typed stands between backticks on the pages; a setting is found without its colon, a direction
without its quotes, an option without its dashes and its value.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

_CODE = re.compile(r"^```.*?^```$", re.M | re.S)
_ITEM = re.compile(r"\n(?=- |\d+\. )|\n\n+")
MOST = 4  # of a page that are shown for a word that is not typed
_TYPED = re.compile(r"`([^`]+)`")


def told(word: str, pages: Mapping[str, str]) -> dict[str, list[str]]:
    """By page the items and paragraphs that show `word`; pages without any are left out.

    >>> told("capo", {"charts": "# C\\n\\n- `capo:` the fret.\\n- `tuned:` steps.", "sounds": "None."})
    {'charts': ['- `capo:` the fret.']}
    """
    wanted = _plain(word)
    found = {
        name: [item.strip() for item in _ITEM.split(_CODE.sub("", text)) if _shows(item, wanted)]
        for name, text in pages.items()
    }
    return {name: items for name, items in found.items() if items}


def mentioned(words: str, pages: Mapping[str, str]) -> dict[str, list[str]]:
    """By page the items and paragraphs that speak of all the words, one of several or not; the first `MOST` of a page.

    >>> mentioned("second endings", {"charts": "# C\\n\\n- `|1.` the first and the second ending.\\n- Capo."})
    {'charts': ['- `|1.` the first and the second ending.']}
    """
    stems = [re.compile(rf"\b{re.escape(_singular(w))}(?:s|es)?\b") for w in _plain(words).split()]
    found = {}
    for name, text in pages.items():
        items = [i.strip() for i in _ITEM.split(_CODE.sub("", text)) if not i.startswith("#")]
        items = [i for i in items if all(stem.search(i.casefold()) for stem in stems)]
        if items and stems:
            found[name] = items[:MOST]
    return found


def _singular(word: str) -> str:
    return word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith("ss") else word


def _shows(item: str, wanted: str) -> bool:
    typed = _TYPED.findall(item)
    return any(wanted in (_plain(t), _plain(t.split()[0])) for t in typed if t.strip())


def _plain(typed: str) -> str:
    """What is typed, without what stands around it.

    >>> _plain('"Segno"'), _plain("capo:"), _plain("--tempo"), _plain("|:"), _plain("-")
    ('segno', 'capo', 'tempo', '|:', '-')
    """
    word = typed.strip().casefold().strip('"')
    word = word.removeprefix("--") if len(word) > 2 else word
    return word.removesuffix(":") if word[:1].isalpha() else word
