"""The synthesiser: where it is found, what it plays, and where its notes fall."""

from __future__ import annotations

import os
import struct
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from backing.ground.errors import AudioUnavailable
from backing.output.sound import engine, soundfont
from backing.output.sound.soundfont import checked, default_soundfont, find
from backing.output.sound.synth import (
    BLOCK,
    GRAIN,
    RATE,
    engine_path,
    frames_of,
    player_blocks,
    render,
    render_blocks,
)
from backing.performance.model import Performance, PerformedPlayer
from tests.each import each
from tests.hand_made import performance

Sound = NDArray[np.float32]


def alone(p: Performance, **options: object) -> Sound:
    """The only player of a performance, whole."""
    blocks = player_blocks(p.players[0], find(), frames_of(p), **options)  # type: ignore[arg-type]
    return np.concatenate(list(blocks))


def onsets(sound: Sound, quiet_frames: int = 2000) -> list[int]:
    """Frames at which sound begins after a silence."""
    loud = np.flatnonzero(np.abs(sound).max(axis=1) > 1e-4)
    starts = np.flatnonzero(np.diff(loud, prepend=-(10**9)) > quiet_frames)
    return [int(f) for f in loud[starts]]


def pitch_hz(sound: Sound) -> float:
    """The strongest frequency, between the bins of the transform."""
    part = sound[:, 0] * np.hanning(len(sound))
    power = np.abs(np.fft.rfft(part, 8 * len(part)))
    return float(np.argmax(power)) * RATE / (8 * len(part))


def clicks(frames: list[int]) -> Performance:
    """Wood blocks at exact frames: at 60 a minute a quarter is a second."""
    notes = [(f / RATE, 0.1, 76, 100) for f in frames]
    p = performance(("C",) * 4, {"click": notes}, qpm=((0, 1_000_000),), count_in_bars=0)
    assert isinstance(p.players[0], PerformedPlayer)
    return p


def test_every_player_has_an_array_of_the_whole_length() -> None:
    p = performance(("Cmaj7",))
    sound = render(p)
    assert list(sound) == ["keys", "bass", "drums"]
    for one in sound.values():
        assert one.shape == (round(p.duration_s * RATE), 2)
        assert one.dtype == np.float32
        assert 0.02 < np.abs(one).max() < 1.0


def test_blocks_join_to_the_whole_whatever_their_length() -> None:
    p = performance(("Cmaj7",))
    whole = render(p)
    for block in (BLOCK, 10 * GRAIN, 4096):
        parts = list(render_blocks(p, block=block))
        assert all(len(b["keys"]) == block for b in parts[:-1])
        for role, sound in whole.items():
            assert np.array_equal(np.concatenate([b[role] for b in parts]), sound), (role, block)


def test_rendering_twice_gives_the_same_samples() -> None:
    p = performance(("Am7",))
    first, second = render(p), render(p)
    assert all(np.array_equal(first[role], second[role]) for role in first)


def test_a_note_falls_on_the_nearest_grain() -> None:
    """FluidSynth starts a note with the next 64 frames that it computes."""
    wanted = [0, 30_000, 60_031, 90_050, 123_456]
    found = onsets(alone(clicks(wanted)))
    attack = found[4] - wanted[4]  # 123,456 is a whole number of grains
    assert 0 <= attack < GRAIN
    for frame, heard in zip(wanted[1:], found[1:], strict=True):
        assert abs(heard - attack - frame) <= GRAIN // 2


def test_a_note_at_an_anchor_is_exact_to_the_sample() -> None:
    """Found as the place where the stroke is most like the first one."""
    wanted = [0, 30_011, 61_003, 90_050, 170_001]
    sound = alone(clicks(wanted), anchors=wanted)[:, 0]
    first = sound[:3000]
    for frame in wanted[1:]:
        around = sound[frame - 100 : frame + 100 + len(first)]
        assert int(np.argmax(np.correlate(around, first))) == 100, frame


def test_a_pass_sounds_the_same_at_every_anchor() -> None:
    """But for the attack of the first grain: the first stroke of a voice of FluidSynth fades in a little slower."""
    wanted = [0, 50_021, 120_007]
    sound = alone(clicks(wanted), anchors=wanted)
    for frame in wanted[1:]:
        same = sound[frame + GRAIN : frame + 20_000]
        assert np.allclose(same, sound[GRAIN:20_000], atol=1e-6)


