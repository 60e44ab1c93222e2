"""The mix: filters, room, pan, sum, loudness and limiter against their definitions."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path
from threading import Thread

import numpy as np
import pyloudnorm
import pytest
import soundfile
from metering import measure
from numpy.typing import NDArray

from backing.ground.errors import AudioUnavailable
from backing.ground.instruments import INSTRUMENTS
from backing.ground.roles import role_of
from backing.output.sound import balance, limit, loudness, mix, room, strip
from backing.output.sound.level import Recording, level_for
from backing.output.sound.loudness import Meter
from backing.output.sound.soundfont import find
from backing.output.sound.strip import strip_of
from backing.output.sound.synth import BLOCK, RATE, frames_of, player_blocks, render
from backing.output.sound.tape import Tape
from backing.performance.model import Performance, PerformedNote, PerformedPlayer, Voice
from tests.hand_made import performance

Sound = NDArray[np.float32]
DATA = Path(__file__).parent / "data"


def joined(p: Performance, *, apart: bool) -> list[Sound]:
    """The tracks of a performance, whole."""
    total = frames_of(p)
    found: list[list[Sound]] = []
    for i, block in enumerate(mix.tracks(p.players, find(), total, apart=apart)):
        count = min(BLOCK, total - i * BLOCK)
        rows = [np.zeros((count, 2), np.float32) if t is None else t for t in block]
        found.append(rows)
    return [np.concatenate(rows) for rows in zip(*found, strict=True)]


def level_db(sound: Sound) -> float:
    return float(10 * np.log10(np.mean(sound.astype(float) ** 2) + 1e-20))


def test_the_stems_add_up_to_the_mix() -> None:
    p = performance(mix={"keys": (-3.0, 0.5, 0.4), "bass": (0.0, -0.2, 0.1)})
    (*stems, whole), (alone,) = joined(p, apart=True), joined(p, apart=False)
    assert len(stems) == 3
    assert np.abs(sum(stems) - whole).max() < 1e-5  # type: ignore[operator]
    assert np.array_equal(whole, alone)


def test_leaving_a_player_out_changes_nothing_for_the_others() -> None:
    p = performance()
    without = Performance(
        p.arrangement, p.tempo, p.players[1:], p.markers, p.count_in_s, p.duration_s
    )
    for before, after in zip(
        joined(p, apart=True)[1:-1], joined(without, apart=True)[:-1], strict=True
    ):
        assert np.array_equal(before, after)


def test_the_high_pass_is_a_butterworth() -> None:
    """Half the power at its frequency, 12 dB an octave below it, nothing taken two octaves above (definition)."""
    cut = 60.0
    plain = strip_of("click", INSTRUMENTS["click"])
    response = 20 * np.log10(np.abs(strip.response(plain, cut, mix.SPAN)) + 1e-12)
    hz = np.fft.rfftfreq(mix.SPAN, 1 / RATE)

    def at(frequency: float) -> float:
        return float(np.interp(frequency, hz, response))

    assert at(cut) == pytest.approx(-3.01, abs=0.05)
    assert at(cut / 4) - at(cut / 8) == pytest.approx(12.04, abs=0.3)
    assert abs(at(4 * cut)) < 0.05


def test_a_bass_loses_what_rumbles_under_its_lowest_note() -> None:
    notes = {"bass": [(q, 1.0, 28 + q % 5, 100) for q in range(8)]}
    p = performance(("C", "C"), notes, mix={"bass": (0.0, 0.0, 0.0)})
    dry = np.concatenate(list(player_blocks(p.players[0], find(), frames_of(p))))
    (stem, _) = joined(p, apart=True)
    hz = np.fft.rfftfreq(len(dry), 1 / RATE)

    def low(sound: Sound) -> float:
        power = np.abs(np.fft.rfft(sound[:, 0])) ** 2
        band = (hz > 5) & (hz < 20)
        return float(10 * np.log10(power[band].sum() / power.sum()))

    assert low(stem) < low(dry) - 6


@pytest.mark.parametrize("pan", [-1.0, -0.4, 0.0, 0.7, 1.0])
def test_panning_keeps_the_power(pan: float) -> None:
    """Constant-power panning with unity gain in the middle (common practice)."""
    voice = Voice(0.0, Fraction(0), INSTRUMENTS["click"], 0.0, pan, 0.0)
    left, right, sent = mix.gains("click", voice)
    assert left**2 + right**2 == pytest.approx(2.0)
    assert (right > left) == (pan > 0)
    assert sent == 0.0


def test_level_is_in_decibels() -> None:
    loud = Voice(0.0, Fraction(0), INSTRUMENTS["click"], 0.0, 0.0, 0.5)
    soft = Voice(0.0, Fraction(0), INSTRUMENTS["click"], -20.0, 0.0, 0.5)
    for a, b in zip(mix.gains("click", loud), mix.gains("click", soft), strict=True):
        assert a == pytest.approx(10 * b)


def test_the_room_dies_away_evenly_and_differs_left_and_right() -> None:
    """Sixty decibels within the reverberation time; high tones die first (room acoustics, common practice)."""
    early, late = room.early(), room.late()
    assert early.shape == late.shape == (room.FRAMES, 2)
    energies = [np.mean(np.sum(part**2, axis=0)) for part in (early, late)]
    assert energies == pytest.approx([0.3, 0.7])
    response = early + late
    energy = np.cumsum((response**2).sum(axis=1)[::-1])[::-1]  # backward integration (Schroeder)
    decay = 10 * np.log10(energy / energy[0] + 1e-12)
    t60_s = 2 * (np.argmax(decay < -35) - np.argmax(decay < -5)) / RATE
    assert 0.25 < t60_s < 0.6
    assert abs(np.corrcoef(response.T)[0, 1]) < 0.5
    spectrum = np.abs(np.fft.rfft(response[:, 0])) ** 2
    hz = np.fft.rfftfreq(room.FRAMES, 1 / RATE)
    assert spectrum[hz < 60].mean() < 0.05 * spectrum[(hz > 300) & (hz < 2000)].mean()


def test_low_tones_stay_out_of_the_room(monkeypatch: pytest.MonkeyPatch) -> None:
    """A second-order cut with its half of the amplitude at 180 Hz, against the room without one."""
    with_cut = np.abs(np.fft.rfft(room.late()[:, 0]))
    monkeypatch.setattr(room, "_LOW_CUT_HZ", 0.01)
    ratio = with_cut / np.abs(np.fft.rfft(room.late()[:, 0]))
    hz = np.fft.rfftfreq(room.FRAMES, 1 / RATE)
    ratio /= np.median(ratio[(hz > 2000) & (hz < 8000)])
    at = {f: float(np.median(ratio[(hz > 0.95 * f) & (hz < 1.05 * f)])) for f in (90, 180, 360)}
    assert at[90] == pytest.approx(0.2, abs=0.03)
    assert at[180] == pytest.approx(0.5, abs=0.05)
    assert at[360] == pytest.approx(0.8, abs=0.05)


def test_a_full_share_of_room_gives_back_what_goes_in() -> None:
    """White noise in the middle: as much energy comes back, and half the share brings half of it (conventions of `room`)."""
    noise = np.zeros((BLOCK, 2), np.float32)
    noise[: RATE // 2] = np.random.default_rng(1).standard_normal((RATE // 2, 1))
    heard = []
    for share in (0.0, 0.5, 1.0):
        voice = Voice(0.0, Fraction(0), INSTRUMENTS["click"], 0.0, 0.0, share)
        part = mix._part(
            PerformedPlayer("click", (voice,), ()), noise.copy(), 0, {}, mix._Scratch()
        )
        sound = mix._Desk().sum([part])
        assert sound is not None
        heard.append(sound.astype(float))
    dry, half, full = heard
    returned_db = 10 * np.log10(np.sum((full - dry) ** 2) / np.sum(dry**2))
    assert returned_db == pytest.approx(0.0, abs=0.5)
    assert np.allclose(half - dry, (full - dry) / 2, atol=1e-4)


def test_the_room_is_the_same_every_time() -> None:
    assert np.array_equal(room.early(), room.early())
    assert np.array_equal(room.late(), room.late())


def test_more_room_rings_longer() -> None:
    notes = {"click": [(0.0, 0.2, 76, 120)]}
    dry = performance(("C",), notes, count_in_bars=0, mix={"click": (0, 0, 0.0)})
    wet = performance(("C",), notes, count_in_bars=0, mix={"click": (0, 0, 0.8)})
    late = slice(RATE // 4, RATE // 2)
    (a,), (b,) = joined(dry, apart=False), joined(wet, apart=False)
    assert level_db(b[late]) > level_db(a[late]) + 20


def test_a_change_of_place_does_not_click() -> None:
    """A held organ note moves from left to right: no step between neighbouring samples beyond those of the tone."""
    notes = {"keys": [(0.0, 8.0, 60, 100)]}
    p = performance(("C", "C"), notes, count_in_bars=0, voices={"keys": [(0.0, "organ")]})
    player = p.players[0]
    organ = INSTRUMENTS["organ"]
    voices = (
        Voice(0.0, Fraction(0), organ, 0.0, -0.9, 0.0),
        Voice(2.0, Fraction(4), organ, 0.0, 0.9, 0.0),
    )
    moved = PerformedPlayer("keys", voices, player.notes)
    q = Performance(p.arrangement, p.tempo, (moved,), (), 0.0, p.duration_s)
    (sound,) = joined(q, apart=False)
    before, after = sound[RATE : RATE + 20_000], sound[3 * RATE : 3 * RATE + 20_000]
    assert level_db(before[:, :1]) > level_db(before[:, 1:]) + 10
    assert level_db(after[:, 1:]) > level_db(after[:, :1]) + 10
    steps = np.abs(np.diff(sound, axis=0))
    assert steps[2 * RATE - 2000 : 2 * RATE + 2000].max() < 1.1 * steps[RATE : 4 * RATE].max()


def test_an_error_in_a_player_reaches_the_caller(tmp_path: Path) -> None:
    broken = tmp_path / "broken.sf2"
    broken.write_bytes(b"RIFF")
    p = performance(("C",))
    with pytest.raises(AudioUnavailable, match="cannot read the soundfont"):
        list(mix.tracks(p.players, broken, frames_of(p), apart=True))


def test_an_interruption_while_threads_begin_leaves_none_waiting(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A signal can come when a thread runs and its pool does not know it yet; it must be told to end all the same."""
    begin = Thread.start
    begun: list[Thread] = []

    def interrupted(thread: Thread) -> None:
        begin(thread)
        begun.append(thread)
        raise KeyboardInterrupt

    p = performance(("Cmaj7", "Dm7 G7"))
    source = mix.tracks(p.players, find(None), frames_of(p), apart=False)
    with monkeypatch.context() as patch:
        patch.setattr(Thread, "start", interrupted)
        with pytest.raises(KeyboardInterrupt) as caught:
            next(source)
    begun[0].join(20)
    assert not begun[0].is_alive()
    assert caught.value.__traceback__ is not None  # which holds the pool: nobody has thrown it away


