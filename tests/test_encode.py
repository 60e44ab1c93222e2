"""Samples files: samples, tags, loops, loudness, and what happens when something breaks."""

from __future__ import annotations

import errno
import os
import signal
import struct
import subprocess
import sys
import wave
from fractions import Fraction
from pathlib import Path
from typing import Any

import mutagen
import numpy as np
import pyloudnorm
import pytest
import soundfile
from metering import measure
from mutagen.id3 import ID3
from mutagen.wave import WAVE
from numpy.typing import NDArray

from backing.ground.errors import AudioUnavailable, OutputError
from backing.output.asked import Sound
from backing.output.sound import audio, encode, encoder, id3
from backing.output.sound.audio import Output, stem_outputs, write_audio, write_outputs
from backing.output.sound.encode import samples
from backing.output.sound.encoder import Encoder, encoder_path
from backing.output.sound.synth import RATE
from backing.output.sound.tags import Label, Tags, tags_of
from backing.output.sound.tape import Tape
from backing.output.sound.wave import header
from backing.performance.model import Marker, Performance
from tests.hand_made import performance

Samples = NDArray[np.float64]


def tune(**options: object) -> Performance:
    return performance(("Cmaj7", "Dm7 G7"), **options)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One tune in every format, with stems."""
    folder = tmp_path_factory.mktemp("sound")
    p = tune(title="Kopf & Fuß", key="Bb minor", sections=(("A", 1), ("B = 2", 2)))
    write_audio(p, [folder / f"a{ending}" for ending in encode.SOUND], stems=True)
    return folder


def chunks(data: bytes) -> dict[bytes, bytes]:
    """The chunks of a RIFF file, read by hand."""
    assert data[:4] == b"RIFF"
    assert struct.unpack("<I", data[4:8])[0] == len(data) - 8
    assert data[8:12] == b"WAVE"
    found, at = {}, 12
    while at < len(data):
        name, length = struct.unpack("<4sI", data[at : at + 8])
        found[name] = data[at + 8 : at + 8 + length]
        at += 8 + length + length % 2
    assert at == len(data)
    return found


def decoded(path: Path) -> Samples:
    """A file as ffmpeg plays it."""
    command = [
        encoder_path(),
        "-v",
        "error",
        "-i",
        str(path),
        "-f",
        "f32le",
        "-ac",
        "2",
        "-ar",
        str(RATE),
        "-",
    ]
    done = subprocess.run(command, capture_output=True, check=True)
    return np.frombuffer(done.stdout, "<f4").reshape(-1, 2).astype(float)


def read(path: Path) -> Samples:
    return np.asarray(soundfile.read(path, always_2d=True)[0])


# samples


def test_a_16_bit_wave_has_the_fields_of_the_format(written: Path) -> None:
    """RIFF WAVE: format 1, channels, rate, bytes a second, bytes a frame, bits."""
    found = chunks((written / "a.wav").read_bytes())
    assert struct.unpack("<HHIIHH", found[b"fmt "]) == (1, 2, 44100, 176400, 4, 16)
    assert len(found[b"data"]) == 4 * round(tune().duration_s * RATE)


def test_the_standard_library_reads_our_waves(written: Path) -> None:
    for name, width in (("a.wav", 2), ("a-bass.wav", 3)):
        with wave.open(str(written / name)) as file:
            assert (file.getnchannels(), file.getframerate(), file.getsampwidth()) == (
                2,
                RATE,
                width,
            )
            assert file.getnframes() == round(tune().duration_s * RATE)


def test_24_bits_are_asked_for(tmp_path: Path) -> None:
    write_audio(tune(), [tmp_path / "a.wav", tmp_path / "a.flac"], Sound(bits=24))
    assert soundfile.info(tmp_path / "a.wav").subtype == "PCM_24"
    assert soundfile.info(tmp_path / "a.flac").subtype == "PCM_24"
    assert np.array_equal(read(tmp_path / "a.wav"), read(tmp_path / "a.flac"))


def test_flac_and_wave_hold_the_same_samples(written: Path) -> None:
    assert np.array_equal(read(written / "a.wav"), read(written / "a.flac"))


def test_dither_is_triangular_and_fixed_by_its_place() -> None:
    """Two even numbers of one step: mean 0, variance of the error 1/4 of a step squared (1/12 + 2/12)."""
    quiet = np.full((50_000, 2), 0.3 / 2**15, np.float32)
    first = samples(quiet, 16, 0)
    assert np.array_equal(first, samples(quiet, 16, 0))
    assert not np.array_equal(first, samples(quiet, 16, 64))
    error = first - 0.3
    assert abs(error.mean()) < 0.01
    assert error.var() == pytest.approx(0.25, abs=0.01)


def test_silence_stays_silent_and_overs_stay_inside() -> None:
    assert not samples(np.zeros((10, 2), np.float32), 16, 0).any()
    loud = np.array([[2.0, -2.0]], np.float32)
    assert samples(loud, 16, 0).tolist() == [[32767, -32768]]
    assert samples(loud, 24, 0).tolist() == [[2**23 - 1, -(2**23)]]


@pytest.mark.parametrize("ending", encode.SOUND)
def test_every_format_keeps_length_and_place(written: Path, ending: str) -> None:
    """Within a millisecond of the WAV, MP3 by its Info tag and M4A by its edit list (gapless playback)."""
    mine, whole = decoded(written / f"a{ending}"), read(written / "a.wav")
    assert abs(len(mine) - len(whole)) <= (1024 if ending == ".m4a" else 0)
    part = slice(2 * RATE, 3 * RATE)
    lags = range(-60, 61)
    like = [np.sum(mine[part.start + k : part.stop + k, 0] * whole[part, 0]) for k in lags]
    assert abs(lags[int(np.argmax(like))]) <= 44
    ratio = np.sqrt(np.mean(mine[part] ** 2) / np.mean(whole[part] ** 2))
    assert abs(20 * np.log10(ratio)) < 0.15


def test_an_mp3_begins_with_the_frame_that_says_its_true_length(written: Path) -> None:
    data = (written / "a.mp3").read_bytes()
    assert b"Info" in data[:3000] or b"Xing" in data[:3000]


# tags


def test_mp3_tags_are_those_of_id3(written: Path) -> None:
    """ID3v2.3: TBPM digits only, TKEY at most three characters."""
    tags = ID3(written / "a.mp3")
    assert str(tags["TIT2"]) == "Kopf & Fuß"
    assert str(tags["TBPM"]) == "120"
    assert str(tags["TKEY"]) == "Bbm"
    comments = [str(frame) for name, frame in tags.items() if name.startswith(("COMM", "TXXX"))]
    assert any("made by backing" in c and "style plain" in c and "seed 1" in c for c in comments)


@pytest.mark.parametrize("ending", encode.SOUND)
def test_every_format_says_its_title_and_maker(written: Path, ending: str) -> None:
    path = written / f"a{ending}"
    if ending == ".wav":
        info = chunks(path.read_bytes())[b"LIST"]
        assert info.startswith(b"INFO")
        assert "Kopf & Fuß".encode() in info
        assert b"120 bpm, Bbm" in info
    else:
        shown = mutagen.File(path).pprint()
        assert "Kopf & Fuß" in shown
        assert "seed 1" in shown
    assert audio.claim(path) is None  # type: ignore[func-returns-value]  # known as our own by its mark


LABEL = Label("without bass", "70 %, in Eb", "Lieder für Anna", 3, 12)
TOLD = "(70 %, in Eb) (without bass)"


def test_a_label_is_in_every_format(tmp_path: Path) -> None:
    """Album, number and what was changed, read back by mutagen; tempo and key by each format's usual names."""
    outputs = [Output(tmp_path / f"a{ending}", label=LABEL) for ending in encode.SOUND]
    write_outputs(tune(title="Kopf & Fuß", key="Bb minor"), outputs)
    for ending in (".wav", ".mp3"):
        tag = ID3(tmp_path / "a.mp3") if ending == ".mp3" else WAVE(tmp_path / "a.wav").tags
        read_back = {name: str(tag[name]) for name in ("TIT2", "TALB", "TRCK", "TBPM", "TKEY")}
        assert read_back == {
            "TIT2": f"Kopf & Fuß {TOLD}", "TALB": "Lieder für Anna", "TRCK": "3/12", "TBPM": "120", "TKEY": "Bbm",
        }  # fmt: skip
        assert "seed 1" in str(tag["COMM::eng"])
        assert tag.version == (2, 3, 0)
    info = chunks((tmp_path / "a.wav").read_bytes())[b"LIST"]
    assert b"IPRD" in info
    assert "Lieder für Anna".encode() in info
    for ending in (".flac", ".ogg"):
        told = mutagen.File(tmp_path / f"a{ending}")
        named = {name: told[name][0] for name in ("title", "album", "tracknumber", "bpm", "key")}
        assert named == {
            "title": f"Kopf & Fuß {TOLD}", "album": "Lieder für Anna", "tracknumber": "3/12", "bpm": "120", "key": "Bbm",
        }  # fmt: skip
    atoms = mutagen.File(tmp_path / "a.m4a")
    assert atoms["\xa9alb"] == ["Lieder für Anna"]
    assert atoms["trkn"] == [(3, 12)]
    assert atoms["tmpo"] == [120]


