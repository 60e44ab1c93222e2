"""A chart in another key: symbols, keys and melody move; what is written between them stays as typed.

Conventions: root and bass move by one interval and are spelled for the key that they arrive in; the rest of a symbol
keeps its spelling. *Sources*: as in `harmony.spelling`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from backing.chart import gripping
from backing.chart.ast import LETTERS, Bar, Chart, LineNote, Section, Settings, Slot, Written
from backing.chart.codes import Faults
from backing.chart.latin import in_names, key_in_letters, note_in_letters, symbol_in_letters
from backing.chart.lex import cells
from backing.chart.music import content
from backing.chart.naming import named
from backing.chart.symbols import no_chord
from backing.chart.under import read_note
from backing.ground.pitch import Interval, Key, NoteName, Pitch
from backing.ground.source import Source, Span
from backing.harmony.spelling import note_in_key, transpose
from backing.harmony.symbol import Chord, SymbolError, read

_ENHARMONIC = Interval(1, 0)
MOST_IN_KEY = 6  # accidentals of a signature that is ours to choose


def transpose_chart(chart: Chart, interval: Interval) -> Chart:
    """The chart with everything that sounds moved by `interval`; a key that is hard to read is respelled with its music."""
    if chart.header.latin:
        letters = renamed(chart, _letters, "english")
        return renamed(transpose_chart(letters, interval), in_names, "latin")
    key, way = _moved_key(chart.settings.key, interval)
    german = chart.header.german
    sections: list[Section] = []
    last: Slot | None = None
    for section in chart.sections:
        sections.append(_section(section, interval, key, way, german, last, chart.settings.chords))
        last = sections[-1].bars[-1].slots[-1]
    return replace(
        chart,
        settings=chart.settings._replace(key=key),
        written=_written(chart.written, key, german),
        sections=tuple(sections),
    )


def renamed(chart: Chart, name: Callable[[str], str], names: str) -> Chart:
    """The chart with its symbols, melody and keys named otherwise, where letters are what its chords are written in."""
    home = chart.settings.chords or LETTERS

    def bar(one: Bar, letters: bool) -> Bar:
        slots, items = one.slots, one.items_text
        if letters:
            slots = tuple(replace(s, text=name(s.text) if s.chord else s.text) for s in slots)
            items = _spliced(items, name, sign=False)
        return replace(
            one,
            slots=slots,
            items_text=items,
            melody_text=_spliced(one.melody_text, name, sign=True),
        )

    def section(one: Section) -> Section:
        letters = (one.settings.chords or home) == LETTERS
        lines = tuple(replace(x, bars=tuple(bar(b, letters) for b in x.bars)) for x in one.lines)
        return replace(one, lines=lines, written=written(one.written))

    def written(found: tuple[Written, ...]) -> tuple[Written, ...]:
        keys = {"latin": in_names, "english": key_in_letters}[names]
        return tuple(replace(w, value=keys(w.value)) if w.name == "key" else w for w in found)

    return replace(
        chart,
        header=chart.header._replace(names=names),
        written=written(chart.written),
        sections=tuple(map(section, chart.sections)),
    )


def _letters(text: str) -> str:
    return note_in_letters(text) or symbol_in_letters(text) or text


def _moved_key(key: Key | None, interval: Interval) -> tuple[Key | None, Interval]:
    """The key that is reached, and the interval that leads to it in the spelling chosen."""
    if key is None:
        return None, interval
    moved = key.up(interval)
    if abs(moved.fifths) > MOST_IN_KEY:
        step = _ENHARMONIC if moved.fifths > 0 else -_ENHARMONIC
        other = moved.up(step)
        if abs(other.fifths) < abs(moved.fifths):
            return other, interval + step
    return moved, interval


def _written(written: tuple[Written, ...], key: Key | None, german: bool) -> tuple[Written, ...]:
    def moved(one: Written) -> Written:
        if one.name != "key" or key is None:
            return one
        tonic, mode = named(key.tonic, german), key.mode_name
        short = " " not in one.value.strip() and not german
        return replace(one, value=key.short_name if short else f"{tonic} {mode}")

    return tuple(moved(one) for one in written)


def _section(
    section: Section,
    interval: Interval,
    key: Key | None,
    way: Interval,
    german: bool,
    last: Slot | None,
    home: str | None,
) -> Section:
    """A section moved; `way` leads to the chart's `key`, its own key may be reached in another spelling.

    `last` is the chord at the end of the section before, which a `/` may hold.
    """
    own: Settings = section.settings
    letters = (own.chords or home or LETTERS) == LETTERS
    if own.key:
        key, way = _moved_key(own.key, interval)
    lines = []
    for line in section.lines:
        bars: list[Bar] = []
        for bar in line.bars:
            bars.append(_bar(bar, way, key, german, last, letters))
            last = bars[-1].slots[-1]
        lines.append(replace(line, bars=tuple(bars)))
    settings = own._replace(key=key if own.key else None)
    written = _written(section.written, key, german)
    return replace(section, settings=settings, lines=tuple(lines), written=written)


def _bar(
    bar: Bar, interval: Interval, key: Key | None, german: bool, last: Slot | None, letters: bool
) -> Bar:
    names: dict[str, str] = {}
    for slot in bar.slots:
        if slot.chord and letters:
            moved = transpose(slot.chord, interval, key)
            names[slot.text] = symbol_text(slot.text, slot.chord, moved, german)
        elif slot.chord:
            names[slot.text] = slot.text  # numbers stay, the key moves
    slots = tuple(_slot(slot, interval, key, names) for slot in bar.slots)
    if last and slots[0].held:
        slots = (replace(slots[0], chord=last.chord, text=last.text), *slots[1:])
    pitch = lambda p: moved_pitch(p, interval, key)  # noqa: E731
    melody = tuple(_note(n, pitch) for n in bar.melody) if bar.melody is not None else None
    melody_text = _spliced(bar.melody_text, lambda w: _note_text(w, pitch, german), sign=True)
    grip = lambda g: gripping.moved(g, interval.semitones)  # noqa: E731
    items = spliced_chords(bar.items_text, names, not letters, grip)
    return replace(bar, slots=slots, items_text=items, melody=melody, melody_text=melody_text)


def _slot(slot: Slot, interval: Interval, key: Key | None, names: dict[str, str]) -> Slot:
    if slot.chord is None:
        return slot
    text = names[slot.text]
    grip = gripping.moved(slot.grip, interval.semitones)
    moved = replace(transpose(slot.chord, interval, key), written=text)
    return replace(slot, chord=moved, text=text, grip=grip)


def symbol_text(typed: str, old: Chord, new: Chord, german: bool) -> str:
    """A moved chord in the spelling that its writer uses, where that reads as the same chord."""
    quality = typed
    if old.bass is not None:
        quality = quality[: quality.rfind("/")]
    slash = f"/{named(new.bass, german)}" if new.bass else ""
    for length in range(1, min(5, len(quality)) + 1):
        text = named(new.root, german) + quality[length:] + slash
        if _reads(quality[:length], german) == old.root and _same(text, new, german):
            return text
    text = named(new.root, german) + new.quality + slash
    return text if _same(text, new, german) else new.symbol


def _reads(text: str, german: bool) -> NoteName | None:
    """The root that a piece of a symbol names, None where it is more or less than a note name."""
    try:
        chord = read(text, german)
    except SymbolError:
        return None
    return chord.root if chord and not chord.quality and not chord.bass else None


def _same(text: str, chord: Chord, german: bool) -> bool:
    try:
        return read(text, german) == chord
    except SymbolError:
        return False


def _note(note: LineNote, pitch: Callable[[Pitch], Pitch]) -> LineNote:
    return note if note.pitch is None else replace(note, pitch=pitch(note.pitch))


def _note_text(word: str, pitch: Callable[[Pitch], Pitch], german: bool) -> str:
    note = read_note(word, german, Span(0, 0), _ignored())
    if note is None:
        return word
    moved = pitch(note)
    return f"{named(moved.note, german)}{moved.octave}"


def _ignored() -> Faults:
    return Faults(Source("", ""))


def moved_pitch(pitch: Pitch, interval: Interval, key: Key | None) -> Pitch:
    """A melody note moved; with two accidentals it is respelled for the key, at the same height."""
    there = pitch.up(interval)
    if abs(there.note.alter) < 2:
        return there
    note = note_in_key(there.note.pc, key)
    return min(
        (Pitch(note, there.octave + step) for step in (-1, 0, 1)),
        key=lambda p: abs(p.midi - there.midi),
    )


Grips = Callable[[tuple[int, ...]], tuple[int, ...]]


def spliced_chords(
    items: str, names: Mapping[str, str], numbers: bool = False, grip: Grips = lambda g: g
) -> str:
    """The items of a bar, in letters or `numbers`, with its chords named otherwise, and its grips."""
    return _spliced(items, lambda w: names.get(w, w), sign=False, numbers=numbers, grip=grip)


def _spliced(
    text: str,
    word: Callable[[str], str],
    sign: bool,
    numbers: bool = False,
    grip: Grips = lambda g: g,
) -> str:
    """The items of a bar with every chord or note replaced, and every grip."""
    if not text or text[0] == "%":
        return text
    line = f"| {text} |"
    plain = line.replace("𝄋", "x").replace("𝄌", "x")
    found, _, _ = cells(plain, 0, len(line), _ignored(), numbers)
    result, at = "", 0
    for leaf in content(found[0].tokens, line, _ignored(), sign).leaves:
        if leaf.hold or leaf.word in ("r", "R") or no_chord(leaf.word):
            continue
        start = leaf.token.start
        result += line[at:start] + word(leaf.word)
        at = start + len(leaf.word)
        if leaf.grip:
            result += gripping.written(grip(leaf.grip))
            at = line.index("]", at) + 1
    return (result + line[at:])[2:-2]
