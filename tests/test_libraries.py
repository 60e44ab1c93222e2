"""Chord symbols against music21, pychord and mir_eval, with the disagreements that are known and why.

What a library cannot read is listed, and the test asserts that it still cannot, so nothing is left out in silence.
"""

from __future__ import annotations

import pytest

from backing.ground.pitch import NoteName
from backing.harmony.symbol import Chord, read
from tests.chord_tables import symbols

pytestmark = [
    pytest.mark.libraries,
    pytest.mark.filterwarnings("ignore"),  # theirs, about each other's versions
]

QUALITIES = sorted({c.quality for s in symbols() if (c := read(s)) is not None})

# -- music21

# Our name, and what music21 10 calls the same chord.
MUSIC21_NAMES = {
    "(b5)": "b5", "sus24": "sus4add2", "no5": "omit5", "mno5": "momit5", "6/9": "6add9", "m6/9": "m6add9",
    "6/9#11": "6add9add#11", "mMaj7": "mM7", "dim(maj7)": "dimadd#7", "7no5": "7omit5", "7no3": "7omit3",
    "maj9": "M9", "mMaj9": "mM9", "maj9#5": "M9#5", "maj11": "M11", "mMaj11": "mM11", "maj9#11": "M9#11",
    "7(9,13)": "9add13", "maj13": "M13", "mMaj13": "mM13", "maj13#11": "M13#11",
}  # fmt: skip
MUSIC21_CANNOT = {"7sus2", "9sus4", "13sus4", "13sus4b9", "maj7sus4", "7alt"}
# music21 drops alterations of 11 and 13 chords without a word: its table holds the plain stack only.
MUSIC21_DROPS = {"11b9", "13#11", "13b9", "13#9", "13b9#11", "maj13#11"}


def music21_name(chord: Chord, quality: str) -> str:
    """A flat is a minus there: Bb7 would be read as B with a flat seventh."""
    bass = f"/{chord.bass.name.replace('b', '-')}" if chord.bass else ""
    return chord.root.name.replace("b", "-") + quality + bass


def music21_pitch_classes(name: str) -> set[int]:
    from music21 import harmony

    return {p.pitchClass for p in harmony.ChordSymbol(name).pitches}


@pytest.mark.parametrize("quality", QUALITIES)
def test_music21_has_the_same_notes(quality: str) -> None:
    """Every quality on five roots: the same pitch classes, or a disagreement that is listed."""
    for root in ("C", "F#", "Bb", "E", "Ab"):
        chord = read(root + quality)
        assert chord is not None
        name = music21_name(chord, MUSIC21_NAMES.get(quality, quality))
        if quality in MUSIC21_CANNOT:
            with pytest.raises(ValueError, match="Invalid chord abbreviation"):
                music21_pitch_classes(name)
            continue
        theirs, ours = music21_pitch_classes(name), set(chord.pitch_classes)
        if quality in MUSIC21_DROPS:
            altered = [d for d in chord.degrees if d.number > 7 and d.alter]
            assert altered
            assert not theirs & {(chord.root.pc + d.semitones) % 12 for d in altered}
        else:
            assert theirs == ours


def test_music21_spells_the_same_way() -> None:
    """Letters and accidentals agree for thirds, sevenths and altered notes."""
    from music21 import harmony

    for symbol in ("Cdim7", "Ebm7b5", "C7#9", "F#7", "Abm", "Gbmaj7", "C#m7", "B7b9"):
        chord = read(symbol)
        assert chord is not None
        theirs = {
            p.name.replace("-", "b")
            for p in harmony.ChordSymbol(music21_name(chord, chord.quality)).pitches
        }
        assert theirs == {n.name for n in chord.notes}


def test_music21_agrees_on_slash_basses() -> None:
    """The lowest note is the written bass."""
    from music21 import harmony

    for symbol in symbols():
        chord = read(symbol)
        assert chord is not None
        quality = MUSIC21_NAMES.get(chord.quality, chord.quality)
        if chord.bass and quality not in MUSIC21_CANNOT:
            assert (
                harmony.ChordSymbol(music21_name(chord, quality)).bass().pitchClass == chord.bass.pc
            )


# -- pychord

