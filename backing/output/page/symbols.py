"""The chords of a tune on its practice page, in every key: taken apart to be set, in words to be read aloud, and in the hand.

Conventions: a shift is semitones from the written key; grips run from the lowest string, -1 is not played.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from backing.chart.ast import LETTERS
from backing.chart.numbers import in_notation
from backing.ground.pitch import Key
from backing.ground.tunings import open_strings
from backing.harmony.chord import Chord
from backing.harmony.grip import Grip
from backing.harmony.spelling import interval_for_semitones, transpose
from backing.harmony.taught import grips_for
from backing.output.hand import hand_chord, hand_key
from backing.output.symbols import numbered_parts, parts
from backing.timeline.marks import moved_key
from backing.timeline.model import ChordSpan, PlayedBar, Timeline

SHIFTS = range(-6, 7)
SHAPES = 5  # of a chord that a player goes through
SAID = {
    "♭": " flat ",
    "♯": " sharp ",
    "𝄫": " double flat ",
    "𝄪": " double sharp ",
    "♮": " natural ",
}


class Symbols:
    """Every chord of the tune in all keys: rows of numbers into a list of symbols taken apart."""

    def __init__(self, timeline: Timeline, signs: bool, notation: str) -> None:
        self._timeline = timeline
        self._signs = signs
        self._notation = notation
        self._numbers: dict[tuple[Chord, Key], int] = {}
        self._seen: dict[tuple[object, ...], int] = {}
        self.rows: list[list[int]] = []
        self.shown: list[dict[str, Any]] = []
        self._chords: list[Chord] = []
        self._typed: dict[Chord, tuple[int, ...]] = {}

    def number(self, span: ChordSpan, bar: PlayedBar) -> int:
        """The row of a chord, -1 where none sounds."""
        chord = hand_chord(self._timeline, span, bar.key)
        if chord is None:
            return -1
        if span.grip:
            self._typed.setdefault(chord, span.grip)
        found = self._numbers.get((chord, bar.key))
        if found is None:
            found = self._numbers[chord, bar.key] = len(self.rows)
            key = hand_key(self._timeline, bar.key)
            figure = "" if self._notation == LETTERS else in_notation(chord, key, self._notation)
            self.rows.append([self._part(_transposed(chord, key, n), figure) for n in SHIFTS])
        return found

    def grips(self, chosen: Sequence[tuple[Chord, Grip]]) -> list[list[list[int]]] | None:
        """The grips of every symbol from the lowest string up: first what the sheet shows (`chosen`), or what is typed
        in a bar, then as they are taught; none where no hand holds it."""
        strings = open_strings(self._timeline.tuning)
        first: dict[str, list[tuple[int, ...]]] = {}
        for chord, grip in chosen:
            first.setdefault(chord.symbol, []).append(grip.frets)
        found = []
        for chord in self._chords:
            typed = [self._typed[chord]] if chord in self._typed else []
            taught = [grip.frets for grip in grips_for(chord, SHAPES, strings)]
            every = dict.fromkeys([*typed, *first.get(chord.symbol, []), *taught])
            found.append([list(frets) for frets in every][:SHAPES])
        return found if any(found) else None

    def _part(self, chord: Chord, figure: str) -> int:
        """The symbol of a chord, or the number or numeral that is written for it in every key."""
        p = numbered_parts(figure) if figure else parts(chord, self._signs)
        shown = {
            "root": p.root,
            "sign": p.accidental,
            "quality": p.quality,
            "high": p.extension + p.word,
            "alter": list(p.alterations),
            "bass": p.bass,
            "bassSign": p.bass_accidental,
            "said": said(chord),
        }
        key = (*map(str, shown.values()), figure and chord.symbol)
        if key not in self._seen:
            self._seen[key] = len(self.shown)
            self.shown.append(shown)
            self._chords.append(chord)
        return self._seen[key]


def said(chord: Chord) -> str:
    """A chord for a voice: `B flat m7 flat 5 over D`."""
    p = parts(chord)
    whole = p.root + p.accidental + " " + p.quality + p.extension + " " + p.word + " "
    whole += " ".join(p.alterations)
    if p.bass:
        whole += f" over {p.bass}{p.bass_accidental}"
    for sign, word in SAID.items():
        whole = whole.replace(sign, word)
    return " ".join(whole.split())


def _transposed(chord: Chord, key: Key, shift: int) -> Chord:
    there, way = moved_key(key, interval_for_semitones(key, shift))
    return transpose(chord, way, there)
