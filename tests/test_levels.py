"""Players louder or softer than their style has them: in the mix, in MIDI, and by role."""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import mido
import numpy as np
import pytest
import soundfile

from backing.chart.parse import parse
from backing.chart.transpose import transpose_chart
from backing.chart.write import write
from backing.commands.cli import run
from backing.commands.naming import file_stem
from backing.commands.options import options
from backing.commands.practice import Practice, practised
from backing.commands.preparing import band, prepare
from backing.harmony.spelling import interval_for_semitones
from backing.output.midi import volume
from backing.performance.levels import with_levels
from backing.performance.model import Performance
from backing.performance.session import joined
from backing.timeline.tonality import first_key
from tests.band import performed
from tests.test_roles import TUNE, two

CHART = "style: straight-ahead swing\ntempo: 200\nending: as written\n| Dm7 | G7 |\n"


def levels(performance: object, role: str) -> list[float]:
    players = performance.players  # type: ignore[attr-defined]
    return [v.level_db for p in players if p.role == role for v in p.voices]


def test_nobody_else_s_level_and_no_note_changes() -> None:
    plain = performed(CHART, None)
    moved = with_levels(plain, (("bass", -6.0),))
    assert levels(moved, "bass") == [db - 6 for db in levels(plain, "bass")]
    for player, other in zip(plain.players, moved.players, strict=True):
        assert player.notes == other.notes
        assert player == other or player.role == "bass"


def test_a_role_counts_for_all_its_players_and_a_name_goes_before_it() -> None:
    from backing.band.arrange import arrange
    from backing.performance.perform import perform
    from tests.band import timeline

    plain = perform(arrange(timeline(TUNE), two(), 1))
    moved = with_levels(plain, (("guitar", -6.0), ("guitar 2", 3.0)))
    assert levels(moved, "guitar") == [db - 6 for db in levels(plain, "guitar")]
    assert levels(moved, "guitar 2") == [db + 3 for db in levels(plain, "guitar 2")]
    both = with_levels(plain, (("guitar", -6.0),))
    assert levels(both, "guitar 2") == [db - 6 for db in levels(plain, "guitar 2")]


def test_the_mix_and_the_midi_file_are_as_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A decibel is a twentieth of a decade of amplitude: between bass and drums 6 dB are a factor of 2."""
    monkeypatch.chdir(tmp_path)
    Path("tune.txt").write_text(CHART, "utf-8")
    out = ["-o", "t.wav", "-o", "t.mid", "--stems", "--quiet", "--loudness", "-30", "--force"]
    apart = []
    for more in ([], ["--level", "bass=-6"]):
        assert run(["make", "tune.txt", *out, *more]) == 0
        loud = {
            role: float(np.sqrt(np.mean(soundfile.read(f"t-{role}.wav")[0] ** 2)))
            for role in ("bass", "drums")
        }
        apart.append(20 * np.log10(loud["bass"] / loud["drums"]))
        played = mido.MidiFile("t.mid")
        track = next(t for t in played.tracks if t.name == "bass")
        set_to = [m.value for m in track if m.type == "control_change" and m.control == 7]
        plain = levels(performed(CHART, None), "bass")[0]
        assert set_to[0] == volume(plain - (6 if more else 0))
    assert apart[0] - apart[1] == pytest.approx(6, abs=0.1)


def test_tracks_that_differ_have_names_that_differ() -> None:
    """A sign is lost in the name of a file: what is softer is called so."""
    stems = [file_stem("t", options(level=text)) for text in ("bass=-3", "bass=3", "bass=0")]
    stems += [file_stem("t", options(tuned=text)) for text in ("-2", "2", "0")]
    stems += [file_stem("t", options(capo=text)) for text in ("3", "0")]
    assert len(set(stems)) == len(stems)
    assert stems[:2] == ["t-bass-3-dB-softer", "t-bass-3-dB-louder"]


def test_a_player_that_is_not_there_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("tune.txt").write_text(CHART, "utf-8")
    assert run(["make", "tune.txt", "-o", "t.mid", "--level", "strings=-3"]) == 2
    assert "--level strings: straight-ahead swing has no strings; it has" in capsys.readouterr().err


SECTIONS = """style: straight-ahead swing
tempo: 200
ending: as written
levels: bass -2
form: A B A

