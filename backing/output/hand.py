"""What the hand plays and what sounds: one rule for capo and tuning on page, sheet, captions and MIDI.

The rule: what the hand plays is shown, what sounds is said. With a capo or another tuning, symbols are the shapes that
are held down, and a plain line names the key that is heard. A timeline holds what sounds.
"""

from __future__ import annotations

from backing.ground.pitch import Key
from backing.harmony.chord import Chord
from backing.harmony.spelling import interval_for_semitones, transpose
from backing.harmony.symbol import SymbolError, read
from backing.output.symbols import note
from backing.timeline.marks import moved_key
from backing.timeline.model import ChordSpan, Timeline


def higher(timeline: Timeline) -> int:
    """Semitones that a guitar sounds above what the hand plays."""
    return timeline.capo + timeline.tuned


def differs(timeline: Timeline) -> bool:
    """Whether the hand plays something else than what sounds."""
    return higher(timeline) != 0


def hand_key(timeline: Timeline, sounding: Key) -> Key:
    """The key of the shapes for a key that sounds."""
    down = -higher(timeline)
    return moved_key(sounding, interval_for_semitones(sounding, down))[0] if down else sounding


def hand_chord(timeline: Timeline, span: ChordSpan, sounding: Key) -> Chord | None:
    """The shape for a chord: spelled as it was typed where that is this chord, otherwise from the key of the shapes."""
    if span.chord is None or not differs(timeline):
        return span.chord
    key, down = moved_key(sounding, interval_for_semitones(sounding, -higher(timeline)))
    moved = transpose(span.chord, down, key)
    try:
        typed = read(span.written)
    except SymbolError:
        return moved
    if typed is None or typed.quality != moved.quality or typed.root.pc != moved.root.pc:
        return moved
    return typed if (typed.bass and typed.bass.pc) == (moved.bass and moved.bass.pc) else moved


def how(capo: int, tuned: int) -> str:
    """What is done to the guitar, in words: `capo 3, guitar tuned down a whole step`."""
    words = [f"capo {capo}"] if capo else []
    if tuned:
        words.append(f"guitar tuned {'down' if tuned < 0 else 'up'} {steps(abs(tuned))}")
    return ", ".join(words)


def steps(semitones: int) -> str:
    """`a half step`, `a whole step`, `3 half steps`."""
    return {1: "a half step", 2: "a whole step"}.get(semitones, f"{semitones} half steps")


def key_name(key: Key, german: bool = False) -> str:
    """A key in full: `B♭ major`, `F♯ minor`."""
    return f"{note(key.tonic, german)} {key.mode_name}"


def told(capo: int, tuned: int, shapes: Key | None, german: bool = False) -> str:
    """The plain line, for shapes in a key: `capo 3 (sounds in B♭ major)`; "" without capo and tuning."""
    words = how(capo, tuned)
    if not words or not capo + tuned or shapes is None:
        return words
    sounds = moved_key(shapes, interval_for_semitones(shapes, capo + tuned))[0]
    return f"{words} (sounds in {key_name(sounds, german)})"


def said(timeline: Timeline) -> str:
    """The plain line for what is played."""
    shapes = hand_key(timeline, timeline.bars[0].key)
    return told(timeline.capo, timeline.tuned, shapes, timeline.german)


def symbol(timeline: Timeline, span: ChordSpan) -> str:
    """A chord of what is played as the hand sees it, spelled as charts are: `Bb7`, `N.C.`"""
    if not differs(timeline):
        return span.symbol
    chord = hand_chord(timeline, span, timeline.bars[span.bar - 1].key)
    return chord.symbol if chord is not None else span.symbol
