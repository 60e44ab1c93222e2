"""What people type from habit, and how a chart says it: guesses for hints, made once something was found wrong.

Conventions: a function gets the text as typed and returns what to type instead, or None where it has no guess.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from backing.ground.pitch import MODES
from backing.ground.tunings import NAMED, STRINGS

SECTIONS = frozenset(
    ("intro", "introduction", "verse", "chorus", "refrain", "bridge", "outro", "solo", "solos", "interlude",
     "hook", "vamp", "head", "tag", "coda", "ending", "break", "instrumental", "turnaround", "prechorus",
     "pre-chorus", "pre", "strophe", "part", "section", "middle", "a", "b", "c", "d")
)  # fmt: skip
_COUNT = re.compile(
    r"\(?\s*(?:[xX×]\s?(?P<after>[0-9]{1,2})|(?P<before>[0-9]{1,2})\s?(?:[xX×]|times|mal))\s*\)?",
    re.I,
)
_REMARK = re.compile(r"(?://+|;+|--+|/\*|%|'|\*)\s*(?P<text>.*?)\s*(?:\*/)?")
_SIMILE = frozenset(("//", "./.", "//.", ".//.", "/.", "./", "''", '"', "-", "–", "—", "*"))
_BEAT_SIGN = re.compile(r"(?<!\S)[/.\-–—_~'`,*]+(?!\S)")


def times(text: str) -> int | None:
    """How often something is played: `2x`, `(x3)`, `3 times`.

    >>> times("2x"), times("(x3)"), times("4 times"), times("C7")
    (2, 3, 4, None)
    """
    found = _COUNT.fullmatch(text.strip())
    return int(found["after"] or found["before"]) if found else None


def without_count(name: str) -> str | None:
    """The name of a section without the count that stands at its end, None where none does.

    >>> without_count("Verse 1 x2"), without_count("Chorus (2x)"), without_count("Verse 2")
    ('Verse 1', 'Chorus', None)
    """
    found = re.search(r"\s*" + _COUNT.pattern + r"$", name, re.I)
    return name[: found.start()] if found and found.start() else None


def heading(text: str) -> str | None:
    """The name of a section that is written without its brackets.

    >>> heading("--- Verse 1 ---"), heading("A)"), heading("**Chorus**"), heading("Chorus x2"), heading("stop here")
    ('Verse 1', 'A', 'Chorus', 'Chorus', None)
    """
    text = text.strip(" \t:")
    name = (without_count(text) or text).strip(" \t-=*_~<>{}()#.:/")
    words = name.split()
    if not words or len(words) > 3 or len(name) > 30:
        return None
    if not all(c.isalnum() or c in " '-" for c in name):
        return None
    first = re.sub(r"[0-9']+$", "", words[0]).casefold()
    if len(first) == 1 and len(words) > 1 and not words[1].isdigit():
        return None  # a row of chords
    return name if first in SECTIONS else None


def remark(text: str) -> str | None:
    """A remark behind another sign, as a comment of a chart: `// solo` -> `# solo`."""
    found = _REMARK.fullmatch(text)
    return f"# {found['text']}" if found and found["text"] else None


def beats(bar: str) -> str | None:
    """A bar whose beats are held with dots, dashes or slashes that touch, with free slashes instead.

    >>> beats("C . G -"), beats("C ///"), beats("//"), beats("-")
    ('C / G /', 'C / / /', None, None)
    """
    if bar.strip() in _SIMILE:
        return None

    def free(found: re.Match[str]) -> str:
        sign = found[0]
        return " ".join("/" * (len(sign) if sign.strip("/") == "" else 1))

    return " ".join(_BEAT_SIGN.sub(free, bar).split())


_OFTEN = re.compile(r"\(\s*(?:[x×]\s?([0-9]{1,2})|([0-9]{1,2})\s?[x×])\s*\)", re.I)
_OFTEN_FIRST = re.compile(r"(?<!\S)([0-9]{1,2})\s?[x×]\s+([^\s,;|()]+)", re.I)
_SEPARATOR = re.compile(r"\s*(?:->|→|>|,|;|\||–|—|/|(?<=\s)-(?=\s))\s*")


def tidy_form(value: str) -> str:
    """A form as people write it, in blanks and counts that stand behind.

    >>> tidy_form("Intro, 2x Verse - Chorus (x2)"), tidy_form("A-A-B-A")
    ('Intro Verse x2 Chorus x2', 'A A B A')
    """
    text = _OFTEN.sub(lambda m: f" x{m[1] or m[2]} ", " ".join(value.split()))
    text = _SEPARATOR.sub(" ", text)
    text = _OFTEN_FIRST.sub(r"\2 x\1", text)
    text = re.sub(r"\b(\w)-(?=\w\b)", r"\1 ", text)
    return " ".join(text.split())


def short_for(word: str, names: Sequence[str]) -> str | None:
    """The section that a word abbreviates: `V1` for Verse 1, `C` for Chorus; None where several could be meant.

    >>> short_for("V1", ["Verse 1", "Verse 2", "Chorus"]), short_for("Ch", ["Verse", "Chorus"])
    ('Verse 1', 'Chorus')
    """
    letters, digits = (
        word.rstrip("0123456789").casefold(),
        word.lstrip("".join(set(word) - set("0123456789"))),
    )
    found = []
    for name in names:
        parts = name.casefold().split()
        number = parts[-1] if len(parts) > 1 and parts[-1].isdigit() else ""
        if parts and letters and parts[0].startswith(letters) and number == digits:
            found.append(name)
    return found[0] if len(found) == 1 else None


def joined_names(word: str, names: Sequence[str]) -> str | None:
    """Names of one or two characters that are typed together: `AABA'` -> `A A B A'`."""
    short = sorted((n for n in names if 0 < len(n) <= 2), key=len, reverse=True)
    found: list[str] = []
    at = 0
    while at < len(word):
        name = next((n for n in short if word.startswith(n, at)), None)
        if name is None:
            return None
        found.append(name)
        at += len(name)
    return " ".join(found)


_FEELS = {
    "latin": "straight", "even": "straight", "rock": "straight", "bossa": "straight", "samba": "straight",
    "straight 8ths": "straight", "straight eighths": "straight", "even 8ths": "straight",
    "straight 16ths": "straight", "triplet": "swing 2:1", "triplets": "swing 2:1", "funk": "straight",
    "swing 8ths": "swing", "swing eighths": "swing", "swing 16ths": "swing 16", "jazz": "swing",
    "hard swing": "swing 2:1", "light swing": "swing 3:2",
}  # fmt: skip


def feel(text: str) -> str | None:
    """A feel in other words."""
    return _FEELS.get(" ".join(text.casefold().split()))


def meter(text: str) -> str | None:
    """A meter in other words or with its groups out of their brackets.

    >>> meter("7/8 2-2-3"), meter("C"), meter("3/4 waltz"), meter("(3/4)")
    ('7/8 (2+2+3)', '4/4', '3/4', '3/4')
    """
    word = " ".join(text.casefold().split())
    if word in ("c", "common", "common time", "four", "4", "in 4"):
        return "4/4"
    if word in ("c|", "cut", "cut time", "alla breve", "¢"):
        return "2/2"
    found = re.search(
        r"\b([0-9]{1,2})\s*/\s*(1|2|4|8|16|32)\b[\s([{]*((?:[0-9]+[-+ ,])*[0-9]+)?", text
    )
    if not found:
        return None
    count = int(found[1])
    groups = [int(g) for g in re.findall("[0-9]+", found[3] or "")]
    inner = f" ({'+'.join(map(str, groups))})" if sum(groups) == count else ""
    return f"{count}/{found[2]}{inner}" if 1 <= count <= 32 else None


_UNIT = re.compile(r"(dotted\s+)?(half|quarter|eighth|sixteenth)", re.I)
_SIGNS = {"𝅗𝅥": "half", "𝅘𝅥": "quarter", "♩": "quarter", "♪": "eighth"}
_LETTER_UNITS = {
    "q": "quarter",
    "h": "half",
    "e": "eighth",
    "q.": "dotted quarter",
    "h.": "dotted half",
}


def tempo(text: str) -> str | None:
    """A tempo with its unit in words, out of any way of writing both.

    >>> tempo("60 (dotted quarter)"), tempo("q.=60"), tempo("♪ = 200"), tempo("ca. 120 bpm")
    ('dotted quarter = 60', 'dotted quarter = 60', 'eighth = 200', '120')
    """
    number = re.search(r"[0-9]{1,3}(?:\.[0-9])?", text)
    if not number:
        return None
    unit = _UNIT.search(text)
    name = " ".join(unit[0].casefold().split()) if unit else ""
    if not name:
        sign = next((s for s in _SIGNS if s in text), "")
        if sign:
            dotted = text[text.index(sign) + len(sign) :].lstrip()[:1] in (".", "𝅭")
            name = "dotted " * dotted + _SIGNS[sign]
        else:
            name = _LETTER_UNITS.get(text.partition("=")[0].strip().casefold(), "")
    return f"{name} = {number[0]}" if name else number[0]


_STEPS = (
    ("half", 1),
    ("semitone", 1),
    ("whole", 2),
    ("tone", 2),
    ("two", 2),
    ("eb", -1),
    ("d", -2),
)


def number(name: str, text: str, low: int, high: int) -> int | None:
    """The whole number that a text holds or means: `3rd fret`, `twice`, `half step down`.

    >>> number("capo", "3rd fret", 0, 12), number("tuned", "half step down", -12, 12), number("tuned", "Eb", -12, 12)
    (3, -1, -1)
    """
    low_case = text.casefold()
    digits = re.search(r"-?[0-9]{1,3}", text)
    value = int(digits[0]) if digits else {"once": 1, "twice": 2, "yes": 1}.get(low_case)
    if name == "tuned":
        down = -1 if "down" in low_case or "lower" in low_case else 1
        if value is None:
            steps = next((n for word, n in _STEPS if low_case.startswith(word)), None)
            value = steps * down if steps else None
        elif value > 0:
            value *= down
    return value if value is not None and low <= value <= high else None


def key(text: str) -> str | None:
    """The key of a longer text: `D dorian vamp` -> `D dorian`, `C (relative A minor)` -> `C major`."""
    found = re.match(r"([A-G])(#|b|♯|♭)?(m(?![A-Za-z])|\s+minor\b|\s+min\b)?\W*([A-Za-z]*)", text)
    if not found:
        return None
    mode = "minor" if found[3] else found[4].casefold()
    return f"{found[1]}{found[2] or ''} {mode if mode == 'minor' or mode in MODES else 'major'}"


_TUNING = "write the six open strings from the lowest, such as  tuning: D A D G B E"


def tuning(text: str) -> str:
    """What to type for what was meant as a tuning: its name, letters without blanks, or how far all strings are moved.

    >>> tuning("dadgad"), tuning("drop D"), tuning("half step down")
    ('write  tuning: D A D G A D', 'write  tuning: D A D G B E', 'for all strings tuned alike write  tuned: -1')
    """
    low = " ".join(text.casefold().replace("tuning", " ").split())
    if low in NAMED:
        return f"write  tuning: {NAMED[low]}"
    joined = re.sub(r"[\s,;/0-9-]+", "", text).replace("♯", "#").replace("♭", "b")
    for notes in (r"[A-Ha-h]#?", r"[A-Ha-h][#b]?"):
        found = re.findall(notes, joined)
        if len(found) == STRINGS and "".join(found) == joined:
            named = " ".join(note[0].upper() + note[1:] for note in found)
            if "H" in named:
                return f"H is the German name of B: write  tuning: {named.replace('H', 'B')}  or set  note-names: german"
            return f"write  tuning: {named}"
    steps = number("tuned", text, -12, 12)
    if steps is not None and not re.search(r"[A-H]", text):
        return f"for all strings tuned alike write  tuned: {steps}"
    count = len(text.split())
    if 1 < count != STRINGS:
        return f"a guitar has six strings, here are {count}: {_TUNING}"
    return _TUNING
