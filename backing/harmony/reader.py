"""The reader of chord symbols: root, quality words, number, alterations and additions, bass.

A symbol is read from left to right and never looked up whole:

    root  accidentals  words (m maj dim aug ø Δ + -)  number  (sus, add, no, alt, b9, #11, brackets …)  /bass

Words and number give a stack of thirds; what follows changes it. Nothing is dropped or guessed in silence: what has one
usual reading is taken with a warning, what has two is refused with both.

*Conventions*: `dim`, `°`, `o` without 7 are triads; `ø` and `Δ` alone hold a seventh; `+` and `-` after the root mean
augmented and minor, after a number they raise or lower the degree that follows; `b9 #9 #11 b13` add themselves only;
`sus` is `sus4`; the slashes of `6/9` and `m/maj7` are no bass; an accidental after the letter belongs to the root.

*Sources*: MusicXML 4.0 harmony, Harte et al. 2005, open textbooks, and common practice where these are silent.
"""

from __future__ import annotations

import re
from functools import lru_cache

from backing.ground.pitch import NoteName
from backing.harmony.chord import Chord
from backing.harmony.grammar import Grammar
from backing.harmony.letters import Plain, SymbolError, SymbolWarning, note_name, plain
from backing.harmony.qualities import quality

USUAL_ROOTS = frozenset({"Bb", "Eb", "Ab", "Db", "Gb", "F#"})
ADVICE = {  # where no other symbol can be offered
    "contradiction": "leave one of them out",
    "duplicate": "leave one of them out",
    "space-inside": "type one symbol without blanks",
}
MINOR_MAJOR = re.compile(
    r"([A-H](?:[#b]+|is|es|s)?(?:minor|min|mi|m|-))/(?:(?:(?i:maj)|ma|M|Δ)(?:7|9|11|13)|Δ(?![0-9]))"
)
NO_CHORD = re.compile(r"n\.?c\.?", re.IGNORECASE)


def read(text: str, german: bool = False) -> Chord | None:
    """Read a symbol; None for `N.C.`. Raises `SymbolError`."""
    return read_with_warnings(text, german)[0]


@lru_cache(maxsize=8192)
def read_with_warnings(
    text: str, german: bool = False
) -> tuple[Chord | None, tuple[SymbolWarning, ...]]:
    """Read a symbol, with what its writer should know. Raises `SymbolError`, whose offers can all be read.

    With `german`, H is B natural, B is B flat, and Fis, Es, As … are understood.
    """
    try:
        return _read(text, german)
    except SymbolError as wrong:
        offers = tuple(dict.fromkeys(o for o in wrong.offers if _reads(o, german)))
        advice = wrong.advice
        if not offers and not advice:
            advice = ADVICE.get(wrong.code, "type a chord such as Cm7b5")
        raise SymbolError(wrong.code, wrong.message, advice, wrong.column, offers) from None


def _reads(text: str, german: bool) -> bool:
    try:
        _read(text, german)
    except SymbolError:
        return False
    return True


def _read(text: str, german: bool) -> tuple[Chord | None, tuple[SymbolWarning, ...]]:
    given = plain(text)
    body, columns = given.text, given.columns
    if blank := re.search(r"\s", body):
        head, tail = body[: blank.start()], "".join(body[blank.end() :].split())
        offers = (f"{head}({tail})",) if head[-1:] == "m" else (head + tail,)
        at = columns[blank.start()]
        raise SymbolError("space-inside", "a blank stands inside the symbol", "", at, offers)
    if NO_CHORD.fullmatch(body):
        return None, ()
    if (silence := NO_CHORD.match(body)) and body.startswith("/", silence.end()):
        at = columns[silence.end()]
        raise SymbolError("no-chord-with-bass", "N.C. has no bass", "", at, ("N.C.",))
    if "\\" in body:
        raise SymbolError(
            "wrong-slash",
            "a bass is written with /",
            "",
            columns[body.index("\\")],
            (body.replace("\\", "/"),),
        )
    if seventh := MINOR_MAJOR.match(body):  # Cm/maj7, whose slash is no bass
        at = seventh.end(1)
        body, columns = body[:at] + body[at + 1 :], (*columns[:at], *columns[at + 1 :])
        given = given._replace(text=body, columns=columns)
    root, start = note_name(body, 0, columns, german)
    bass, end = _bass(given, start, german)
    grammar = Grammar(body[:end], columns, start, body[:start], body[end:])
    degrees = grammar.read()
    try:
        kind = quality(degrees)
    except KeyError as unnamed:
        raise SymbolError(
            "contradiction",
            "these degrees do not make one chord",
            f"leave some of {unnamed.args[0]} out",
            columns[start],
        ) from None
    as_read = body[:start] + kind.name + body[end:]
    warnings = [
        SymbolWarning(w.code, w.message.replace("{read}", as_read)) for w in grammar.warnings
    ]
    if given.full_width:
        warnings.insert(0, SymbolWarning("full-width", f"full-width characters, read as {body}"))
    if not german:
        warnings.extend(_unusual_root(root, body[start:end]))
        warnings.extend(_syllable(body, as_read))
    chord = Chord(
        root,
        kind.name,
        kind.family,
        kind.degrees,
        (kind.degrees[0], *kind.must_sound) if bass else kind.must_sound,
        kind.omit,
        kind.any_of,
        bass,
        text.strip(),
    )
    return chord, tuple(warnings)


