"""Chords as numbers (`1 4 5^7 6-`) and as Roman numerals (`I V7/V bVII`), read in a key.

Conventions: numbers count on the major scale of the tonic, in minor too; a bare figure is a major triad, `-` makes it minor,
and what follows a slash is the bass, a degree of the key. Numerals: capitals are major; in minor III, VI and VII are those of
the natural scale, small vi and vii the raised ones; figures are those of figured bass; what follows a slash is the key that
the chord belongs to (`V7/V`), or a figure, the bass. *Sources*: both as common practice has them; the doubts are warnings.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from backing.chart.ast import LETTERS, NUMBERS, NUMERALS
from backing.ground.pitch import Degree, Key, NoteName
from backing.harmony.symbol import Chord, SymbolError, read

NOTATIONS = (LETTERS, NUMBERS, NUMERALS)
EXAMPLES = {NUMBERS: "1, 6- or 5^7", NUMERALS: "I, vi or V7"}
ROMAN = ("I", "II", "III", "IV", "V", "VI", "VII")
_NUMBER = re.compile(
    r"(b{0,2}|#{0,2})([1-7])([^/]*(?:\([^)]*\))?[^/]*)(?:/(b{0,2}|#{0,2})([1-7]))?"
)
_NUMERAL = re.compile(
    r"(?P<sub>sub)?(?P<sign>b{0,2}|#{0,2})(?P<roman>VII|VI|IV|V|III|II|I|vii|vi|iv|v|iii|ii|i|N|Ger|Fr|It)(?P<rest>.*)"
)
_MINOR_TRIADS = {
    2: "2-",
    3: "3-",
    6: "6-",
    7: "7o",
}  # of the major scale: what loose practice means by a bare figure
_QUALITIES = (
    (r"(?:ø|/o|%|0)7?", "m7b5"), (r"(?:o|°)7", "dim7"), (r"(?:o|°)", "dim"), (r"M7|Δ7?|△7?", "maj7"), (r"M9", "maj9"),
)  # fmt: skip
_INVERSIONS = {
    "6": (0, 1),
    "64": (0, 2),
    "65": (1, 1),
    "43": (1, 2),
    "42": (1, 3),
    "2": (1, 3),
}  # seventh, place of the bass
_SIXTHS = {
    "Ger": "7",
    "Fr": "7b5",
    "It": "7no5",
}  # augmented sixths on the lowered sixth degree, as dominants sound


class Doubt(NamedTuple):
    """What may be meant otherwise, and what to type to be clear."""

    message: str
    hint: str


class Found(NamedTuple):
    """A chord with the doubt about it; no chord where the text is none."""

    chord: Chord | None
    doubt: Doubt | None = None


def read_in_key(text: str, key: Key, notation: str) -> Found:
    """The chord that a number or a numeral is in a key.

    >>> [read_in_key(t, Key.parse("G"), "numbers").chord.symbol for t in ("1", "2-7", "b7", "1/3")]
    ['G', 'Am7', 'F', 'G/B']
    >>> read_in_key("V7/V", Key.parse("C"), "numerals").chord.symbol
    'D7'
    """
    plain = text.replace("♭", "b").replace("♯", "#")
    return _number(plain, key) if notation == NUMBERS else _numeral(plain, key)


def _number(text: str, key: Key) -> Found:
    found = _NUMBER.fullmatch(text)
    if not found:
        return Found(None)
    sign, figure, quality = found[1], int(found[2]), found[3]
    root = _degree(sign, figure).of(key.tonic)
    bass = _degree(found[4], int(found[5])).of(key.tonic) if found[5] else None
    doubt = None
    if re.match(r"[1-7](?![0-9])", quality):
        doubt = Doubt(
            f"{text} may be {figure} and then {quality}, or a chord with {quality}; the latter is read",
            f"type  {sign}{figure}^{quality}",
        )
    elif not quality and not sign and key.minor:
        minor = "-" if figure in (1, 4) else ""
        if minor:
            doubt = Doubt(
                f"{figure} in a minor key is read as a major chord on that degree of the tonic, {key.tonic.name}",
                f"type  {figure}-  for the minor chord; some count from the relative major",
            )
    elif not quality and not sign and figure in _MINOR_TRIADS:
        doubt = Doubt(
            f"{figure} is read as a major chord; some mean the one of the scale by it",
            f"type  {_MINOR_TRIADS[figure]}  for the one of the scale",
        )
    quality = quality.replace("^", "")
    quality = "m" + quality[1:] if quality.startswith("-") else quality
    return Found(_chord(root, _plain(quality), bass), doubt)


def _numeral(text: str, key: Key) -> Found:
    found = _NUMERAL.fullmatch(text)
    if not found:
        return Found(None)
    roman, rest = found["roman"], found["rest"]
    rest, bass_degree, target = _slash(rest)
    if target:
        home = _numeral(target, key).chord
        if home is None:
            return Found(None)
        key = Key(home.root, home.family in ("minor", "diminished", "half-diminished"))
    if found["sub"]:
        root = _degree("b", 2).of(key.tonic)
        return Found(_chord(root, _plain(rest) or "7", None)) if roman == "V" else Found(None)
    if roman in _SIXTHS:
        return Found(_chord(_degree("b", 6).of(key.tonic), _SIXTHS[roman], None))
    minor = roman.islower()
    figure = 2 if roman == "N" else ROMAN.index(roman.upper()) + 1
    sign = "b" if roman == "N" else found["sign"]
    root, doubt = _root(sign, figure, minor, key, text)
    quality, place = _figured(rest, figure, minor, key)
    quality = _plain(quality)
    if minor and not quality.startswith(("dim", "m7b5")):
        quality = f"m{quality}"
    chord = _chord(root, quality, None)
    if chord is None:
        return Found(None)
    if place:
        if rest == "6" and figure in (1, 4) and not sign:
            doubt = Doubt(
                f"{text} is read as the first inversion, not as a chord with a sixth",
                f"type  {roman}(6)  for the sixth",
            )
        place = min(place, len(chord.notes) - 1)
        return Found(_chord(root, quality, chord.notes[place]), doubt)
    bass = bass_degree.of(key.tonic) if bass_degree else None
    return Found(_chord(root, quality, bass), doubt)


def _slash(rest: str) -> tuple[str, Degree | None, str]:
    """What stands behind the last slash: a bass or the key that the chord belongs to; `/o` is a quality."""
    before, slash, after = rest.rpartition("/")
    if not slash or after.startswith("o"):
        return rest, None, ""
    figure = re.fullmatch(r"(b{0,2}|#{0,2})([1-7])", after)
    if figure:
        return before, _degree(figure[1], int(figure[2])), ""
    return (before, None, after) if _NUMERAL.fullmatch(after) else (rest, None, "")


def _root(
    sign: str, figure: int, minor: bool, key: Key, text: str
) -> tuple[NoteName, Doubt | None]:
    """The root of a numeral; in a minor key without a sign by its natural scale, small vi and vii raised."""
    doubt = None
    lowered = key.minor and figure in (3, 6, 7) and not (minor and figure in (6, 7))
    if key.minor and figure in (3, 6, 7) and sign == "b":
        doubt = Doubt(
            f"{text} in a minor key is read as {ROMAN[figure - 1]}, which is low already",
            f"type  {text[1:]}",
        )
    elif lowered and not sign:
        sign = "b"
    return _degree(sign, figure).of(key.tonic), doubt


def _figured(rest: str, figure: int, minor: bool, key: Key) -> tuple[str, int]:
    """A quality with its figured bass read: the quality, and the place of the chord's note that is in the bass."""
    kind = re.match(r"ø|/o|%|o|°|\+", rest)
    head, tail = (kind[0], rest[kind.end() :]) if kind else ("", rest)
    if tail not in _INVERSIONS:
        return rest, 0
    seventh, place = _INVERSIONS[tail]
    if not seventh:
        return head, place
    if head:
        return f"{head}7", place
    return "maj7" if not minor and not key.minor and figure in (1, 4) else "7", place