[A]
| Dm7 | G7 |

[B]
levels: drums -9
| Cmaj7 | A7 |
"""


def steps(performance: Performance, role: str) -> list[tuple[int, float]]:
    """From which bar on (from 1) a player has which level."""
    player = next(p for p in performance.players if p.role == role)
    return [(1 + int(v.at_q / 4), v.level_db) for v in player.voices]


def heard(text: str, **asked: object) -> Performance:
    wish = options(**asked)
    return band(prepare(parse(text, "tune.txt"), wish), wish)


def test_a_chart_s_levels_hold_where_it_says_and_what_is_asked_goes_before_them() -> None:
    plain = heard(re.sub("levels:.*\n", "", SECTIONS))
    (_, bass), (_, drums) = steps(plain, "bass")[0], steps(plain, "drums")[0]
    written = heard(SECTIONS)
    assert steps(written, "bass") == [(1, bass - 2)]
    assert steps(written, "drums") == [(1, drums), (3, drums - 9), (5, drums)]
    assert steps(written, "keys") == steps(plain, "keys")
    assert [p.notes for p in written.players] == [p.notes for p in plain.players]
    asked = heard(SECTIONS, level="drums=+1")
    assert steps(asked, "drums") == [(1, drums + 1)]
    assert steps(asked, "bass") == [(1, bass - 2)]
    assert steps(heard(SECTIONS, level="bass=0"), "bass") == steps(plain, "bass")


def test_python_hears_a_chart_s_levels() -> None:
    from backing import arrange, parse, perform, style, unroll

    chart = parse(SECTIONS)
    music = arrange(unroll(chart), style(chart))
    assert steps(perform(music), "drums") == steps(heard(SECTIONS), "drums")


def test_a_section_that_is_written_softer_sounds_softer(tmp_path: Path) -> None:
    """A fall of 9 dB in the drums of the middle section, measured in the sound beside the same track without it."""
    from backing.output.sound.audio import write_audio

    loud = []
    for text in (SECTIONS.replace("levels: drums -9\n", ""), SECTIONS):
        played = heard(text, loudness=-30)
        path = tmp_path / "t.wav"
        write_audio(played, [path], sound=options(loudness=-30).sound, stems=True, force=True)
        sound, rate = soundfile.read(tmp_path / "t-drums.wav")
        at = [played.count_in_s + beat * 60 / 200 for beat in (0, 8, 16, 24)]
        parts = [sound[round(a * rate) : round(b * rate)] for a, b in itertools.pairwise(at)]
        loud.append([20 * np.log10(np.sqrt(np.mean(part**2))) for part in parts])
    plain, written = loud
    assert written[0] - written[1] - (plain[0] - plain[1]) == pytest.approx(9, abs=0.7)
    assert written[0] - written[2] == pytest.approx(plain[0] - plain[2], abs=0.7)


def test_levels_are_written_back_and_move_with_the_chart() -> None:
    chart = parse(SECTIONS, "tune.txt")
    again = parse(write(transpose_chart(chart, interval_for_semitones(first_key(chart), 2))), "t")
    assert again.settings.levels == (("bass", -2.0),)
    assert again.section("B").settings.levels == (("drums", -9.0),)
    assert "levels: bass -2" in re.sub(" +", " ", write(chart))


def test_a_practice_track_and_a_loop_have_the_chart_s_levels() -> None:
    chart = parse(SECTIONS, "tune.txt")
    wish = options()
    passes, labels = practised(prepare(chart, wish), wish, Practice(ladder="80:100:10", passes=1))
    ladder = joined(passes, labels)
    (_, drums) = steps(ladder, "drums")[0]
    found = [db - drums for _, db in steps(ladder, "drums")]
    assert found == [0, -9, 0] * 3
    loop = wish.changed(loop=True)
    assert [db - drums for _, db in steps(band(prepare(chart, loop), loop), "drums")] == [0, -9, 0]


def test_a_level_of_a_player_that_no_style_has_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("tune.txt").write_text("levels: strings -3\n" + CHART, "utf-8")
    for command in (["make", "tune.txt", "-o", "t.mid"], ["check", "tune.txt"]):
        assert run(command) == 0
        told = capsys.readouterr()
        assert "W202 straight-ahead swing has no strings" in told.out + told.err