def note_loudness(instrument: str, pitch: int) -> float:
    """The loudest 400 ms of a half-second note, K-weighted by pyloudnorm."""
    voice = Voice(0.0, Fraction(0), INSTRUMENTS[instrument], 0.0, 0.0, 0.0)
    note = PerformedNote(0.0, 0.5, 0.0, 1.0, pitch, 80)
    player = PerformedPlayer("keys", (voice,), (note,))
    sound = np.concatenate(list(player_blocks(player, find(), RATE))).astype(float)
    for stage in pyloudnorm.Meter(RATE)._filters.values():
        for side in (0, 1):
            sound[:, side] = stage.apply_filter(sound[:, side])
    energy = np.cumsum((sound**2).sum(axis=1))
    window = int(0.4 * RATE)
    return float(-0.691 + 10 * np.log10((energy[window:] - energy[:-window]).max() / window))


@pytest.mark.parametrize("name", sorted(balance._MEASURED))
def test_the_table_of_loudness_is_what_the_default_soundfont_gives(name: str) -> None:
    instrument = INSTRUMENTS[name]
    low = "bass" in name or name == "tuba"
    pitches = [
        min(max(p, instrument.low), instrument.high)
        for p in ((31, 36, 41) if low else (57, 62, 67))
    ]
    mean = float(np.mean([note_loudness(name, p) for p in pitches]))
    assert mean == pytest.approx(balance._MEASURED[name], abs=0.7)