def _bass(given: Plain, start: int, german: bool) -> tuple[NoteName | None, int]:
    """The bass after the last slash, and where the chord before it ends."""
    text, columns = given.text, given.columns
    at = text.rfind("/", start)
    if at < 0:
        return None, len(text)
    upper, bass, column = text[:at], text[at + 1 :], columns[at]
    if upper.endswith("6") and re.match(r"9(?!\d)", bass):
        return None, len(text)
    if not bass:
        raise SymbolError("missing-bass", "no bass follows the slash", "", column, (upper,))
    if earlier := re.search(r"/(?!9)", upper[start:]):
        first = upper[: start + earlier.start()]
        raise SymbolError(
            "two-basses", "a chord has one bass only", "", column, (upper, f"{first}/{bass}")
        )
    if not "A" <= bass[0] <= "H":
        raise SymbolError(
            "bad-bass", "the bass is one note, A to G", "", column, _meant(upper, bass)
        )
    note, end = note_name(text, at + 1, columns, german)
    if end == len(text):
        return note, at
    offer, place = (text[:end],), columns[at + 1]
    if any(c.isdigit() for c in text[end:]):
        raise SymbolError(
            "polychord",
            f"{bass} is a chord, and the bass is one note",
            "or name the sound from one root, such as C13#11",
            place,
            offer,
        )
    raise SymbolError("bad-bass", "the bass is one note, not a chord", "", place, offer)


def _meant(upper: str, bass: str) -> tuple[str, ...]:
    """What may be meant by a slash before something that is no note."""
    if re.fullmatch(r"[b#]\d+\)", bass):
        return (f"{upper},{bass}",)
    if re.fullmatch(r"[b#]\d+", bass):
        return (f"{upper}({bass})",)
    if bass in ("4", "sus4", "sus"):
        return (f"{upper}sus4",)
    if re.fullmatch(r"9|11|13", bass):
        return (f"{upper}({bass})" if upper[-1].isdigit() else f"{upper}add{bass}",)
    if re.fullmatch(r"(?i:maj|ma|m)7|Δ7?", bass):
        return (f"{upper}(maj7)",)
    return (f"{upper}/{bass[0].upper()}{bass[1:]}", upper)


def _syllable(body: str, as_read: str) -> list[SymbolWarning]:
    """Do, Do7: D with the o of a diminished chord, and perhaps the note do was meant."""
    found = re.match(r"Do(?=7?(?:$|/))", body)
    if not found:
        return []
    message = (
        f"read as {as_read}; if the note do was meant, type C{body[2:]} or set note-names: latin"
    )
    return [SymbolWarning("looks-like-solfege", message)]


def _unusual_root(root: NoteName, suffix: str) -> list[SymbolWarning]:
    """Cb9, C#11 …: the accidental belongs to the root, and perhaps was meant for the number."""
    number = re.match(r"5|9|11|13", suffix)
    if not number or not root.alter or root.name in USUAL_ROOTS:
        return []
    mark, sign = ("b", "flat") if root.alter < 0 else ("#", "sharp")
    degree = f"{mark}{number[0]}"
    letter = root.letter
    meant = f"{letter}7{degree} or {letter}(add{degree})"
    if number[0] == "5" or degree == "#13":
        meant = f"{letter}({degree})" if number[0] == "5" else f"{letter}13"
    message = f"read with the root {root.name}; if {degree} on {letter} was meant, type {meant}"
    return [SymbolWarning(f"ambiguous-{sign}", message)]
