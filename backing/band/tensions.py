"""The colours of every chord: which unwritten ninths, elevenths and thirteenths the whole band may add to it.

They are chosen once a chord from its function, the style, the melody and what the bass does, before anybody plays, so
that no player's colour rubs against another's: altered tones stay away where the style wants plain sevenths, where a
guitar has fixed fifths, or over a slash, and a sharp eleventh where the bass lives on its fifth. A row of chords of one
quality that moves by half step has one set of colours, so that one shape can move through it.

Conventions: chords go by their index in the timeline. Source: a band agrees on its tensions, and the plain fifth goes
where the thirteenth is flat (common practice).
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from functools import lru_cache
from itertools import pairwise

from backing.band.led import SectionPlan
from backing.band.players.common import Change
from backing.ground.pitch import Degree, Key
from backing.harmony.colours import colours
from backing.harmony.function import Function, analyse
from backing.harmony.symbol import Chord
from backing.styles.model import Style
from backing.timeline.model import MelodyNote, PlayedBar, SectionPass

PLAIN_FIFTHS = ("power", "open", "triads")  # grips of a guitar that rub against what is altered
FREE_BASS = ("walking",)  # ways of a bass that can leave out its fifth

Agreed = Mapping[int, tuple[Degree, ...]]


def agreed(
    style: Style,
    bars: Sequence[PlayedBar],
    changes: Sequence[Change],
    ahead: Change | None,
    melody: Sequence[MelodyNote],
) -> dict[int, tuple[Degree, ...]]:
    """The colours of every chord of a section, by its index; `ahead` is what follows, `melody` is in order of time."""
    if not style.colour or bars[0].colour is False:
        return {}
    heard = [change for change in (*changes, ahead) if change is not None]
    found: dict[int, tuple[Degree, ...]] = {}
    for change, function, key in _functions(bars, heard):
        chord = change.span.chord
        if chord is None or function is None:
            continue
        offer = colours(chord, function, key, _sung(melody, change))
        found[change.index] = tuple(
            d for d in offer if d.alter == 0 or _may_be_altered(d, style, chord)
        )
    _level(heard, found)
    return found


def _may_be_altered(degree: Degree, style: Style, chord: Chord) -> bool:
    """Whether an altered tone rubs against nothing that the band plays anyway."""
    if not style.altered or any(p.word("voicing") in PLAIN_FIFTHS for p in style.fretted):
        return False
    if chord.bass is not None and chord.bass.pc != chord.root.pc:
        return False  # the upper chord is played whole
    bass = style.part("bass")
    return degree.number != 11 or bass is None or set(bass.plays.values()) & set(FREE_BASS) != set()


def _functions(
    bars: Sequence[PlayedBar], changes: Sequence[Change]
) -> list[tuple[Change, Function | None, Key]]:
    """What every chord does in the key of its bar."""
    found: list[tuple[Change, Function | None, Key]] = []
    run: list[Change] = []
    key, bar = bars[0].key, 0
    for change in changes:
        while bar + 1 < len(bars) and bars[bar].end_q <= change.start_q:
            bar += 1
        if bars[bar].key != key:
            found += _run(run, key)
            run, key = [], bars[bar].key
        run.append(change)
    return found + _run(run, key)


def _run(run: Sequence[Change], key: Key) -> list[tuple[Change, Function | None, Key]]:
    if not run:
        return []
    chords = tuple(c.span.chord for c in run)
    functions = _analysed(chords, tuple(float(c.end_q - c.start_q) for c in run), key)
    return [(change, function, key) for change, function in zip(run, functions, strict=True)]


@lru_cache(maxsize=64)
def _analysed(
    chords: tuple[Chord | None, ...], lengths: tuple[float, ...], key: Key
) -> tuple[Function | None, ...]:
    return analyse(chords, lengths, key)


def _sung(melody: Sequence[MelodyNote], change: Change) -> tuple[int, ...]:
    """The pitch classes that the melody has over a chord."""
    at = bisect_left(melody, change.end_q, key=lambda n: n.start_q)
    sounding = (n for n in reversed(melody[:at]) if n.end_q > change.start_q)
    return tuple(sorted({n.pitch.midi % 12 for n in sounding}))


def planes(a: Chord | None, b: Chord | None) -> bool:
    """Whether one shape can move from a chord to the next: one quality, a half step apart, each over its root."""
    if a is None or b is None or a.bass is not None or b.bass is not None:
        return False
    return a.quality == b.quality and (b.root.pc - a.root.pc) % 12 in (1, 11)


def _level(changes: Sequence[Change], found: dict[int, tuple[Degree, ...]]) -> None:
    """Give a row of one quality that moves by half step the colours that all its chords share."""
    rows: list[list[int]] = [[]]
    for before, change in pairwise(changes):
        if planes(before.span.chord, change.span.chord):
            rows[-1] = [*(rows[-1] or [before.index]), change.index]
        elif rows[-1]:
            rows.append([])
    for row in rows:
        offer = found.get(row[0], ()) if row else ()
        shared = [d for d in offer if all(d in found.get(i, ()) for i in row)]
        found.update((index, tuple(shared)) for index in row)


def beside_pedal(
    led: SectionPlan, section: SectionPass, changes: Sequence[Change], colours: Agreed
) -> Agreed:
    """The colours of a section's chords, by their index, without those a half step from a pedal under them."""
    pedal = led.pedal
    if pedal is None:
        return colours
    found = dict(colours)
    for change in changes:
        chord, bar = change.span.chord, change.span.bar - section.first
        if chord is not None and pedal.first <= bar <= pedal.last:
            root = chord.root.pc - pedal.note.pc
            own = found.get(change.index, ())
            found[change.index] = tuple(d for d in own if (root + d.semitones) % 12 not in (1, 11))
    return found
