"""Keys in a mode: signature, spelling, harmony, and what a chart, a MIDI file and a sheet make of them.

Sources: the seven modes on the white keys (D dorian to C ionian), as every primer of theory lists them; signatures
against music21's keys; a dominant of a mode that does not pull away from its tonic, common practice.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from backing.chart.parse import parse
from backing.chart.write import transpose_chart, write
from backing.commands.cli import run
from backing.ground.pitch import MODES, Interval, Key, NoteName
from backing.harmony.function import analyse
from backing.harmony.scales import scale_for
from backing.harmony.spelling import interval_for_semitones, note_in_key
from backing.harmony.symbol import Chord, read
from backing.output.hand import key_name
from backing.timeline.unroll import unroll

WHITE = {
    "ionian": "C", "dorian": "D", "phrygian": "E", "lydian": "F", "mixolydian": "G",
    "aeolian": "A", "locrian": "B",
}  # fmt: skip


def chord(symbol: str) -> Chord:
    found = read(symbol)
    assert found is not None
    return found


def test_every_mode_on_its_white_key_has_no_signature() -> None:
    assert WHITE.keys() == MODES.keys()
    for mode, tonic in WHITE.items():
        key = Key.parse(f"{tonic} {mode}")
        assert key.fifths == 0, mode
        assert sorted(d.of(key.tonic).name for d in key.degrees) == list("ABCDEFG"), mode
        assert key.minor == (key.degrees[2].alter < 0), mode
        assert key.signature in (Key(NoteName("C")), Key(NoteName("A"), True)), mode


@pytest.mark.libraries
def test_signatures_agree_with_music21() -> None:
    from music21.key import Key as Theirs

    wrong = []
    for mode in MODES:
        for tonic in ("C", "D", "E", "F", "G", "A", "B", "Bb", "Eb", "F#"):
            ours = (
                Key.parse("C")
                .at(NoteName.parse(tonic))
                ._replace(minor=MODES[mode].minor, mode=mode)
            )
            theirs = Theirs(tonic.replace("b", "-"), mode).sharps
            if ours.fifths != theirs:
                wrong.append((tonic, mode, ours.fifths, theirs))
    assert not wrong


def test_a_mode_keeps_its_name_when_it_moves() -> None:
    key = Key.parse("E dorian")
    assert key.up(Interval(1, 2)).name == "F# dorian"
    assert key.up(interval_for_semitones(key, 1)).name == "F dorian"
    assert note_in_key(1, key).name == "C#"
    assert note_in_key(10, Key.parse("G dorian")).name == "Bb"


def test_the_harmony_of_a_vamp_stays_in_its_mode() -> None:
    """Em7 A7 in E dorian is no ii-V of D, and A7 is the fourth step of the mode."""
    key = Key.parse("E dorian")
    vamp = [chord(s) for s in ("Em7", "A7", "Em7", "A7")]
    found = analyse(vamp, [Fraction(4)] * 4, key)
    assert [f.key for f in found if f] == [key] * 4
    assert [(f.role, f.numeral) for f in found[:2] if f] == [("tonic", "i"), ("subdominant", "IV7")]
    assert [f.scale.name for f in found[:2] if f] == ["dorian", "mixolydian"]
    assert scale_for(chord("Cmaj7"), Key.parse("C lydian")).name == "lydian"
    assert scale_for(chord("Em"), Key.parse("E phrygian")).name == "phrygian"


def test_a_chart_in_a_mode_is_read_written_and_moved() -> None:
    chart = parse("key: E dorian\n| Em7 | A7 |\n[B]\nkey: A mixolydian\n| A7 | G |\n")
    assert chart.settings.key == Key.parse("E dorian")
    moved = write(transpose_chart(chart, Interval(1, 2)))
    assert moved.splitlines()[0] == "key: F# dorian"
    assert "key: B mixolydian" in moved
    assert parse(moved).settings.key == Key.parse("F# dorian")
    assert [b.key.name for b in unroll(chart).bars][:3] == ["E dorian", "E dorian", "A mixolydian"]
    german = parse("note-names: german\nkey: Fis dorisch\n| Fism7 |\n")
    assert german.settings.key == Key.parse("F# dorian")
    assert key_name(Key.parse("Eb lydian")) == "E♭ lydian"


def test_a_midi_file_holds_the_signature_of_the_mode(tmp_path: Path) -> None:
    """Two sharps: E dorian as B minor, A mixolydian as D major."""
    import mido

    for text, name in (("E dorian", "Bm"), ("A mixolydian", "D")):
        tune, out = tmp_path / "tune.txt", tmp_path / f"{name}.mid"
        tune.write_text(f"key: {text}\n| Em7 | A7 |\n", "utf-8")
        assert run(["make", str(tune), "-o", str(out)]) == 0
        said = [m for t in mido.MidiFile(out).tracks for m in t if m.type == "key_signature"]
        assert [m.key for m in said] == [name]