@each("a4", [415.0, 430.5, 442.0, 466.0])
def test_a4_tunes_pitched_players(a4: float) -> None:
    """MIDI note 69 sounds A 440 Hz (General MIDI level 1); the sample itself lies up to 15 cents off."""
    notes = {"keys": [(0.0, 4.0, 69, 100)]}
    p = performance(("Am7",), notes, count_in_bars=0, voices={"keys": [(0.0, "violin")]})
    usual = pitch_hz(alone(p)[4410:60_000])
    assert abs(1200 * np.log2(usual / 440.0)) < 15
    tuned = pitch_hz(alone(p, a4=a4)[4410:60_000])
    assert abs(1200 * np.log2(tuned / usual) - 1200 * np.log2(a4 / 440.0)) < 2


def test_a4_leaves_drums_alone() -> None:
    p = clicks([0, 30_000])
    assert np.array_equal(alone(p), alone(p, a4=415.0))


def test_instruments_change_with_their_section() -> None:
    notes = {"keys": [(0.0, 1.0, 60, 90), (4.0, 1.0, 60, 90)]}
    same = performance(("C", "C"), notes, count_in_bars=0)
    other = performance(("C", "C"), notes, count_in_bars=0, voices={"keys": [(4.0, "organ")]})
    second = 2 * RATE - GRAIN
    assert np.array_equal(alone(same)[:second], alone(other)[:second])
    assert not np.allclose(alone(same)[second:], alone(other)[second:], atol=1e-3)


def test_a_repeated_note_is_not_cut_by_the_end_of_the_one_before() -> None:
    notes = {"keys": [(0.0, 2.0, 60, 90), (1.0, 3.0, 60, 90)]}
    p = performance(("C",), notes, count_in_bars=0, voices={"keys": [(0.0, "organ")]})
    sound = alone(p)
    late = sound[round(1.5 * RATE) : round(1.9 * RATE)]
    assert np.sqrt(np.mean(late**2)) > 0.005


def test_silence_is_silent() -> None:
    p = performance(("N.C.",), {"keys": [(0.0, 0.5, 60, 90)]}, count_in_bars=0, duration_s=30.0)
    assert not alone(p)[20 * RATE :].any()


def test_the_engine_is_found_in_the_wheel_without_importing_pygame() -> None:
    code = (
        "import sys; from backing.output.sound.engine import load, engine_path; load(); "
        "print(engine_path()); print('pygame' in sys.modules)"
    )
    environment = {**os.environ, "CI": "true"}
    environment.pop(engine.VARIABLE, None)
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=environment
    )
    path, imported = done.stdout.splitlines()  # and nothing else, though CI is set
    assert "fluidsynth" in path
    assert imported == "False"


def test_a_named_engine_that_is_missing_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(engine.VARIABLE, "/nowhere/libfluidsynth.so")
    with pytest.raises(AudioUnavailable, match="BACKING_FLUIDSYNTH names /nowhere") as caught:
        engine_path()
    assert caught.value.exit_code == 3


def test_without_any_engine_the_message_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delenv(engine.VARIABLE, raising=False)
    monkeypatch.setattr(engine, "_bundled", lambda: None)
    monkeypatch.setattr(engine.ctypes.util, "find_library", lambda name: None)
    with pytest.raises(AudioUnavailable, match="install FluidSynth"):
        engine_path()


def test_the_systems_engine_serves_where_the_wheel_has_none(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delenv(engine.VARIABLE, raising=False)
    monkeypatch.setattr(engine, "_bundled", lambda: None)
    monkeypatch.setattr(
        engine.ctypes.util, "find_library", lambda name: "libx" if name == "fluidsynth-3" else None
    )
    assert engine_path() == "libx"


@pytest.mark.parametrize("content", [b"not a library", None])
def test_a_library_that_is_not_fluidsynth_is_refused(tmp_path: Path, content: bytes | None) -> None:
    """A file that is no library, and a library that is not this one (the C mathematics library)."""
    import ctypes.util

    path = tmp_path / "libfluidsynth.so"
    if content is None:
        named = ctypes.util.find_library("m")
        assert named
        path = (
            next(p for p in Path("/").glob(f"*/**/{named}") if p.is_file())
            if os.sep in named
            else path
        )
    path.write_bytes(content or b"\x7fELF")
    code = "from backing.output.sound.engine import load\nload()"
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        env={**os.environ, engine.VARIABLE: str(path)},
    )
    assert "AudioUnavailable" in done.stderr
    assert "cannot be loaded" in done.stderr


def test_the_default_soundfont_lies_in_pretty_midi() -> None:
    assert default_soundfont().parent.name == "pretty_midi"
    assert find() == default_soundfont()


def test_soundfonts_are_looked_for_where_they_are_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    mine = tmp_path / "mine.sf2"
    mine.write_bytes(default_soundfont().read_bytes())
    assert find(mine) == mine
    monkeypatch.setenv(soundfont.VARIABLE, str(mine))
    assert find() == mine
    monkeypatch.setattr(soundfont, "folders", lambda: [tmp_path])
    assert find("mine.sf2") == mine