def test_the_album_of_a_single_track_is_the_tune(written: Path) -> None:
    assert str(ID3(written / "a.mp3")["TALB"]) == "Kopf & Fuß"
    assert "TRCK" not in ID3(written / "a.mp3")


@pytest.mark.parametrize("ending", [".flac", ".ogg"])
def test_sections_are_chapters_in_vorbis_comments(written: Path, ending: str) -> None:
    """CHAPTERxxx holds a time, CHAPTERxxxNAME a name (chapter extension of Vorbis comments)."""
    told = mutagen.File(written / f"a{ending}")
    assert (told["chapter000"], told["chapter000name"]) == (["00:00:02.000"], ["A"])
    assert (told["chapter001"], told["chapter001name"]) == (["00:00:04.000"], ["B = 2"])


@pytest.mark.parametrize("count", [2, 255, 600])
def test_tables_of_contents_hold_all_chapters(tmp_path: Path, count: int) -> None:
    """ID3v2 chapter frame addendum: a table counts its entries in one byte, and may hold other tables."""
    starts = tuple((10 * i, f"{i}") for i in range(count))
    tags = Tags("A title", "", 120, "C", "made here", starts)
    (tmp_path / "a.mp3").write_bytes(id3.tag(tags, 60_000))
    tag = ID3(tmp_path / "a.mp3")
    tables = {t.element_id: t for t in tag.getall("CTOC")}
    assert [t.element_id for t in tables.values() if t.flags & 2] == ["toc"]

    def entries(name: str) -> list[str]:
        listed = tables[name].child_element_ids
        return [e for n in listed for e in (entries(n) if n in tables else [n])]

    found = [tag[f"CHAP:{name}"] for name in entries("toc")]
    assert [str(c.sub_frames["TIT2"]) for c in found] == [f"{i}" for i in range(count)]
    assert [c.start_time for c in found] == [10 * i for i in range(count)]
    assert found[-1].end_time == 60_000


