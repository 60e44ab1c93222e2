"""Standard MIDI Files, byte by byte where the standard says so, and read back by mido and pretty_midi."""

from __future__ import annotations

import io
import itertools
from fractions import Fraction
from pathlib import Path

import mido
import pretty_midi
import pytest

from backing.ground.errors import OutputError
from backing.ground.pitch import Key, NoteName
from backing.ground.roles import CHANNELS
from backing.output.asked import AS_USUAL, Sound
from backing.output.midi import TICKS, midi_bytes, tuning, write
from backing.performance.model import Performance
from tests.each import each
from tests.hand_made import performance


def read(p: Performance, sound: Sound = AS_USUAL) -> mido.MidiFile:
    return mido.MidiFile(file=io.BytesIO(midi_bytes(p, sound)), charset="utf-8")


def metas(file: mido.MidiFile, kind: str) -> list[tuple[int, mido.MetaMessage]]:
    """Metas of a kind in the first track, with their ticks."""
    now, found = 0, []
    for message in file.tracks[0]:
        now += message.time
        if message.type == kind:
            found.append((now, message))
    return found


def events(track: mido.MidiTrack) -> list[tuple[int, mido.Message]]:
    ticks = itertools.accumulate(m.time for m in track)
    return [(t, m) for t, m in zip(ticks, track, strict=True) if not m.is_meta]


def test_the_header_is_type_one_with_960_ticks() -> None:
    """`MThd`, length 6, then format, tracks and division, big-endian (Standard MIDI Files 1.0)."""
    data = midi_bytes(performance())
    assert data[:14] == b"MThd\x00\x00\x00\x06" + bytes((0, 1, 0, 4)) + TICKS.to_bytes(2, "big")


def test_120_quarters_a_minute_is_500000_microseconds() -> None:
    """`FF 51 03 07 A1 20` (Standard MIDI Files 1.0, set tempo)."""
    assert bytes.fromhex("FF510307A120") in midi_bytes(performance(qpm=Fraction(120)))


@each(
    ("meter", "expected"),
    [
        ("4/4", "FF580404021808"),
        ("2/2", "FF580402013008"),
        ("3/4", "FF580403021808"),
        ("6/8", "FF580406032408"),  # the example of the specification: 24 hexadecimal is 36 clocks
        ("12/8", "FF58040C032408"),
        ("5/4", "FF580405021808"),
        ("7/8", "FF580407030C08"),
    ],
)
def test_meters_are_written_with_their_clocks_a_click(meter: str, expected: str) -> None:
    """`FF 58 04 nn dd cc bb`: power of two, 24 clocks a quarter times the click (Standard MIDI Files 1.0)."""
    data = midi_bytes(performance(("C", "C"), meter=meter))
    assert data.count(b"\xff\x58") == 1
    assert bytes.fromhex(expected) in data


@each(("key", "expected"), [("Bb major", "FF5902FE00"), ("F# minor", "FF59020301")])
def test_keys_are_written_as_sharps_and_mode(key: str, expected: str) -> None:
    """`FF 59 02 sf mi` with a signed count of sharps (Standard MIDI Files 1.0)."""
    assert bytes.fromhex(expected) in midi_bytes(performance(("C",), key=key))


def test_a_dotted_quarter_at_90_is_444444_microseconds_a_quarter() -> None:
    """Tempo is always counted in quarters, also in 6/8 (Standard MIDI Files 1.0; arithmetic)."""
    file = read(performance(("C",), meter="6/8", qpm=Fraction(135)))
    assert [m.tempo for _, m in metas(file, "set_tempo")] == [444444]