def test_instruments_of_a_role_come_to_one_measure() -> None:
    for name in ("acoustic piano", "electric piano", "organ"):
        found = balance._MEASURED[name] + balance.trim_db("keys", INSTRUMENTS[name])
        assert found == pytest.approx(role_of("keys").common_lufs)


def test_hats_and_rides_stand_closer_and_still_choke_each_other() -> None:
    """All members of the hat's group share a microphone, so that one synth still lets them silence each other."""
    notes = {"drums": [(0.0, 0.2, 51, 90)]}
    p = performance(("C",), notes, count_in_bars=0, mix={"drums": (0.0, 0.0, 0.0)})
    (stem, _) = joined(p, apart=True)
    dry = np.concatenate(list(player_blocks(p.players[0], find(), frames_of(p))))
    kit = INSTRUMENTS["drum kit"]
    air = np.abs(strip.response(strip_of("drums", kit), 0.0, mix.SPAN))[-1]
    expected = balance.trim_db("drums", kit) + balance.close_db(kit) + 20 * np.log10(air)
    assert level_db(stem) - level_db(dry) == pytest.approx(expected, abs=0.6)
    assert {42, 44, 46} <= balance.CLOSE_KEYS


# loudness


def signal(text: str, rate: int) -> Sound:
    """A test signal as the table writes it."""
    kind, parts = text.split(": ")
    frequency = float(kind.split()[1])
    pieces = []
    for part in parts.split(", "):
        level, seconds = part.split(" for ")
        time_s = np.arange(int(float(seconds) * rate)) / rate
        pieces.append(10 ** (float(level) / 20) * np.sin(2 * np.pi * frequency * time_s))
    mono = np.concatenate(pieces).astype(np.float32)
    other = np.zeros_like(mono) if "left" in kind else mono
    return np.ascontiguousarray(np.stack([mono, other], axis=1))