def test_a_tag_that_is_filled_up_says_the_same(tmp_path: Path) -> None:
    made = id3.tag(Tags("Größe", "", 120, "C", "ü"), 1000)
    (tmp_path / "a.mp3").write_bytes(id3.filled(made, len(made) + 300))
    assert id3.room_of((tmp_path / "a.mp3").read_bytes()) == len(made) + 300
    assert str(ID3(tmp_path / "a.mp3")["TIT2"]) == "Größe"
    with pytest.raises(OutputError, match="the encoder left no room for the tags"):
        id3.filled(made, len(made) - 1)
    assert id3.room_of(b"no tag at all") == 0


def test_no_file_is_written_twice(tmp_path: Path) -> None:
    """A stem that is named like another output, and names that differ in case alone, which some disks fold."""
    with pytest.raises(OutputError, match=r"a-bass\.wav would be written twice"):
        write_audio(tune(), [tmp_path / "a.wav", tmp_path / "a-bass.wav"], stems=True)
    with pytest.raises(OutputError, match=r"A\.WAV would be written twice.*a name of its own"):
        write_audio(tune(), [tmp_path / "a.wav", tmp_path / "A.WAV"])
    assert names(tmp_path) == []


@pytest.mark.parametrize("ending", [".mp3", ".m4a"])
def test_sections_are_chapters(written: Path, ending: str) -> None:
    command = [
        encoder_path(),
        "-hide_banner",
        "-i",
        str(written / f"a{ending}"),
        "-f",
        "ffmetadata",
        "-",
    ]
    text = subprocess.run(command, capture_output=True, check=True).stdout.decode()
    assert text.count("[CHAPTER]") == 2
    assert "title=B \\= 2" in text


