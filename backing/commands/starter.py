"""The text of a starter chart: settings with a word on each, chords in every bar of the form, and what else can be typed.

Conventions: `bars` are those of one chorus, an introduction and an ending have four of their own; chords are plain ones of
the key, to be typed over. *Source* of the progressions: common practice.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, TypeVar

from backing.ground.errors import OutputError, RequestError

if TYPE_CHECKING:
    from backing.ground.pitch import Key
    from backing.ground.timebase import Meter
    from backing.styles.model import Style

T = TypeVar("T")
BARS_OF_A_SECTION, BARS_AT_AN_EDGE, MOST_BARS = 8, 4, 400
BARS_OF_A_LINE = 4
USUAL_FORM = "AABA"


class Phrase(NamedTuple):
    """Numerals that go round, and the two bars that close."""

    round: str
    close: str


class Progressions(NamedTuple):
    """What a kind of section plays in one mode."""

    home: Phrase
    away: Phrase
    other: Phrase
    before: Phrase
    after: Phrase
    blues: str = ""


_MAJOR = Progressions(
    Phrase("I vi IV V7", "V7 I"), Phrase("IV IV I I", "ii V7"), Phrase("I IV I V7", "V7 I"),
    Phrase("I vi", "ii V7"), Phrase("ii V7", "I I"), "I7 IV7 I7 I7 IV7 IV7 I7 I7 V7 IV7 I7 V7",
)  # fmt: skip
_MINOR = Progressions(
    Phrase("i iv VII III", "V7 i"), Phrase("VI VI III III", "iv V7"), Phrase("i VI III VII", "V7 i"),
    Phrase("i iv", "VI V7"), Phrase("iv V7", "i i"), "i7 i7 i7 i7 iv7 iv7 i7 i7 VI7 V7 i7 V7",
)  # fmt: skip


def _mode(home: str, away: str, tonic: str) -> Progressions:
    """The progressions of a mode, whose own chord stands in for the dominant."""
    own = away.split()[-1]
    back, close = f"{tonic} {own}", f"{own} {tonic}"
    return Progressions(
        Phrase(home, close), Phrase(away, back), Phrase(home, close), Phrase(home, back), Phrase(close, f"{tonic} {tonic}"),
    )  # fmt: skip


MODES = {
    "":           _MAJOR,
    "minor":      _MINOR,
    "ionian":     _MAJOR,
    "dorian":     _mode("i IV i IV", "VII VII i IV", "i"),
    "phrygian":   _mode("i bII i bII", "VII VII i bII", "i"),
    "lydian":     _mode("I II I II", "vi vi I II", "I"),
    "mixolydian": _mode("I bVII IV I", "IV IV I bVII", "I"),
    "aeolian":    _mode("i VI VII i", "VI VI III VII", "i"),
    "locrian":    _mode("iø bII iø bII", "iv iv iø bII", "iø"),
}  # fmt: skip


def write_starter(
    path: Path,
    *,
    meter: str | None = None,
    style: str | None = None,
    bars: int | None = None,
    form: str | None = None,
    key: str | None = None,
    force: bool = False,
) -> Path:
    """Write a starter chart. Raises `RequestError` for a wish that makes no chart, `OutputError` where the file is in the way."""
    from backing.output.files import claim, write_text

    if path.suffix.lower() != ".txt":
        raise RequestError(f"the name of a chart ends in .txt, such as {path.stem or 'tune'}.txt")
    if path.is_file() and not force:
        raise OutputError(
            f"{path} is there already and may be somebody's chart; "
            "choose another name, or write over it with --force"
        )
    claim(path, force=force)
    title = _title(path.stem)
    write_text(path, starter(title, meter=meter, style=style, bars=bars, form=form, key=key), force=True)  # fmt: skip
    return path


def _title(stem: str) -> str:
    """A title from the name of a file: `paper-lantern` is Paper lantern."""
    plain = "".join(c if c.isprintable() and c not in "-_#" else " " for c in stem)
    words = " ".join(plain.split())
    return words[:1].upper() + words[1:] or "Untitled"


def starter(
    title: str,
    *,
    meter: str | None = None,
    style: str | None = None,
    bars: int | None = None,
    form: str | None = None,
    key: str | None = None,
) -> str:
    """The text of a starter chart; what is not asked for is as usual for the rest. Raises `RequestError`."""
    from backing.chart import values
    from backing.chart.habits import tidy_form
    from backing.styles.find import find

    known = find(style) if style else None
    time = _value("--meter", meter, values.meter) if meter else _meter_of(known)
    known = known or find(_style_for(time))
    tonality = _value("--key", key or "C major", values.key)
    blues = "blues" in known.name.split()
    order = tidy_form(form) if form else "" if bars is not None or blues else USUAL_FORM
    lengths = _lengths(order, 12 if blues and not form and bars is None else bars)
    sections = [
        f"[{name}]\n{_music(_chords(name, count, tonality, blues), time)}"
        for name, count in lengths.items()
    ]
    music = "\n\n".join(sections)
    settings = [
        (f"title:  {title}", ""),
        (f"key:    {tonality.name}", "names the key; it moves no chord"),
        (f"meter:  {time.full_name}", f"{time.beats} beat{'s' * (time.beats > 1)} in a bar"),
        (f"style:  {known.name}", "backing styles  lists them"),
        *([(f"form:   {order}", "the order in which the sections are played")] if order else []),
    ]
    bpm = _tempo(_joined(settings, music), form)
    settings.insert(3, (f"tempo:  {bpm}", "beats a minute"))
    return _joined(settings, music) + "\n" + _more(tonality, time)


def _value(flag: str, typed: str, read: Callable[[str], T]) -> T:
    """An option that is read as the setting of its name is. Raises `RequestError`."""
    from backing.chart.codes import CODES
    from backing.chart.values import Wrong

    try:
        return read(" ".join(typed.split()))
    except Wrong as wrong:
        message, hint = (text.format(**wrong.values) for text in CODES[wrong.code])
        hint = re.sub(rf"{flag[2:]}: ([^,;]+?)(?=$|  )", rf'{flag} "\1"', hint)
        raise RequestError(f"{flag} {typed}: {message}; {hint}") from None


def _meter_of(style: Style | None) -> Meter:
    from backing.ground.timebase import Meter

    return style.meters[0] if style else Meter.of(4, 4)


def _style_for(meter: Meter) -> str:
    from backing.timeline.frame import STYLE_FOR_METER, STYLE_OTHERWISE

    return STYLE_FOR_METER.get((meter.count, meter.unit), STYLE_OTHERWISE)


def _lengths(form: str, bars: int | None) -> dict[str, int]:
    """The bars of every section that a form names, in the order in which they come. Raises `RequestError`."""
    from backing.chart.form import AFTER, BEFORE

    if bars is not None and not 1 <= bars <= MOST_BARS:
        raise RequestError(f"--bars {bars}: choose a number from 1 to {MOST_BARS}")
    played = played_names(form) or ["A"]
    edges = {n for n in played if n.split()[0].casefold() in (*BEFORE, *AFTER)}
    chorus = [name for name in played if name not in edges] or played
    each, rest = divmod(bars or len(chorus) * BARS_OF_A_SECTION, len(chorus))
    if rest or not each:
        low, high = max(1, each) * len(chorus), (each + 1) * len(chorus)
        near = f"--bars {low}" if low == high or not each else f"--bars {low} or --bars {high}"
        raise RequestError(
            f"--bars {bars}: {form} has {len(chorus)} sections of equal length; write {near}"
        )
    return {n: each if n in chorus else BARS_AT_AN_EDGE for n in dict.fromkeys(played)}


def played_names(form: str) -> list[str]:
    """The sections that a form names, once through, in order.

    >>> played_names("Intro (AABA) x3 Ending"), played_names("Verse 1 Chorus-2 Verse 2")
    (['Intro', 'A', 'A', 'B', 'A', 'Ending'], ['Verse 1', 'Chorus', 'Verse 2'])
    """
    names: list[str] = []
    for word in re.findall(r"[^\s()]+", form):
        plain = re.sub(r"[+-][0-9]{1,3}$", "", word)
        if re.fullmatch(r"[xX×][0-9]+", word):
            continue
        if names and plain.isdigit():
            names[-1] += f" {plain}"
        elif re.fullmatch(r"(?:[A-H](?:[+-][0-9]{1,2})?)+", word):
            names += re.findall("[A-H]", word)
        elif plain:
            names.append(plain)
    return names


def _chords(name: str, bars: int, key: Key, blues: bool) -> list[str]:
    """A chord a bar for a section; the closing two bars where it is long enough."""
    from backing.chart.ast import NUMERALS
    from backing.chart.form import AFTER, BEFORE
    from backing.chart.numbers import read_in_key

    table = MODES[key.mode or ("minor" if key.minor else "")]
    first = name.split()[0].casefold()
    if blues and bars == 12 and table.blues:
        numerals = table.blues.split()
    else:
        phrase = table.other
        if first in BEFORE or first in AFTER:
            phrase = table.before if first in BEFORE else table.after
        elif first in ("a", "verse"):
            phrase = table.home
        elif first in ("b", "bridge", "middle"):
            phrase = table.away
        turn, close = phrase.round.split(), phrase.close.split()
        numerals = [turn[i % len(turn)] for i in range(bars)]
        if bars >= BARS_OF_A_LINE:
            numerals[-2:] = close
    chords = (read_in_key(numeral, key, NUMERALS).chord for numeral in numerals)
    return [chord.symbol for chord in chords if chord is not None]


def _music(chords: Sequence[str], meter: Meter) -> str:
    """Lines of four bars, whose bar lines stand under each other."""
    width = max(map(len, chords))
    lines = (chords[i : i + BARS_OF_A_LINE] for i in range(0, len(chords), BARS_OF_A_LINE))
    return "\n".join(f"| {' | '.join(c.ljust(width) for c in line)} |" for line in lines)


def _joined(settings: Sequence[tuple[str, str]], music: str) -> str:
    width = max(len(line) for line, told in settings if told)
    head = [f"{line:{width}}  # {told}" if told else line for line, told in settings]
    return (
        "# Type over whatever is yours to choose. What stands behind a # is a note to you and is not played.\n"
        + "\n".join(head)
        + "\n\n# A name in [ ] begins a section; | | holds a bar. These chords only hold the place of yours.\n"
        + f"{music}\n"
    )


def _tempo(text: str, form: str | None) -> str:
    """The tempo at which a chart without one is played, as its meter counts. Raises `RequestError` for a form that is none."""
    from backing.chart.parse import parse_all
    from backing.commands.preparing import prepare
    from backing.timeline.reshape import counted_bpm

    chart, found = parse_all(text)
    if chart is None:
        raise RequestError(f"--form {form}: {found[0].message}; {found[0].hint}")
    return f"{round(counted_bpm(prepare(chart).timeline))}"


def _more(key: Key, meter: Meter) -> str:
    """What else can be typed, as comments."""
    rows = examples(key, meter)
    width = max(len(typed) for typed, _ in rows)
    lines = [f"# {typed:{width}}   {told}" for typed, told in rows]
    under = "# melody: | C5 / |   a tune under the bars above; a ? in place of a chord asks for one that fits it"
    return "\n".join(["# What else a bar can hold (without the # in front):", *lines, under, ""])


def examples(key: Key, meter: Meter) -> list[tuple[str, str]]:
    """Lines of music that can be typed in a key and a meter, and what each does."""
    tonic, other = _chords("Chorus", 2, key, False)
    held = [tonic, *["/"] * (meter.beats - 2), other]
    rows = (
        [(f"| {' '.join(held)} |", "/ holds a chord for one more beat")] if meter.beats > 1 else []
    )
    return [
        *rows,
        (f"| {tonic} | % |", "% plays the bar before again"),
        (f"|: {tonic} | {other} :| x3", "these bars three times in all"),
        (f"|: {tonic} |1. {other} :|2. {tonic} |", "first and second ending"),
        (f"| {tonic} | <{other} |", "< plays a chord an eighth early"),
        (f"| {tonic}! | N.C. |", "! stops the band; N.C. is no chord"),
        (f'| "fill" {tonic} |', "words in quotes stand over the bar; this one is for the drums"),
    ]
