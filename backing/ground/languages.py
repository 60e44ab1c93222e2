"""Languages of titles and words: their codes, and what people call them.

Source: tags as BCP 47 (RFC 5646) has them, a code of ISO 639 in two or three small letters with a region or script
behind a hyphen where it matters; names of languages in English and in themselves are general knowledge.
"""

from __future__ import annotations

import re

ENGLISH = "en"  # what sheets and pages are in where a chart says nothing

_TAG = re.compile(r"[a-z]{2,3}(?:-(?:[A-Z]{2}|[A-Z][a-z]{3}))?")

# code, names
_TABLE = (
    ("cs", "czech", "čeština"), ("da", "danish", "dansk"), ("de", "german", "deutsch"), ("el", "greek", "ελληνικά"),
    ("en", "english"), ("es", "spanish", "español", "espanol"), ("fi", "finnish", "suomi"), ("fr", "french", "français", "francais"),
    ("he", "hebrew", "עברית"), ("hu", "hungarian", "magyar"), ("it", "italian", "italiano"), ("ja", "japanese", "日本語", "jp"),
    ("ko", "korean", "한국어", "kr"), ("nl", "dutch", "nederlands"), ("no", "norwegian", "norsk"), ("pl", "polish", "polski"),
    ("pt", "portuguese", "português", "portugues"), ("ro", "romanian", "română"), ("ru", "russian", "русский"),
    ("sv", "swedish", "svenska"), ("tr", "turkish", "türkçe"), ("uk", "ukrainian", "українська"), ("zh", "chinese", "中文", "cn"),
)  # fmt: skip
NAMED = {name: code for code, *names in _TABLE for name in names}


def is_tag(text: str) -> bool:
    """Whether a text is a tag of a language as charts write it.

    >>> [is_tag(text) for text in ("de", "pt-BR", "zh-Hant", "German", "DE")]
    [True, True, True, False, False]
    """
    return _TAG.fullmatch(text) is not None


def meant(text: str) -> str | None:
    """The tag that is meant by the name of a language, or by a tag in other letters, None for neither.

    >>> meant("Deutsch"), meant("PT_br"), meant("something else")
    ('de', 'pt-BR', None)
    """
    low = text.casefold()
    if low in NAMED:
        return NAMED[low]
    main, _, rest = low.replace("_", "-").partition("-")
    tag = f"{main}-{rest.upper() if len(rest) == 2 else rest.title()}" if rest else main
    return tag if is_tag(tag) else None