def test_chapters_of_an_mp3_begin_where_the_sections_do(written: Path) -> None:
    """Frames CHAP of ID3v2 hold milliseconds."""
    found = [f for name, f in ID3(written / "a.mp3").items() if name.startswith("CHAP")]
    assert [(f.start_time, f.end_time) for f in found] == [
        (2000, 4000),
        (4000, pytest.approx(9950, abs=30)),
    ]


def test_a_stem_is_titled_by_its_player(written: Path) -> None:
    assert "Kopf & Fuß (bass)".encode() in chunks((written / "a-bass.wav").read_bytes())[b"LIST"]


def test_tempo_tags_count_beats_not_quarters() -> None:
    """In 6/8 the beat is the dotted quarter: 135 quarters are 90 beats a minute."""
    assert tags_of(performance(("C",), meter="6/8", qpm=Fraction(135))).bpm == 90
    assert tags_of(performance(("C",), meter="7/8", qpm=Fraction(135))).bpm == 135


# mix and stems


def test_the_mix_has_its_loudness_and_headroom(written: Path) -> None:
    found = measure(written / "a.wav")
    assert found.lufs == pytest.approx(-16.0, abs=0.2)
    assert found.peak_dbtp <= -1.0
    assert pyloudnorm.Meter(RATE).integrated_loudness(read(written / "a.wav")) == pytest.approx(
        found.lufs, abs=0.2
    )


@pytest.mark.parametrize("ending", [".mp3", ".m4a", ".ogg"])
def test_lossy_formats_keep_loudness_and_headroom(written: Path, ending: str) -> None:
    found = measure(written / f"a{ending}")
    assert found.lufs == pytest.approx(-16.0, abs=0.3)
    assert found.peak_dbtp <= -1.0


def test_the_quick_mp3_is_nearer_to_the_sound_than_the_slow_one(
    written: Path, tmp_path: Path
) -> None:
    """The decoded error against the same encoder at its usual setting and the same bit rate."""
    sound = read(written / "a.wav")
    slow = tmp_path / "slow.mp3"
    command = [encoder_path(), "-v", "error", "-i", str(written / "a.wav"), "-b:a", encode.BITRATE]
    subprocess.run([*command, str(slow)], check=True)

    def error_db(path: Path) -> float:
        found = decoded(path)[: len(sound)]
        found *= (found * sound).sum() / (found**2).sum()  # the encoder's own level apart
        return float(10 * np.log10(((found - sound) ** 2).sum() / (sound**2).sum()))

    assert error_db(written / "a.mp3") < error_db(slow) < -20


@pytest.mark.parametrize("target", [-23.0, -9.0])
def test_another_loudness_is_reached_also_through_the_limiter(
    tmp_path: Path, target: float
) -> None:
    write_audio(tune(), [tmp_path / "a.wav"], Sound(loudness=target))
    found = measure(tmp_path / "a.wav")
    assert found.lufs == pytest.approx(target, abs=0.5)
    assert found.peak_dbtp <= -1.0


def test_stems_have_one_length_and_add_up_to_the_mix(written: Path) -> None:
    """Within the rounding and dither of a 16-bit mix, limiter included: it works alike on all."""
    whole = read(written / "a.wav")
    stems = [read(written / f"a-{role}.wav") for role in ("keys", "bass", "drums")]
    assert {len(s) for s in stems} == {len(whole)}
    assert np.abs(sum(stems) - whole).max() <= 1.6 / 2**15  # type: ignore[arg-type]


def test_a_mix_is_the_same_with_stems_and_without(written: Path, tmp_path: Path) -> None:
    p = tune(title="Kopf & Fuß", key="Bb minor", sections=(("A", 1), ("B = 2", 2)))
    write_audio(p, [tmp_path / "a.wav", tmp_path / "a.mp3"])
    for name in ("a.wav", "a.mp3"):
        assert (tmp_path / name).read_bytes() == (written / name).read_bytes()