def published() -> list[tuple[str, str, float, float]]:
    rows = (DATA / "loudness.tsv").read_text("utf-8").splitlines()
    cells = [row.split("\t") for row in rows if row and not row.startswith("#")]
    return [(c[0], c[1], float(c[2]), float(c[3])) for c in cells]


@pytest.mark.parametrize(("name", "text", "lufs", "tolerance"), published())
def test_both_meters_read_the_published_signals(
    name: str, text: str, lufs: float, tolerance: float
) -> None:
    """Sources stand in the table."""
    sound = signal(text, RATE)
    meter = Meter()
    for at in range(0, len(sound), BLOCK):
        meter.feed(np.ascontiguousarray(sound[at : at + BLOCK]))
    assert loudness.integrated(meter.energies()) == pytest.approx(lufs, abs=tolerance)
    assert pyloudnorm.Meter(RATE).integrated_loudness(sound) == pytest.approx(lufs, abs=tolerance)


def test_silence_has_no_loudness() -> None:
    meter = Meter()
    meter.feed(np.zeros((RATE, 2), np.float32))
    assert loudness.integrated(meter.energies()) == loudness.SILENCE_LUFS


def test_the_weighting_is_the_standards_at_48_khz() -> None:
    """ITU-R BS.1770-4, annex 1, tables 1 and 2."""
    shelf, high_pass = loudness.weighting(48_000)
    assert shelf == pytest.approx(
        (
            1.53512485958697,
            -2.69169618940638,
            1.19839281085285,
            -1.69065929318241,
            0.73248077421585,
        ),
        abs=1e-10,
    )
    assert high_pass == pytest.approx((1, -2, 1, -1.99004745483398, 0.99007225036621), abs=1e-10)


