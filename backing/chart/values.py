"""What may stand behind the colon of a setting: one reader a kind of value.

Conventions: a reader takes the value as typed, with ordinary quotes and brackets, and returns what it means or raises
`Wrong` with a code of the table and what its sentence needs.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction

from backing.chart.ast import LETTERS, NUMBERS, NUMERALS, Dynamics, Ending, EndingKind, PlayerSet
from backing.chart.codes import near, quoted
from backing.ground import languages
from backing.ground.instruments import ALSO_CALLED
from backing.ground.levels import HIGHEST_DB, LOWEST_DB, Levels
from backing.ground.manners import CHORD_MELODIES, INTROS
from backing.ground.pitch import MODES, Interval, Key, NoteName
from backing.ground.roles import PLAYERS, ROLES
from backing.ground.timebase import (
    DYNAMICS,
    EIGHTH,
    SHUFFLE,
    SIXTEENTH,
    STRAIGHT,
    SWING,
    UNITS,
    Feel,
    Meter,
    Tempo,
)
from backing.ground.tunings import STRINGS

MOST_COUNT = 32  # upper figure of a meter
SLOWEST, FASTEST = 10, 600  # beats a minute
ARROW = r"\s*(?:->|→|–>|—>|>|⟶)\s*"


class Wrong(Exception):
    """A value that cannot be read; never leaves this package."""

    def __init__(self, code: str, **values: object) -> None:
        super().__init__(code)
        self.code = code
        self.values = values


def whole(text: str) -> int | None:
    """A whole number of ordinary size, or None."""
    return int(text) if re.fullmatch(r"[+-]?[0-9]{1,6}", text) else None


METERS = "write how many of which note, such as 4/4, 6/8 or 7/8 (2+2+3); below stands 1, 2, 4, 8, 16 or 32"
_METER = re.compile(r"([0-9]{1,3})\s*/\s*([0-9]{1,3})\s*(?:\(([0-9+\s]*)\))?")


def meter(text: str) -> Meter:
    """`4/4`, `7/8 (2+2+3)`."""
    found = _METER.fullmatch(text)
    if not found:
        from backing.chart.habits import meter as meant

        guess = meant(text)
        raise Wrong("E116", found=quoted(text), hint=f"write  meter: {guess}" if guess else METERS)
    count, unit = int(found[1]), int(found[2])
    if not 1 <= count <= MOST_COUNT or unit not in UNITS:
        raise Wrong("E116", found=quoted(text), hint=METERS)
    if found[3] is None:
        return Meter.of(count, unit)
    groups = [whole(g.strip()) or 0 for g in found[3].split("+")]
    if min(groups) < 1 or sum(groups) != count:
        usual = Meter.of(count, unit).groups
        example = f"{count}/{unit} ({'+'.join(map(str, usual))})"
        raise Wrong(
            "E117",
            groups=quoted(found[3].strip()),
            total=sum(groups),
            count=count,
            example=example,
        )
    return Meter.of(count, unit, groups)


_ENHARMONIC = Interval(1, 0)
_KEY = re.compile(r"([A-Ga-gHh])((?:#|b|♯|♭|is|es|s)?)[\s-]*([^\W\d_]*)\.?")
# what may stand behind the tonic -> the mode, "" for plain major
_MODES = {"": "", "major": "", "maj": "", "dur": "", "minor": "minor", "min": "minor", "moll": "minor"} | {
    name: name for name in MODES
} | {"ionisch": "ionian", "dorisch": "dorian", "phrygisch": "phrygian", "lydisch": "lydian",
     "mixolydisch": "mixolydian", "äolisch": "aeolian", "lokrisch": "locrian"}  # fmt: skip
_USUAL_KEY = "write a note and major or minor, such as  key: Bb major  or  key: F# minor"


def key(text: str, german: bool = False) -> Key:
    """`G major`, `F# minor`, `Bb`, `Em`, `E dorian`; in German also `B`, `H`, `Fis`, `Es moll`."""
    found = _KEY.fullmatch(text)
    if not found or (found[2] in ("is", "es", "s") and not german):
        raise Wrong("E210", value=quoted(text), hint=_key_meant(text))
    letter, sign, word = found[1], found[2], found[3]
    mode = "minor" if word == "m" else _MODES.get(word.casefold())
    if mode is None or word == "M":
        raise Wrong("E210", value=quoted(text), hint=_mode_meant(text, letter, sign, word))
    if letter.islower() and not (german and mode == "minor"):
        upper = f"{letter.upper()}{sign}".replace("H", "B")
        either = "" if word else f"  or  key: {upper} minor"
        hint = f"write  key: {upper} {mode or 'major'}{either}"
        raise Wrong("E210", value=quoted(text), hint=hint)
    if letter in "Hh" and not german:
        hint = "H is the German name of B: write  key: B  or set  note-names: german"
        raise Wrong("E210", value=quoted(text), hint=hint)
    read = Key.of(_tonic(letter.upper(), sign, german), mode)
    if abs(read.fifths) > 7:
        other = read.up(_ENHARMONIC if read.fifths > 0 else -_ENHARMONIC)
        hint = f"it has more than seven sharps or flats: write  key: {other.name}"
        raise Wrong("E210", value=quoted(text), hint=hint)
    return read


def _tonic(letter: str, sign: str, german: bool) -> NoteName:
    """A note in letters; in German H is B natural and B alone is B flat."""
    alter = {"": 0, "#": 1, "♯": 1, "is": 1}.get(sign, -1)
    if german and letter in "HB":
        return NoteName("B", alter if letter == "H" or sign else -1)
    return NoteName(letter, alter)


def language(text: str) -> str:
    """`en`, `de`, `pt-BR`: of titles and words."""
    if not languages.is_tag(text):
        tag = languages.meant(text)
        hint = f"write  language: {tag or 'en'}" + (
            "" if tag else ", or another code of two or three letters"
        )
        raise Wrong("E224", value=quoted(text), hint=hint)
    return text


def chord_melody(text: str) -> str:
    """`full`, `easy`, `bass`; `off` for no solo guitar."""
    said = text.casefold()
    if said in ("off", "none", "no"):
        return ""
    if said in ("on", "yes"):
        return CHORD_MELODIES[0]
    if said not in CHORD_MELODIES:
        guess = near(said, CHORD_MELODIES)
        hint = f"did you mean {guess}?" if guess else "write full, easy or bass"
        raise Wrong("E226", value=quoted(text), hint=hint)
    return said


_OPEN = re.compile(r"([A-GH])((?:#|b|♯|♭|is|es|s)?)")


def tuning(text: str, german: bool = False) -> tuple[NoteName, ...]:
    """The open strings from the lowest, `D A D G B E`; in German also `H`, `Fis`."""
    found = [_OPEN.fullmatch(word) for word in text.split()]
    signs = ("", "#", "b", "♯", "♭", *(("is", "es", "s") if german else ()))
    notes = [m for m in found if m and m[2] in signs and (german or m[1] != "H")]
    if len(found) != STRINGS or len(notes) != STRINGS:
        from backing.chart.habits import tuning as meant

        raise Wrong("E223", value=quoted(text), hint=meant(text))
    return tuple(_tonic(m[1], m[2], german) for m in notes)


def _key_meant(text: str) -> str:
    """What to type for a text that no key begins."""
    from backing.chart.habits import key as meant

    words = text.split()
    mode = near(words[-1], [m for m in _MODES if m]) if words else None
    example = f"{words[0]} {mode}" if mode and len(words) == 2 else ""
    example = example or (meant(text) if len(text) > 2 else "") or ""
    return f"write  key: {example}" if example else _USUAL_KEY


def _mode_meant(text: str, letter: str, sign: str, word: str) -> str:
    """What to type where a note is followed by no mode."""
    from backing.chart.habits import key as meant

    if word == "M":
        return f"write  key: {letter.upper()}{sign} major"
    mode = near(word.casefold(), [m for m in _MODES if m])
    if mode:
        return f"write  key: {letter.upper()}{sign} {mode}"
    example = meant(text)
    return f"write  key: {example}" if example else _USUAL_KEY


_NOTES = {"whole": Fraction(4), "half": Fraction(2), "quarter": Fraction(1), "eighth": Fraction(1, 2), "sixteenth": Fraction(1, 4)}  # fmt: skip
_NUMBER = r"[0-9]{1,5}(?:\.[0-9]{1,3})?"
_TEMPO = re.compile(
    rf"(?:(dotted\s+)?([A-Za-z]+)(?:\s+note)?\s*=\s*)?({_NUMBER})(?:{ARROW}({_NUMBER}))?", re.I
)


def tempo(text: str) -> Tempo:
    """`132`, `dotted quarter = 66`, `132 -> 96`."""
    found = _TEMPO.fullmatch(text)
    unit = None
    if not found:
        from backing.chart.habits import tempo as meant

        example = meant(text) or "120"
        raise Wrong(
            "E211", value=quoted(text), hint=f"write beats a minute, such as  tempo: {example}"
        )
    if found[2]:
        name = found[2].casefold()
        if name not in _NOTES:
            from backing.chart.habits import tempo as meant

            example = meant(text) or ""
            if "=" in example:
                raise Wrong("E211", value=quoted(text), hint=f"write  tempo: {example}")
            guess = near(name, list(_NOTES)) or "quarter"
            dotted = "dotted " if found[1] else ""
            raise Wrong(
                "E211", value=quoted(text), hint=f"write  tempo: {dotted}{guess} = {found[3]}"
            )
        unit = _NOTES[name] * (Fraction(3, 2) if found[1] else 1)
    bpm = Fraction(found[3])
    to = Fraction(found[4]) if found[4] else None
    for figure in (bpm, to):
        if figure is not None and not SLOWEST <= figure <= FASTEST:
            raise Wrong(
                "E212",
                value=found[3] if figure is bpm else found[4],
                low=SLOWEST,
                high=FASTEST,
                example=120,
            )
    return Tempo(bpm, unit, to)


_FEEL = r"swing(?:\s+(16))?(?:\s+([0-9]{1,2})\s*:\s*([0-9]{1,2}))?"


def feel(text: str) -> Feel:
    """`straight`, `swing`, `swing 16`, `shuffle`, `swing 3:2`, `swing 16 3:2`."""
    word = text.casefold()
    if word == "straight":
        return STRAIGHT
    if word == "shuffle":
        return SHUFFLE
    found = re.fullmatch(_FEEL, text, re.I)
    if not found:
        from backing.chart.habits import feel as meant

        guess = meant(text) or near(word, ["straight", "swing", "swing 16", "shuffle", "swing 3:2"])
        hint = (
            f"write  feel: {guess}"
            if guess
            else "write straight, swing, swing 16, shuffle, or a ratio such as swing 3:2"
        )
        raise Wrong("E213", value=quoted(text), hint=hint)
    unit = SIXTEENTH if found[1] else EIGHTH
    if not found[2]:
        return SWING if unit == EIGHTH else Feel(unit)
    long, short = int(found[2]), int(found[3])
    if not 1 <= short <= long <= 4 * short:
        raise Wrong(
            "E213",
            value=quoted(text),
            hint="write a ratio of long to short from 1:1 to 4:1, such as  feel: swing 3:2",
        )
    return Feel(unit, Fraction(long, short))


def choice(name: str, text: str, choices: dict[str, object]) -> object:
    """One of a few words."""
    word = text.casefold().replace("–", "-")
    if word not in choices:
        guess = near(word, list(choices))
        hint = f"write  {name}: {guess}" if guess else f"write {' or '.join(choices)}"
        raise Wrong("E214", value=quoted(text), name=name, hint=hint)
    return choices[word]


def push(text: str) -> Fraction:
    """`8` or `16`."""
    return choice("push", text, {"8": EIGHTH, "16": SIXTEENTH})  # type: ignore[return-value]


def clave(text: str) -> str:
    """`2-3` or `3-2`."""
    return choice("clave", text, {"2-3": "2-3", "3-2": "3-2"})  # type: ignore[return-value]


def colour(text: str) -> bool:
    """`full` or `none`."""
    return bool(choice("colour", text, {"full": True, "none": False}))


def chords(text: str) -> str:
    """`letters`, `numbers` or `numerals`."""
    choices: dict[str, object] = {n: n for n in (LETTERS, NUMBERS, NUMERALS)}
    return str(choice("chords", text, choices))


def word(name: str, text: str, choices: Sequence[str]) -> str:
    """One of some words that stand for themselves."""
    return str(choice(name, text, {word: word for word in choices}))


def intro(text: str) -> str:
    """`off`, `last 4`, `pedal` or `vamp`; music behind it is a section."""
    if text.startswith("|"):
        hint = "a section begins with its name in brackets on a line of its own: [Intro]"
        raise Wrong("E214", value=quoted(text), name="intro", hint=hint)
    return word("intro", " ".join(text.split()), INTROS)


def note_names(text: str) -> str:
    """`english`, `german` or `latin`."""
    choices: dict[str, object] = {n: n for n in ("english", "german", "latin")}
    return str(choice("note-names", text, choices))


def dynamics(text: str) -> Dynamics:
    """`mf`, `p -> f`."""
    parts = [p.casefold() for p in re.split(ARROW, text)]
    if len(parts) > 2 or any(p not in DYNAMICS for p in parts):
        raise Wrong("E215", value=quoted(text))
    return Dynamics(DYNAMICS[parts[0]], DYNAMICS[parts[1]] if len(parts) == 2 else None)


def players(text: str) -> PlayerSet:
    """`bass, drums`, `all but drums`, `all`."""
    words = " ".join(text.casefold().split())
    all_but = words == "all" or words.startswith("all but ")
    names = words.removeprefix("all but ") if words != "all" else ""
    roles = [r for r in re.split(r"\s*,\s*(?:and\s+)?|\s+and\s+|\s+", names) if r]
    if not roles and not all_but:
        raise Wrong("E216", value=quoted(text), hint=f"write some of {', '.join(ROLES)}")
    for role in roles:
        if role not in ROLES:
            item = next((i for i in map(str.strip, names.split(",")) if role in i.split()), role)
            if item in ALSO_CALLED and item.split()[-1] in ROLES:  # upright bass
                last = item.split()[-1]
                raise Wrong("E216", value=quoted(item), hint=f"did you mean {last}?", word=item)
            guess = near(role, ROLES)
            hint = f"did you mean {guess}?" if guess else f"write some of {', '.join(ROLES)}"
            raise Wrong("E216", value=quoted(role), hint=hint, word=role)
    return PlayerSet(frozenset(roles), all_but)


_LEVEL = re.compile(r"([a-z]+(?: [2-9])?)([\s=:]*)([+-]?)([0-9]{1,3}(?:\.[0-9]{1,2})?)(\s*db)?")


def levels(text: str) -> Levels:
    """`bass +3, keys -2`: players or roles, and by how many dB they are louder or softer."""
    found: dict[str, float] = {}
    for item in (" ".join(part.casefold().split()) for part in text.split(",")):
        read = _LEVEL.fullmatch(re.sub("[–−]", "-", item))
        if not read:
            hint = f"write  levels: {item if item in PLAYERS else 'bass'} +3"
            hint = hint if item else "nothing follows a comma here; take it away"
            raise Wrong("E220", value=quoted(item or text), word=item or text, hint=hint)
        player, between, sign, figure, unit = read.groups()
        if player not in PLAYERS:
            guess = near(player, PLAYERS)
            hint = f"did you mean {guess}?" if guess else f"write some of {', '.join(ROLES)}"
            raise Wrong("E216", value=quoted(player), hint=hint, word=player)
        if between != " " or unit or not (sign or float(figure) == 0):
            hint = f"write  levels: {player} {sign}{figure}"
            if not sign:
                hint = f"write  levels: {player} +{figure}  or  levels: {player} -{figure}"
            raise Wrong("E220", value=quoted(item), word=item, hint=hint)
        db = float(sign + figure)
        if not LOWEST_DB <= db <= HIGHEST_DB:
            nearest_db = max(LOWEST_DB, min(HIGHEST_DB, db))
            raise Wrong(
                "E221", value=f"{db:+g}", low=LOWEST_DB, high=f"+{HIGHEST_DB}",
                example=f"{player} {nearest_db:+g}", word=sign + figure,
            )  # fmt: skip
        if player in found:
            raise Wrong("E222", player=player, example=f"{player} {found[player]:+g}", word=item)
        found[player] = db
    return tuple(found.items())


def number(name: str, text: str, low: int, high: int, example: str = "") -> int:
    """A whole number in a range."""
    value = whole(text)
    if value is None or not low <= value <= high:
        from backing.chart.habits import number as meant

        guess = meant(name, text, low, high) if value is None else None
        shown = example or f"{name}: {min(max(1, low), high)}"
        shown = shown if guess is None else f"{name}: {guess}"
        raise Wrong("E217", name=name, low=low, high=high, value=quoted(text), example=shown)
    return value


def count_in(text: str) -> int:
    """Bars, 0 for `off`."""
    return (
        0
        if text.casefold() == "off"
        else number("count-in", text, 0, 8, "count-in: 2  or  count-in: off")
    )


def ending(text: str) -> Ending:
    """`ring`, `short`, `tag`, `rit`, `fade 4`, `as written`."""
    word = " ".join(text.casefold().split())
    fade = re.fullmatch(r"fade(?:\s+([0-9]{1,3}))?(?:\s+bars?)?", word)
    if fade and fade[1] and 1 <= int(fade[1]) <= 64:
        return Ending(EndingKind.FADE, int(fade[1]))
    kinds = {k.value: k for k in EndingKind if k is not EndingKind.FADE}
    if word in kinds:
        return Ending(kinds[word])
    guess = "fade 4" if fade else near(word, [*kinds, "fade 4"])
    hint = (
        f"write  ending: {guess}" if guess else "write ring, short, tag, rit, fade 4 or as written"
    )
    raise Wrong("E218", value=quoted(text), hint=hint)


def pickup(text: str) -> Fraction:
    """Counted beats: `2`, `1/2`, `3/2`."""
    found = re.fullmatch(r"([0-9]{1,2})(?:\s*/\s*([0-9]{1,2}))?", text)
    if not found or not int(found[1]) or (found[2] and int(found[2]) not in (1, 2, 3, 4, 6, 8)):
        number = re.match(r"([1-9][0-9]?(?:/[123468])?)(?:\s*beats?)?$", text)
        raise Wrong("E219", value=quoted(text), example=number[1] if number else "1")
    return Fraction(int(found[1]), int(found[2] or 1))