def test_mixes_without_a_player_share_the_gain(tmp_path: Path) -> None:
    p = tune()
    outputs = [
        Output(tmp_path / "all.wav", bits=24),
        Output(tmp_path / "no-bass.wav", frozenset({"keys", "drums"}), 24),
        *stem_outputs(p, tmp_path / "all.wav", ".wav"),
    ]
    write_outputs(p, outputs)
    left = read(tmp_path / "no-bass.wav") + read(tmp_path / "all-bass.wav")
    assert np.abs(left - read(tmp_path / "all.wav")).max() < 3 / 2**23


def test_stems_come_in_other_formats(tmp_path: Path) -> None:
    paths = write_audio(tune(), [tmp_path / "a.mp3"], stems=True, stems_as="flac")
    assert [p.name for p in paths] == ["a.mp3", "a-keys.flac", "a-bass.flac", "a-drums.flac"]
    assert len({soundfile.info(p).frames for p in paths[1:]}) == 1


def test_a_silent_tune_is_written_as_silence(tmp_path: Path) -> None:
    p = performance(("N.C.",), {"click": []}, duration_s=3.0)
    write_audio(p, [tmp_path / "a.wav"], stems=True)
    assert not read(tmp_path / "a.wav").any()


def test_the_same_performance_gives_the_same_bytes(written: Path, tmp_path: Path) -> None:
    p = tune(title="Kopf & Fuß", key="Bb minor", sections=(("A", 1), ("B = 2", 2)))
    write_audio(p, [tmp_path / f"a{ending}" for ending in encode.SOUND], stems=True)
    for ending in encode.SOUND:
        first, second = ((folder / f"a{ending}").read_bytes() for folder in (written, tmp_path))
        assert first == second, ending