def test_tempo_steps_meters_and_keys_stand_at_their_places() -> None:
    p = performance(
        ("C", "F", "G", "C"),
        meter=("4/4", "3/4", "7/8", "4/4"),
        qpm=((0, 500000), (4, 400000), (5, 400000), (7, 600000)),
        keys={3: "D major"},
        count_in_bars=2,
    )
    file = read(p)
    start = 8 * TICKS
    assert [(t, m.tempo) for t, m in metas(file, "set_tempo")] == [
        (0, 500000),
        (start + 4 * TICKS, 400000),
        (start + 7 * TICKS, 600000),
    ]
    assert [(t, m.numerator, m.denominator) for t, m in metas(file, "time_signature")] == [
        (0, 4, 4),
        (start + 4 * TICKS, 3, 4),
        (start + 7 * TICKS, 7, 8),
        (start + round(10.5 * TICKS), 4, 4),
    ]
    assert [(t, m.key) for t, m in metas(file, "key_signature")] == [
        (0, "C"),
        (start + 7 * TICKS, "D"),
    ]


def test_a_pickup_completes_the_count_in() -> None:
    """The count-in stops where the pickup begins, and together they fill whole bars: no meter in between."""
    p = performance(("C", "F", "G"), pickup_q=Fraction(1))
    assert [t for t, _ in metas(read(p), "time_signature")] == [0]


def test_a_pickup_without_count_in_has_a_meter_of_its_own_length() -> None:
    p = performance(("C", "F", "G"), pickup_q=Fraction(1), count_in_bars=0)
    found = [(t, m.numerator, m.denominator) for t, m in metas(read(p), "time_signature")]
    assert found == [(0, 1, 4), (TICKS, 4, 4)]


