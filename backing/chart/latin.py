"""Note names of the Latin countries (do re mi fa sol la si), to and from letters.

Conventions: whatever their capitals, with or without accents; `ti` is si. A sharp or flat belongs to the name before it
(`Sib7` is B flat with a seventh, as `Bb7` is). *Source*: note names as French, Italian and Spanish primers list them.
"""

from __future__ import annotations

import re

LETTERS = {"do": "C", "re": "D", "mi": "E", "fa": "F", "sol": "G", "la": "A", "si": "B"}
NAMES = {letter: name.capitalize() for name, letter in LETTERS.items()}
_ALSO = {"ré": "re", "ti": "si", "ut": "do"}
_NAME = re.compile(r"(do|ré|re|mi|fa|sol|la|si|ti|ut)(##|bb|#|b|♯|♭)?", re.I)
# of keys: word -> mode
_MODES = {
    "majeur": "major", "maggiore": "major", "mayor": "major", "maior": "major", "mineur": "minor", "minore": "minor",
    "menor": "minor",
}  # fmt: skip
_SIGNS = {
    "dièse": "#", "diese": "#", "diesis": "#", "sostenido": "#", "bémol": "b", "bemol": "b", "bemolle": "b",
}  # fmt: skip


def symbol_in_letters(text: str) -> str | None:
    """A chord symbol with its notes in letters, None where it begins with no name.

    >>> [symbol_in_letters(t) for t in ("Sib7", "solm7/Re", "Do#dim", "Dm", "N.C.")]
    ['Bb7', 'Gm7/D', 'C#dim', None, 'N.C.']
    """
    if text.replace(".", "").casefold() == "nc":
        return text
    root = _NAME.match(text)
    if not root:
        return None
    quality, slash, bass = text[root.end() :].rpartition("/")
    low = _NAME.fullmatch(bass) if slash else None
    if slash and not low:
        return _letter(root) + text[root.end() :]
    return (
        _letter(root)
        + (quality + slash if slash else text[root.end() :])
        + (_letter(low) if low else "")
    )


def note_in_letters(word: str) -> str | None:
    """A note of a melody, `sol#4`, in letters."""
    found = re.fullmatch(rf"{_NAME.pattern}(-?[0-9]{{0,2}})", word, re.I)
    return f"{_letter(found)}{found[3]}" if found else None


def key_in_letters(value: str) -> str:
    """A key, `la mineur`, `Si bémol majeur`, as letters have it; what is none as it is."""
    found = re.fullmatch(r"(do|ré|re|mi|fa|sol|la|si|ti|ut)([#♯b♭]?)(m?)(?:\s+(.*))?", value, re.I)
    if not found:
        return value
    words = (found[4] or "").casefold().split()
    accidental = found[2] or (_SIGNS.get(words[0], "") if words else "")
    if words and words[0] in _SIGNS:
        words = words[1:]
    name = found[1].casefold()
    mode = _MODES.get(" ".join(words), " ".join(words))
    return (
        LETTERS[_ALSO.get(name, name)]
        + accidental
        + found[3].lower()
        + (f" {mode}" if mode else "")
    )


def in_names(text: str) -> str:
    """A symbol, a note or a key in letters with its notes in names.

    >>> [in_names(t) for t in ("Bb7", "Gm7/D", "F#4", "A minor", "N.C.")]
    ['Sib7', 'Solm7/Re', 'Fa#4', 'La minor', 'N.C.']
    """
    if not text[:1] or text[0] not in NAMES or text.startswith("N.C"):
        return text
    head, slash, bass = text.rpartition("/")
    if slash and bass[:1] in NAMES and bass:
        return f"{NAMES[head[0]]}{head[1:]}/{NAMES[bass[0]]}{bass[1:]}"
    return NAMES[text[0]] + text[1:]


def _letter(found: re.Match[str]) -> str:
    name = found[1].casefold()
    return LETTERS[_ALSO.get(name, name)] + (found[2] or "")