PYCHORD_NAMES = {
    "+": "aug", "mno5": "m(no5)", "6/9": "69", "m6/9": "m69", "mMaj7": "mM7", "maj7#5": "maj7+5", "sus24": "sus4add2",
    "madd11": None, "7b5b9": "7b9b5", "7b5#9": "7#9b5", "7#5b9": "7b9#5", "7#5#9": "7#9#5", "m7b5b9": "m7b9b5",
}  # fmt: skip
PYCHORD_CANNOT = {
    "+add9", "11b9", "13b5", "13b9#11", "13sus4", "13sus4b9", "6/9#11", "7#9b13", "7(9,13)", "7add13", "7alt",
    "7b9#11b13", "7no3", "7no5", "7sus2", "7sus4add3", "7sus4b9", "9b13", "add#11", "addb9", "dim(maj7)", "dim9", "m#5",
    "m11b5", "m13", "m7b9", "m9b5", "mMaj11", "mMaj13", "mMaj9", "madd11", "maj11", "maj13#11", "maj7#9", "maj7b5",
    "maj7sus4", "maj9#11", "maj9#5", "mb6",
}  # fmt: skip
# 7b9b13 there holds an 11 that the symbol does not name (music21 has none).
PYCHORD_DIFFERS = {"7b9b13": {5}}


@pytest.mark.parametrize("quality", QUALITIES)
def test_pychord_has_the_same_notes(quality: str) -> None:
    """Every quality on five roots: the same pitch classes, or a disagreement that is listed."""
    from pychord import Chord as Theirs

    for root in ("C", "F#", "Bb", "E", "Ab"):
        chord = read(root + quality)
        assert chord is not None
        if quality in PYCHORD_CANNOT:
            with pytest.raises(ValueError, match="Unknown quality"):
                Theirs(root + quality)
            continue
        name = PYCHORD_NAMES.get(quality) or quality
        theirs = {NoteName.parse(n).pc for n in Theirs(root + name).components()}
        extra = {(chord.root.pc + n) % 12 for n in PYCHORD_DIFFERS.get(quality, set())}
        assert theirs == set(chord.pitch_classes) | extra


# -- mir_eval

# Harte et al. 2005 shorthands, as mir_eval has them; its extended chords hold the seventh chord only.
HARTE = {
    "": "maj", "m": "min", "+": "aug", "dim": "dim", "sus4": "sus4", "sus2": "sus2", "6": "maj6", "m6": "min6",
    "7": "7", "maj7": "maj7", "m7": "min7", "mMaj7": "minmaj7", "m7b5": "hdim7", "dim7": "dim7", "7sus4": "sus4(b7)",
    "5": "5", "no5": "maj(*5)", "7no3": "7(*3)", "7#5": "aug(b7)", "7b5": "7(*5,b5)", "maj7#5": "maj7(*5,#5)",
}  # fmt: skip


@pytest.mark.parametrize(("quality", "harte"), HARTE.items())
def test_mir_eval_has_the_same_notes(quality: str, harte: str) -> None:
    """Root, pitch classes and bass of Harte labels."""
    from mir_eval import chord as labels

    for root in ("C", "F#", "Bb"):
        ours = read(root + quality)
        assert ours is not None
        number, bitmap, bass = labels.encode(f"{root}:{harte}", reduce_extended_chords=False)
        assert number == ours.root.pc
        assert {(number + i) % 12 for i in range(12) if bitmap[i]} == set(ours.pitch_classes)
        assert bass == 0


def test_mir_eval_agrees_on_inversions_and_silence() -> None:
    """C/E is C:maj/3, Am7/G is A:min7/b7; two silences are equal (bug report mir_eval 98)."""
    from mir_eval import chord as labels

    for symbol, harte in (("C/E", "C:maj/3"), ("Am7/G", "A:min7/b7"), ("Dm7b5/Ab", "D:hdim7/b5")):
        ours = read(symbol)
        assert ours is not None
        number, _, bass = labels.encode(harte)
        assert (number, (number + bass) % 12) == (ours.root.pc, ours.lowest.pc)
    silence = labels.encode("N")
    assert silence[0] == -1
    assert not silence[1].any()
    assert read("N.C.") is None


@pytest.mark.parametrize("quality", ["9", "maj9", "m9", "11", "13", "maj13", "m11"])
def test_mir_eval_extended_chords(quality: str) -> None:
    """Extended shorthands hold the stack that Harte et al. 2005 name."""
    from mir_eval import chord as labels

    ours = read("C" + quality)
    assert ours is not None
    shorthand = {"m9": "min9", "m11": "min11"}.get(quality, quality)
    intervals = labels.EXTENDED_QUALITY_REDUX[shorthand]
    stack = {int(i) for i in labels.quality_to_bitmap(intervals[0]).nonzero()[0]}
    for interval in intervals[1]:
        stack.add(labels.scale_degree_to_semitone(interval) % 12)
    assert stack == {d.semitones % 12 for d in ours.degrees}
