"""Names of files that any disk takes, each for one file.

Conventions: a name is one part of a path. Two names are the same where some disk takes them for one: case is folded
(Windows, macOS, memory sticks) and accents are composed (macOS keeps them apart). Names stay below 200 bytes in UTF-8.
Sources: the file system limits of common systems (255 bytes or UTF-16 units a name); the device names and the
characters that Windows keeps for itself, from its documentation of file names.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence

MOST_BYTES = 200  # room for what is added: a player's name, a number, an ending
_PORTS = [f"{port}{n}" for port in ("com", "lpt") for n in "0123456789¹²³"]
DEVICES = frozenset(["con", "prn", "aux", "nul", "conin$", "conout$", *_PORTS])
_FORBIDDEN = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f\ud800-\udfff]')


def same_name(name: str) -> str:
    """What two names have in common that some disk takes for one.

    >>> same_name("Ä.MP3") == same_name("a\u0308.mp3")
    True
    """
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())


def safe(stem: str, empty: str = "track") -> str:
    """A name without its ending, so that every disk takes it.

    >>> safe("con"), safe("a/b: c?"), safe(" . ")
    ('con_', 'a-b- c-', 'track')
    """
    name = _FORBIDDEN.sub("-", stem).strip(" .")
    while len(name.encode("utf-8")) > MOST_BYTES:
        name = name[:-1].rstrip(" .")
    if name.partition(".")[0].rstrip().lower() in DEVICES:
        first, dot, rest = name.partition(".")
        name = f"{first.rstrip()}_{dot}{rest}"
    return name or empty


def worded(words: str, empty: str) -> str:
    """Words as part of a file name: letters and digits, everything else one hyphen; a prime stays a word.

    >>> worded("A'", "section"), worded("Solo  (last)", "section"), worded("—", "section")
    ('A-prime', 'Solo-last', 'section')
    """
    told = re.sub(r"(?<=\w)['’′]+(?!\w)", lambda found: "-prime" * len(found[0]), words)
    return "-".join(re.findall(r"[^\W_]+", told)) or empty


def unique(paths: Sequence[str], taken: Iterable[str] = ()) -> list[str]:
    """The paths (with `/`), each one file: the second `a.mp3` is `a-2.mp3`. None is one of `taken`.

    >>> unique(["A.wav", "a.wav", "A-2.wav", "index.html"], ["index.html"])
    ['A.wav', 'a-2.wav', 'A-2-2.wav', 'index-2.html']
    """
    seen = {same_name(name) for name in taken}
    found = []
    for path in paths:
        folder, slash, name = path.rpartition("/")
        stem, dot, ending = name.rpartition(".")
        new, number = path, 1
        while same_name(new) in seen:
            number += 1
            new = f"{folder}{slash}{stem}-{number}{dot}{ending}"
        seen.add(same_name(new))
        found.append(new)
    return found