def test_without_pretty_midi_the_systems_soundfont_serves(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = default_soundfont().read_bytes()
    monkeypatch.setattr(soundfont.importlib.util, "find_spec", lambda name: None)
    monkeypatch.setattr(soundfont, "folders", lambda: [tmp_path / "none", tmp_path])
    with pytest.raises(AudioUnavailable, match="there is no soundfont"):
        default_soundfont()
    for name in ("another.sf2", "default-GM.sf2", "notes.txt"):
        (tmp_path / name).write_bytes(real)
    assert default_soundfont().name == "default-GM.sf2"


def test_a_missing_soundfont_is_named(tmp_path: Path) -> None:
    with pytest.raises(AudioUnavailable, match=r"--soundfont names .*gone.sf2") as caught:
        find(tmp_path / "gone.sf2")
    assert caught.value.exit_code == 3


def test_a_soundfont_in_the_environment_that_is_missing_is_named(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv(soundfont.VARIABLE, "/nowhere/x.sf2")
    with pytest.raises(AudioUnavailable, match="BACKING_SOUNDFONT names /nowhere"):
        find()


def test_faulty_soundfonts_are_refused_with_the_reason(tmp_path: Path) -> None:
    """A RIFF file of form `sfbk` with its lists (SoundFont technical specification 2.04, section 4)."""
    real = default_soundfont().read_bytes()
    cases = {
        "empty": (b"", "is not a soundfont"),
        "text": (b"hello, this is no soundfont at all", "is not a soundfont"),
        "wave": (b"RIFF" + struct.pack("<I", 4) + b"WAVE", "is not a soundfont"),
        "short": (real[: len(real) // 2], "is cut short"),
        "hollow": (b"RIFF" + struct.pack("<I", 4) + b"sfbk", "is damaged"),
    }
    for name, (content, reason) in cases.items():
        path = tmp_path / f"{name}.sf2"
        path.write_bytes(content)
        with pytest.raises(AudioUnavailable, match=reason):
            checked(path)


def test_a_soundfont_that_cannot_be_read_is_said(tmp_path: Path) -> None:
    with pytest.raises(AudioUnavailable, match="cannot be read"):
        checked(tmp_path)


def chunked(name: bytes, data: bytes, pad: bool = True) -> bytes:
    return name + struct.pack("<I", len(data)) + data + b"\0" * (pad and len(data) % 2)


ROWS = {"phdr": 38, "pbag": 4, "pmod": 10, "pgen": 4, "inst": 22, "ibag": 4, "imod": 10, "igen": 4, "shdr": 46}  # fmt: skip


def made_font(path: Path, samples: bytes, pad: bool = True, **rows: int) -> Path:
    """A file built as a soundfont, with tables of zeros (SoundFont technical specification 2.04, section 7)."""
    tables = b"".join(
        chunked(name.encode(), bytes(rows.get(name, length))) for name, length in ROWS.items()
    )
    body = b"sfbk" + chunked(b"LIST", b"INFO" + chunked(b"ifil", bytes(4)))
    body += chunked(b"LIST", b"sdta" + chunked(b"smpl", samples, pad), pad)
    body += chunked(b"LIST", b"pdta" + tables)
    path.write_bytes(chunked(b"RIFF", body))
    return path


@pytest.mark.parametrize("samples", [b"1234", b"12345"])
@pytest.mark.parametrize("pad", [True, False])
def test_a_soundfont_need_not_pad_its_compressed_samples(
    tmp_path: Path, samples: bytes, pad: bool
) -> None:
    """Fonts of form .sf3 exist that leave out the pad byte, and synthesisers read them."""
    path = made_font(tmp_path / "a.sf3", samples, pad)
    assert checked(path) == path


@pytest.mark.parametrize("table", ROWS)
def test_a_table_that_is_not_whole_is_damage(tmp_path: Path, table: str) -> None:
    for length in (0, ROWS[table] - 1, ROWS[table] + 1):
        path = made_font(tmp_path / "a.sf2", b"1234", **{table: length})
        with pytest.raises(AudioUnavailable, match=f"its table {table} is not whole"):
            checked(path)


def test_a_soundfont_that_the_engine_refuses_is_said(tmp_path: Path) -> None:
    """Whole by its lengths, but with nothing inside its tables."""
    path = made_font(tmp_path / "hollow.sf2", b"")
    with pytest.raises(
        AudioUnavailable, match=r"the sound engine cannot play .*hollow\.sf2: it is damaged"
    ):
        render(performance(("C",)), path)