def test_the_last_chord_rings_and_the_sound_ends_in_silence(written: Path) -> None:
    sound = read(written / "a.wav")
    after = sound[round((tune().duration_s - 4.0) * RATE) :]
    rings = np.abs(after[: RATE // 4]).max()
    assert rings > 0.005
    assert np.abs(after[-100:]).max() < 2 / 2**15


def test_a_tune_that_fades_falls_evenly_to_nothing(tmp_path: Path) -> None:
    p = performance(("C",) * 6, fade_s=6.0)
    write_audio(p, [tmp_path / "a.wav"])
    sound = read(tmp_path / "a.wav")
    rms = [np.sqrt(np.mean(sound[s * RATE : (s + 2) * RATE] ** 2)) for s in (4, 6, 8, 10, 12)]
    assert rms == sorted(rms, reverse=True)
    assert np.sqrt(np.mean(sound[-2 * RATE :] ** 2)) < 0.1 * rms[0]


# loops


def loop_of(bars: int) -> Performance:
    return performance(("Cmaj7",) * bars, count_in_bars=0, qpm=((0, 618_557),))


def test_a_loop_has_its_exact_length_and_says_so(tmp_path: Path) -> None:
    """`smpl`: one loop, for ever, from its first to its last sample, both inside (RIFF WAVE sampler chunk)."""
    write_audio(loop_of(2), [tmp_path / "a.wav", tmp_path / "a.mp3"], Sound(loop=True))
    frames = round(Fraction(8 * 618_557, 1_000_000) * RATE)
    found = chunks((tmp_path / "a.wav").read_bytes())
    assert len(found[b"data"]) == 4 * frames
    assert len(found[b"smpl"]) == 60
    fields = struct.unpack("<15I", found[b"smpl"])
    assert (fields[2], fields[3], fields[7]) == (22676, 60, 1)
    assert fields[9:] == (0, 0, 0, frames - 1, 0, 0)
    assert len(decoded(tmp_path / "a.mp3")) == frames


def test_the_ring_of_the_end_is_folded_into_the_start(tmp_path: Path) -> None:
    """What a loop plays the second time round is what the same bars play in the middle of a longer tune."""
    write_audio(loop_of(4), [tmp_path / "a.wav"], Sound(loop=True, bits=24))
    loop = read(tmp_path / "a.wav")
    bar = len(loop) // 4
    seam = np.concatenate([loop[-bar // 2 :], loop[: bar // 2]])
    inside = loop[bar * 3 // 2 : bar * 3 // 2 + len(seam)]
    for part in range(0, len(seam) - RATE // 10, RATE // 10):
        a, b = (np.mean(x[part : part + RATE // 10] ** 2) for x in (seam, inside))
        assert abs(10 * np.log10((a + 1e-7) / (b + 1e-7))) < 1.0, part
    join = len(seam) // 2
    steps = np.abs(np.diff(seam, axis=0))
    assert steps[join - 2 : join + 2].max() < steps.max()


def test_a_loop_shorter_than_its_ring_goes_round_more_than_once(tmp_path: Path) -> None:
    tape = Tape(tmp_path)
    tape.append([np.ones((100, 2), np.float32)], 100)
    tape.append([np.ones((50, 2), np.float32)], 50)
    audio.fold(tape, 10, 40, 150)
    assert [tape.frames(i) for i in range(len(tape))] == [40]
    (sound,) = tape.span(0, 40)
    # 110 frames of ring in a loop of 30: three times round, and 20 frames more
    assert sound[:, 0].tolist() == [1.0] * 10 + [5.0] * 20 + [4.0] * 10
    tape.close()


# faults


def names(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


def test_a_foreign_file_stops_everything_before_it_begins(tmp_path: Path) -> None:
    (tmp_path / "a-bass.wav").write_bytes(b"RIFF of somebody else")
    with pytest.raises(OutputError, match=r"a-bass.wav is in the way"):
        write_audio(tune(), [tmp_path / "a.wav"], stems=True)
    assert names(tmp_path) == ["a-bass.wav"]


@pytest.mark.parametrize("ending", encode.ENCODED)
def test_an_encoder_that_is_killed_is_said_and_the_old_file_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ending: str
) -> None:
    write_audio(tune(), [tmp_path / f"a{ending}"])
    before = (tmp_path / f"a{ending}").read_bytes()
    opened = Encoder.__init__

    def killed(self: Any, *arguments: Any) -> None:
        opened(self, *arguments)
        os.kill(self._process.pid, signal.SIGKILL)

    monkeypatch.setattr(Encoder, "__init__", killed)
    with pytest.raises(OutputError, match="the encoder stopped before the end"):
        write_audio(tune(), [tmp_path / f"a{ending}"])
    assert names(tmp_path) == [f"a{ending}"]
    assert (tmp_path / f"a{ending}").read_bytes() == before


# Neither of them ends; the first reads nothing, the second everything.
HANGS = {
    "at once": "#!{python}\nimport signal\nsignal.pause()\n",
    "at the end": "#!{python}\nimport signal, sys\nsys.stdin.buffer.read()\nsignal.pause()\n",
}


@pytest.mark.parametrize("when", HANGS)
def test_an_encoder_that_hangs_is_given_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, when: str
) -> None:
    (tmp_path / "out").mkdir()
    program = tmp_path / "encoder"
    program.write_text(HANGS[when].format(python=sys.executable))
    program.chmod(0o755)
    monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", str(program))
    monkeypatch.setattr(encoder, "SILENCE_S", 0.3)
    with pytest.raises(OutputError, match=r"no sign of life for 0.3 seconds.*or write \.wav"):
        write_audio(tune(), [tmp_path / "out" / "a.mp3", tmp_path / "out" / "a.flac"])
    assert names(tmp_path / "out") == []


@pytest.mark.parametrize("when", HANGS)
def test_an_interruption_does_not_wait_for_an_encoder_that_hangs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, when: str
) -> None:
    """It would be given up after a minute; the test waits for it, if it must, for ever."""
    (tmp_path / "out").mkdir()
    program = tmp_path / "encoder"
    program.write_text(HANGS[when].format(python=sys.executable))
    program.chmod(0o755)
    monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", str(program))
    monkeypatch.setattr(encoder, "SILENCE_S", 3600.0)

    def interrupted(share: float, words: str) -> None:
        if words == "writing":
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_audio(tune(), [tmp_path / "out" / "a.mp3"], progress=interrupted)
    assert names(tmp_path / "out") == []


def test_a_missing_encoder_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", str(tmp_path / "gone"))
    with pytest.raises(AudioUnavailable, match="the encoder cannot be started"):
        write_audio(tune(), [tmp_path / "a.mp3"])
    assert names(tmp_path) == []


def test_without_the_encoders_package_the_message_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(__import__("sys").modules, "imageio_ffmpeg", None)
    with pytest.raises(AudioUnavailable, match="pip install imageio-ffmpeg"):
        encoder.encoder_path()


@pytest.mark.parametrize("ending", [".wav"])
def test_a_full_disk_is_said_and_nothing_is_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ending: str
) -> None:
    """`/dev/full` refuses every byte with "no space left on device" (Linux)."""
    opened = encode._writer
    monkeypatch.setattr(encode, "_writer", lambda part, *rest: opened(Path("/dev/full"), *rest))
    with pytest.raises(OutputError, match="the disk is full") as caught:
        write_audio(tune(), [tmp_path / f"a{ending}"])
    assert caught.value.exit_code == 4
    assert names(tmp_path) == []


@pytest.mark.parametrize("ending", encode.ENCODED)
def test_a_disk_that_fills_up_under_the_encoder_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ending: str
) -> None:
    """`/dev/full` refuses every byte with "no space left on device" (Linux)."""
    opened = Encoder.__init__
    monkeypatch.setattr(
        Encoder, "__init__", lambda self, part, rest: opened(self, Path("/dev/full"), rest)
    )
    with pytest.raises(OutputError, match="the disk is full"):
        write_audio(tune(), [tmp_path / f"a{ending}"])
    assert names(tmp_path) == []


def test_a_disk_that_fills_up_while_rendering_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(self: Tape, *rest: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(Tape, "_write", full)
    with pytest.raises(OutputError, match="the disk is full"):
        write_audio(tune(), [tmp_path / "a.wav"])
    assert names(tmp_path) == []


def test_an_interruption_leaves_no_file_behind(tmp_path: Path) -> None:
    for at in ("playing", "writing"):

        def stop(share: float, words: str, at: str = at) -> None:
            if words == at:
                raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            write_audio(tune(), [tmp_path / "a.wav", tmp_path / "a.mp3"], stems=True, progress=stop)
        assert names(tmp_path) == []


INTERRUPTED = """
import os, signal, sys, threading
from backing.commands.app import make
from backing.commands.options import Options
from pathlib import Path

signal.signal(signal.SIGINT, signal.default_int_handler)
seen = []

def progress(share, words):
    if words == "writing" and not seen:
        seen.append(share)
        threading.Timer(0.02, os.kill, (os.getpid(), signal.SIGINT)).start()

outputs = [Path(sys.argv[2], name) for name in ("a.m4a", "a.mp3", "a.wav")]
try:
    make(Path(sys.argv[1]), outputs, Options().changed(length_s=120.0), progress)
except KeyboardInterrupt:
    print("interrupted")
"""


def test_a_signal_while_files_are_written_leaves_none_behind(tmp_path: Path) -> None:
    """The signal comes while the program waits for its encoders, which are ended before it goes."""
    chart = Path(__file__).parents[1] / "demo" / "blues.txt"
    command = [sys.executable, "-c", INTERRUPTED, str(chart), str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert done.stdout == "interrupted\n"
    assert names(tmp_path) == []


def test_progress_rises_to_one(tmp_path: Path) -> None:
    seen: list[float] = []
    write_audio(tune(), [tmp_path / "a.wav"], progress=lambda share, words: seen.append(share))
    assert seen == sorted(seen)
    assert seen[-1] == 1.0


def test_a_wave_that_would_be_too_long_is_refused() -> None:
    """A RIFF file counts its bytes in 32 bits."""
    with pytest.raises(OutputError, match="write FLAC"):
        header(2**31, 16, tags_of(tune()))


def test_passes_become_chapters_with_odd_names(tmp_path: Path) -> None:
    p = tune()._replace(
        markers=(Marker(0.0, Fraction(0), "60 %; #1"), Marker(2.0, Fraction(4), "a\nb"))
    )
    write_audio(p, [tmp_path / "a.mp3"])
    command = [
        encoder_path(),
        "-hide_banner",
        "-i",
        str(tmp_path / "a.mp3"),
        "-f",
        "ffmetadata",
        "-",
    ]
    text = subprocess.run(command, capture_output=True, check=True).stdout.decode()
    assert "60 %\\; \\#1" in text