def _plain(quality: str) -> str:
    """A quality as chord symbols have it."""
    quality = quality.strip()
    if re.fullmatch(r"\([0-9]+\)", quality):
        quality = quality[1:-1]
    for pattern, plain in _QUALITIES:
        if re.fullmatch(pattern, quality):
            return plain
    return quality


def _degree(sign: str, figure: int) -> Degree:
    return Degree(figure, sign.count("#") - sign.count("b"))


def _chord(root: NoteName, quality: str, bass: NoteName | None) -> Chord | None:
    slash = f"/{bass.name}" if bass else ""
    if not re.match(r"[^#b♯♭]|b[0-9]|#[0-9]|$", quality):
        return None
    try:
        return read(root.name + quality + slash)
    except SymbolError:
        return None


def in_notation(chord: Chord, key: Key, notation: str) -> str:
    """A chord as a number or a numeral, "" where neither says it.

    >>> [in_notation(read(s), Key.parse("G"), "numbers") for s in ("G", "Am7", "D7", "F", "G/B")]
    ['1', '2-7', '5^7', 'b7', '1/3']
    >>> [in_notation(read(s), Key.parse("G"), "numerals") for s in ("G", "Am7", "D7", "F", "F#m7b5")]
    ['I', 'ii7', 'V7', 'bVII', 'viiø7']
    """
    for text in (_numbers_for if notation == NUMBERS else _numerals_for)(chord, key):
        if read_in_key(text, key, notation).chord == chord:
            return text
    return ""


def _named(tonic: NoteName, note: NoteName) -> tuple[str, int]:
    way = tonic.interval_to(note)
    alter = way.semitones - Degree(way.steps + 1).semitones
    return "#" * alter if alter > 0 else "b" * -alter, way.steps + 1


def _numbers_for(chord: Chord, key: Key) -> list[str]:
    sign, figure = _named(key.tonic, chord.root)
    slash = "/{}{}".format(*_named(key.tonic, chord.bass)) if chord.bass else ""
    quality = chord.quality.replace("6/9", "69")  # what follows a slash is the bass
    found = [quality, f"({quality})"]
    if quality[:1].isdigit():
        found = [f"^{quality}", f"({quality})"]
    elif re.match(r"m(?!aj|Maj)", quality):
        found = [f"-{quality[1:]}", quality]
    elif quality == "dim":
        found = ["o"]
    elif quality == "dim7":
        found = ["o7"]
    return [f"{sign}{figure}{q}{slash}" for q in found]


def _numerals_for(chord: Chord, key: Key) -> list[str]:
    sign, figure = _named(key.tonic, chord.root)
    minor = any(d.number == 3 and d.alter == -1 for d in chord.degrees)
    roman = ROMAN[figure - 1].lower() if minor else ROMAN[figure - 1]
    quality = {"m7b5": "ø7", "dim7": "o7", "dim": "o"}.get(
        chord.quality, chord.quality.removeprefix("m") if minor else chord.quality
    ).replace("6/9", "69")
    slash = "/{}{}".format(*_named(key.tonic, chord.bass)) if chord.bass else ""
    signs = ["", sign] if key.minor and figure in (3, 6, 7) else [sign]
    return [f"{s}{roman}{q}{slash}" for s in signs for q in (quality, f"({quality})")]