def test_title_maker_sections_and_chords_are_text() -> None:
    p = performance(("Cmaj7", "Am7 D7"), title="Añejo", sections=(("A", 1), ("B", 2)))
    file = read(p)
    assert file.tracks[0][0].name == "Añejo"
    texts = [(t, m.text) for t, m in metas(file, "text")]
    assert texts[0][1].startswith("made by backing 0")
    bar = 4 * TICKS
    assert texts[1:] == [(bar, "Cmaj7"), (2 * bar, "Am7"), (2 * bar + bar // 2, "D7")]
    assert [(t, m.text) for t, m in metas(file, "marker")] == [(bar, "A"), (2 * bar, "B")]


def test_each_player_has_a_track_by_its_role_and_channel() -> None:
    file = read(performance())
    assert [t.name for t in file.tracks[1:]] == ["keys", "bass", "drums"]
    for track in file.tracks[1:]:
        assert {m.channel for _, m in events(track)} == {CHANNELS[track.name]}


def test_pretty_midi_reads_programs_drums_and_seconds() -> None:
    p = performance(qpm=((0, 500000), (4, 375000)))
    song = pretty_midi.PrettyMIDI(io.BytesIO(midi_bytes(p)))
    by_name = {i.name: i for i in song.instruments}
    assert by_name["keys"].program == 0
    assert by_name["bass"].program == 32
    assert by_name["drums"].is_drum
    for player in p.players:
        theirs = sorted((n.start, n.pitch) for n in by_name[player.role].notes)
        ours = sorted((n.onset_s, n.pitch) for n in player.notes)
        assert len(theirs) == len(ours)
        for (at, pitch), (onset_s, expected) in zip(theirs, ours, strict=True):
            assert pitch == expected
            assert at == pytest.approx(onset_s, abs=0.6 / TICKS)


def test_the_file_lasts_as_long_as_the_sound() -> None:
    p = performance(qpm=((0, 500000), (6, 618557)))
    assert read(p).length == pytest.approx(p.duration_s, abs=0.001)


def test_programs_change_with_the_section_before_its_notes() -> None:
    p = performance(("C", "C"), voices={"keys": [(4.0, "electric piano")]})
    track = read(p).tracks[1]
    at = 8 * TICKS
    here = [m.type for t, m in events(track) if t == at]
    assert here.index("program_change") < here.index("note_on")
    assert [m.program for _, m in events(track) if m.type == "program_change"] == [0, 4]


def test_events_at_one_tick_are_ends_then_controllers_then_starts() -> None:
    order = {"note_off": 0, "program_change": 1, "control_change": 1, "note_on": 2}
    notes = {"keys": [(q, 1.0, 60, 80) for q in range(8)]}
    p = performance(("C", "C"), notes, voices={"keys": [(4.0, "organ")]})
    for track in read(p).tracks[1:]:
        keyed = [(t, order[m.type]) for t, m in events(track)]
        assert keyed == sorted(keyed)


def test_no_note_cuts_another_of_its_pitch_short() -> None:
    """A channel holds one note a pitch: the first ends where the second begins; two at once become one."""
    notes = {
        "keys": [(0.0, 2.0, 60, 70), (1.0, 2.0, 60, 80), (4.0, 1.0, 64, 50), (4.0, 2.0, 64, 90)]
    }
    song = pretty_midi.PrettyMIDI(
        io.BytesIO(midi_bytes(performance(("C", "C"), notes, count_in_bars=0)))
    )
    found = [(n.start, n.end, n.pitch, n.velocity) for n in song.instruments[0].notes]
    assert sorted(found) == [(0.0, 0.5, 60, 70), (0.5, 1.5, 60, 80), (2.0, 3.0, 64, 90)]


def test_level_pan_and_room_are_controllers() -> None:
    """Volume sounds as 40 log10 of controller 7 (General MIDI level 1): -12 dB halves it from 100."""
    p = performance(mix={"keys": (-12.0, -1.0, 0.5)})
    found = {m.control: m.value for _, m in events(read(p).tracks[1]) if m.type == "control_change"}
    assert found == {7: 50, 10: 1, 91: 64}


def test_only_one_track_sets_the_kit_of_the_percussion_channel() -> None:
    notes = {"drums": [(0, 1, 36, 90)], "percussion": [(0, 1, 62, 90)], "click": [(0, 1, 76, 90)]}
    file = read(performance(("C",), notes))
    setting = [t.name for t in file.tracks[1:] if any(m.type == "program_change" for m in t)]
    assert setting == ["drums"]


def test_a_fade_turns_expression_down_to_nothing() -> None:
    p = performance(("C", "C", "C", "C"), fade_s=6.0)
    values = [(t, m.value) for t, m in events(read(p).tracks[1]) if m.is_cc(11)]
    assert values[0][0] >= 12 * TICKS - TICKS
    assert values[-1][1] == 0
    assert [v for _, v in values] == sorted((v for _, v in values), reverse=True)


def test_another_concert_pitch_is_registered_tuning_on_pitched_channels() -> None:
    """Registered parameter 1 holds cents in 14 bits around 8192 (MIDI 1.0): 442 Hz is 7.85 cents."""
    file = read(performance(), sound=Sound(a4=442.0))
    pairs = [(m.control, m.value) for _, m in events(file.tracks[1]) if m.type == "control_change"]
    assert pairs[: len(tuning(442.0))] == tuning(442.0)
    fine = dict(tuning(442.0)[6:8])
    assert (fine[6] * 128 + fine[38] - 8192) / 8192 * 100 == pytest.approx(7.85, abs=0.02)
    assert not any(m.is_cc(101) for _, m in events(file.tracks[3]))


def test_a_key_beyond_seven_accidentals_is_respelled() -> None:
    """The key signature has room for seven (Standard MIDI Files 1.0)."""
    p = performance(("C",))
    timeline = p.arrangement.timeline
    bar = timeline.bars[0]._replace(key=Key(NoteName.parse("G#")))
    odd = p._replace(arrangement=p.arrangement._replace(timeline=timeline._replace(bars=(bar,))))
    assert [m.key for _, m in metas(read(odd), "key_signature")] == ["Ab"]


def test_the_same_performance_gives_the_same_bytes(tmp_path: Path) -> None:
    write(performance(), tmp_path / "a.mid")
    write(performance(), tmp_path / "b.mid")
    assert (tmp_path / "a.mid").read_bytes() == (tmp_path / "b.mid").read_bytes()


def test_a_foreign_file_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "a.mid"
    path.write_bytes(b"MThd of somebody else")
    with pytest.raises(OutputError, match="was not made by this program"):
        write(performance(), path)
    write(performance(), path, force=True)
    write(performance(), path)
