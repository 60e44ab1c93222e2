"""Styles by a word: what musicians mean by `rock` or `latin`, and a search through names and descriptions.

The table holds what a word means beyond the names and descriptions that hold it; a style is named here by its name, and
one that no folder has is passed over. *Source*: common practice.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping

# word: styles that are called so though neither their name nor their description says it
KINDS: dict[str, tuple[str, ...]] = {
    "ballad":  ("slow rock",),
    "blues":   ("gospel twelve-eight",),
    "country": ("bluegrass",),
    "folk":    ("bluegrass", "jig", "reel", "hornpipe", "slow air", "polka", "schottische", "freylekhs", "Cajun two-step",
                "Cajun waltz", "strummed waltz", "acoustic singer-songwriter", "fingerstyle ballad"),
    "jazz":    ("straight-ahead swing", "fast swing", "two-feel swing", "four to the bar swing", "five-four swing",
                "bossa nova"),
    "latin":   ("bossa nova", "samba", "baiao", "salsa", "mambo", "cha-cha-cha", "merengue", "cumbia", "tango", "milonga",
                "Afro-Cuban 12/8", "reggaeton"),
    "pop":     ("six-eight ballad", "six-eight anthem", "acoustic singer-songwriter", "disco", "rock eighths"),
    "reggae":  ("ska",),
    "rock":    ("fast punk", "rockabilly", "metal gallop"),
    "soul":    ("gospel twelve-eight",),
}  # fmt: skip
_SPELLINGS = {"hiphop": "hip hop", "r&b": "soul", "rnb": "soul"}


def called(word: str, known: Mapping[str, str]) -> tuple[str, ...]:
    """The names that a word fits, of styles by name with what they are about: those that begin with it come first.

    Whole words count (`waltz` and `waltzes` are one); where none fits, the beginning of a word does.
    """
    said = _plain(word)
    said = _SPELLINGS.get(said, said)
    if not said:
        return ()
    meant = {_plain(name) for name in KINDS.get(said, ())}
    one = re.escape(re.sub(r"(?<=[szx])es$|(?<!s)s$", "", said))
    for pattern in (rf"\b{one}(?:e?s)?\b", rf"\b{re.escape(said)}"):
        fits = re.compile(pattern).search
        found = [
            (rank, name)
            for name, about in known.items()
            if (rank := _rank(_plain(name), _plain(about), fits, meant)) is not None
        ]
        if found:
            return tuple(name for _, name in sorted(found, key=lambda one: one[0]))
    return ()


def _rank(
    name: str, about: str, fits: Callable[[str], re.Match[str] | None], meant: Collection[str]
) -> int | None:
    """0 where the name begins with the word, 1 where it holds it, 2 where the description does, None where nothing fits."""
    if found := fits(name):
        return 1 if found.start() else 0
    return 2 if name in meant or fits(about) else None


def _plain(text: str) -> str:
    """Words in small letters with a blank between them, as names of styles and of their files are compared."""
    return " ".join(re.findall(r"[\w&']+", text.casefold()))