def test_three_meters_agree_on_the_band_in_blocks_of_any_length(tmp_path: Path) -> None:
    """Ours, ffmpeg's ebur128 (which shows tenths) and pyloudnorm, on loud and soft music with silence between."""
    sound = np.concatenate(list(render(performance(("Cmaj7", "G7"))).values()))
    soundfile.write(tmp_path / "a.wav", sound, RATE, subtype="FLOAT")
    found = []
    for block in (BLOCK, 10_007):
        meter = Meter()
        for at in range(0, len(sound), block):
            meter.feed(sound[at : at + block])
        found.append(loudness.integrated(meter.energies()))
    assert found[0] == pytest.approx(found[1], abs=1e-3)
    assert found[0] == pytest.approx(measure(tmp_path / "a.wav").lufs, abs=0.06)
    other = pyloudnorm.Meter(RATE).integrated_loudness(sound.astype(np.float64))
    assert found[0] == pytest.approx(other, abs=0.1)


# limiter


def padded(sound: Sound) -> Sound:
    edge = np.zeros((limit.CONTEXT, 2), np.float32)
    return np.concatenate([edge, sound, edge])


def peaks_of(sound: Sound) -> NDArray[np.float32]:
    return limit.true_peaks(padded(sound), np.arange(len(sound) // limit.GRAIN))


def test_true_peaks_lie_between_the_samples() -> None:
    """A sine at a quarter of the rate, 45 degrees off: 3.01 dB above its samples (ITU-R BS.1770-4 annex 2)."""
    wave = np.sin(np.pi / 2 * np.arange(6400) + np.pi / 4).astype(np.float32) / 4
    sound = np.stack([wave, wave], axis=1)
    assert limit.sample_peaks(sound).max() == pytest.approx(0.25 * 2**-0.5, abs=1e-4)
    middle = peaks_of(sound)[10:-10]
    assert 20 * np.log10(middle.max() / 0.25) == pytest.approx(0.0, abs=0.1)


def bursts() -> Sound:
    """Noise with a few loud strokes."""
    noise = np.random.Generator(np.random.PCG64(1)).standard_normal((64 * 2000, 2)) * 0.05
    for at in (20_000, 60_000, 60_500, 100_000):
        noise[at : at + 300] *= 12
    return noise.astype(np.float32)


def test_the_curve_keeps_every_true_peak_under_the_ceiling() -> None:
    sound = bursts()
    gain = 4.0
    curve = limit.curve(peaks_of(sound), gain)
    assert curve is not None
    limited = sound * np.float32(gain)
    limit.apply(limited, curve, 0)
    highest = 20 * np.log10(peaks_of(limited).max())
    assert highest <= limit.CEILING_DBTP + 0.05


def test_the_curve_bends_ahead_comes_back_slowly_and_rests_elsewhere() -> None:
    sound = bursts()
    curve = limit.curve(peaks_of(sound), 4.0)
    assert curve is not None
    steps_db = np.diff(20 * np.log10(curve.astype(float)))
    assert steps_db.min() >= -limit.ATTACK_DB - 1e-4
    assert steps_db.max() <= limit.RELEASE_DB + 1e-4
    assert curve[0] == 1.0
    assert curve.max() <= 1.0


def test_the_curve_takes_its_time() -> None:
    """A peak 6 dB over: half of them are taken within 12 ms before it, and given back within 145 ms (common practice)."""
    peaks = np.full(2000, 1e-3, np.float32)
    peaks[1000] = 10 ** ((limit.CEILING_DBTP + 6) / 20)
    curve = limit.curve(peaks, 1.0)
    assert curve is not None
    curve_db = 20 * np.log10(curve.astype(float))
    ms = np.arange(len(curve)) * 64 / 44.1
    before, after = curve_db[:1001], curve_db[1001:]
    assert ms[1000] - np.interp(-3.0, before[::-1], ms[:1001][::-1]) == pytest.approx(12.4, abs=1)
    assert np.interp(-3.0, after, ms[1001:]) - ms[1001] == pytest.approx(145, abs=3)


def test_what_stays_below_the_ceiling_needs_no_curve() -> None:
    assert limit.curve(peaks_of(bursts()), 0.2) is None


def test_the_curve_is_applied_alike_in_any_blocks() -> None:
    sound = bursts()
    curve = limit.curve(peaks_of(sound), 4.0)
    assert curve is not None
    whole = sound.copy()
    limit.apply(whole, curve, 0)
    parts = sound.copy()
    for at in range(0, len(parts), 6400):
        limit.apply(parts[at : at + 6400], curve, at)
    assert np.array_equal(whole, parts)


# tape


def test_a_tape_gives_back_what_was_put_on_it(tmp_path: Path) -> None:
    tape = Tape(tmp_path)
    ones, twos = np.ones((10, 2), np.float32), np.full((10, 2), 2, np.float32)
    tape.append([ones, None], 10)
    tape.append([twos, ones], 10)
    assert len(tape) == 2
    first, second = tape.read(0)
    assert first is not None
    assert np.array_equal(first, ones)
    assert second is None
    across = tape.span(5, 25)
    assert across[0][:, 0].tolist() == [1.0] * 5 + [2.0] * 10 + [0.0] * 5
    assert across[1][:, 0].tolist() == [0.0] * 5 + [1.0] * 10 + [0.0] * 5
    tape.close()


def test_sound_is_added_across_blocks_also_where_there_was_none(tmp_path: Path) -> None:
    tape = Tape(tmp_path)
    ones = np.ones((10, 2), np.float32)
    tape.append([None, ones], 10)
    tape.append([ones, None], 10)
    tape.add(5, [ones, ones])
    a, b = tape.span(0, 20)
    assert a[:, 0].tolist() == [0.0] * 5 + [1.0] * 5 + [2.0] * 5 + [1.0] * 5
    assert b[:, 0].tolist() == [1.0] * 5 + [2.0] * 5 + [1.0] * 5 + [0.0] * 5
    tape.close()


def test_a_cut_tape_ends_inside_a_block(tmp_path: Path) -> None:
    tape = Tape(tmp_path)
    for value in (1, 2, 3):
        tape.append([np.full((10, 2), value, np.float32)], 10)
    tape.cut(14)
    assert [tape.frames(i) for i in range(len(tape))] == [10, 4]
    last = tape.read(1)[0]
    assert last is not None
    assert last[:, 0].tolist() == [2.0] * 4
    tape.close()


@pytest.mark.parametrize(
    ("clicks", "click_frames", "knocks", "knock_frames"),
    [(1, 1, 1, 1), (100, 800, 1, 1), (200, 400, 1, 1), (100, 2000, 3, 1000), (30, 800, 8, 1500)],
)
def test_a_level_is_reached_though_the_limiter_takes_much(
    tmp_path: Path, clicks: int, click_frames: int, knocks: int, knock_frames: int
) -> None:
    """Faint noise with clicks, then noise with knocks, so many times as loud; pyloudnorm measures what comes of it."""
    tape, meter = Tape(tmp_path), Meter()
    dice = np.random.default_rng(1)
    peaks = []
    for block in range(8):
        counted = block < 4
        sound = (0.001 if counted else 0.01) * dice.standard_normal((BLOCK, 2)).astype(np.float32)
        for at in range(0, BLOCK, RATE // 2):
            length, times = (click_frames, clicks) if counted else (knock_frames, knocks)
            sound[at : at + length] *= times
        tape.append([sound], BLOCK)
        meter.feed(sound)
        peaks.append(limit.sample_peaks(sound))
    recording = Recording(8 * BLOCK, None, ("drums",), np.concatenate(peaks), meter.energies())
    level = level_for(tape, recording, -16.0)
    (sound,) = tape.span(0, 8 * BLOCK)
    level.apply(sound, 0)
    tape.close()
    measured = pyloudnorm.Meter(RATE).integrated_loudness(sound.astype(np.float64))
    assert measured == pytest.approx(-16.0, abs=0.2)
    assert np.abs(sound).max() <= 1.0001 * 10 ** (limit.CEILING_DBTP / 20)


def test_the_table_of_signals_is_written_as_the_reader_expects() -> None:
    for _, text, *_ in published():
        assert re.fullmatch(r"sine \d+ Hz( left)?: (-?\d+ for [\d.]+(, )?)+", text)
