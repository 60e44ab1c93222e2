"""How loud a take will be, known from its notes before any of it has sounded.

A few notes of every player are struck apart from the session (the middle ones of its range, each drum that it uses
most), weighted as a loudness meter weights them and put through the player's gains; every note of the take then adds
the energy of the struck one that lies nearest, by the fourth power of its velocity, to the tenths of a second in which
it sounds; what the gates of a meter leave out is left out.

Conventions: loudness in LUFS by ITU-R BS.1770-4, from the first bar on; notes are taken to add up in energy.
Source: SoundFont 2.04 section 8.4.1, velocity to attenuation: the amplitude goes with the square of the velocity.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backing.ground.roles import pitched
from backing.live.take import Stream, Stroke, Take
from backing.output.sound import balance, fonts, room
from backing.output.sound.dynamics import Dynamics
from backing.output.sound.loudness import SILENCE_LUFS, TENTH, gated, weighting
from backing.output.sound.mix import gains
from backing.output.sound.strip import response, strip_of
from backing.output.sound.synth import OFF, ON, PROGRAM, RATE, VOICES, Synth, event_of
from backing.performance.model import Voice

STRUCK = 12  # notes of a player, twice as many of a kit
LONGEST_S = 2.0
AFTER_S = 0.9
TAIL = RATE // 8  # frames by which the energy of a longer note is told
SPAN = 1 << 17
USUAL_VELOCITY = 80  # of the notes in the table
BY_TABLE_DB = -1.7  # what the table leaves out, mean of the demos
BIAS_DB = (
    -0.4
)  # what the compressors take from notes together and the gates of the meter add, mean of the demos


class _Struck(NamedTuple):
    pitch: int
    velocity: int
    length: int  # frames
    energy: float
    tail: float  # of its last `TAIL`
    kept: float  # the share of its energy that every further `TAIL` keeps


def loudness(
    take: Take, soundfont: Path, a4: float = 440.0, between: Callable[[], object] = lambda: None
) -> float:
    """The integrated loudness of a take at gain 1, -70 where nobody plays.

    `between` is called before each player is struck; what it raises ends the work.
    """
    synths: dict[
        bool, Synth
    ] = {}  # one for everybody with pitches and one for drums: loading takes longest
    tenths = np.zeros(take.frames // TENTH + 1)
    try:
        for stream in take.streams:
            between()
            if stream.strokes and stream.role != "click":
                kind = pitched(stream.role)
                if kind not in synths:
                    synths[kind] = Synth(soundfont, stream.role, a4, VOICES)
                _add(tenths, stream, synths[kind])
    finally:
        for synth in synths.values():
            synth.close()
    heard = gated(tenths[take.bars[0] // TENTH :])
    return heard if heard <= SILENCE_LUFS else heard + BIAS_DB


def by_table(take: Take, soundfont: Path) -> float:
    """The loudness of a take by the table of its soundfont (`balance`), within some 3 LU, at once."""
    levels = fonts.known(soundfont).levels
    energy = 0.0
    for stream in take.streams:
        if not stream.strokes or stream.role == "click":
            continue
        voice = stream.voices[0][1]
        lufs = voice.level_db + balance.trim_db(stream.role, voice.instrument, levels)
        lufs += balance.of_a_note(voice.instrument, levels)
        lufs += balance.close_db(voice.instrument) if stream.near else 0.0
        loud = sum((s.velocity / USUAL_VELOCITY) ** 4 * (_length(s) + TAIL) for s in stream.strokes)
        energy += 10 ** ((lufs + 0.691) / 10) * loud
    bars = take.last + 1 if take.opening else len(take.bars) - 1
    length = take.bars[min(bars, len(take.bars) - 1)] - take.bars[0]
    if energy <= 0 or length <= 0:
        return -70.0
    return -0.691 + BY_TABLE_DB + 10 * math.log10(energy / length)


def _add(tenths: NDArray[np.float64], stream: Stream, synth: Synth) -> None:
    """Add what a player brings to the whole: weighted squares summed over frames and sides, by tenths of a second."""
    voice = stream.voices[0][1]
    synth.do(event_of(0, PROGRAM, voice.instrument.program))
    struck = [_strike(synth, stroke, stream, voice) for stroke in _chosen(stream)]
    for stroke in stream.strokes:
        like = min(
            struck, key=lambda s: (abs(s.pitch - stroke.pitch), abs(s.length - _length(stroke)))
        )
        longer = max(0, stroke.release - stroke.onset - like.length) / TAIL
        energy = like.energy + like.tail * like.kept * (1 - like.kept**longer) / (1 - like.kept)
        energy *= (stroke.velocity / like.velocity) ** 4
        first = stroke.onset // TENTH
        after = max(first + 1, min(len(tenths), stroke.release // TENTH + 1))
        tenths[first:after] += energy / (after - first)


def _length(stroke: Stroke) -> int:
    return min(stroke.release - stroke.onset, round(LONGEST_S * RATE))


def _chosen(stream: Stream) -> list[Stroke]:
    """The strokes to strike: of a drum kit one a drum, else spread over the range."""
    if not pitched(stream.role):
        most = [
            pitch for pitch, _ in Counter(s.pitch for s in stream.strokes).most_common(2 * STRUCK)
        ]
        return [next(s for s in stream.strokes if s.pitch == pitch) for pitch in most]
    ordered = sorted(stream.strokes, key=lambda s: (s.pitch, s.release - s.onset))
    return [ordered[(2 * i + 1) * len(ordered) // (2 * STRUCK)] for i in range(STRUCK)]


def _strike(synth: Synth, stroke: Stroke, stream: Stream, voice: Voice) -> _Struck:
    frames = _length(stroke)
    out = np.zeros((SPAN, 2), np.float32)
    total = min(SPAN, frames + round(AFTER_S * RATE))
    synth.do(event_of(0, ON, stroke.pitch, stroke.velocity))
    synth.write(out, 0, frames)
    synth.do(event_of(0, OFF, stroke.pitch))
    synth.write(out, frames, total - frames)
    while synth.voices():
        synth.write(np.zeros((4096, 2), np.float32), 0, 4096)
    row = strip_of(stream.role, voice.instrument)
    if not stream.near:
        trim_db = balance.trim_db(stream.role, voice.instrument, synth.levels)
        Dynamics(row, 10 ** (trim_db / 20)).apply(out)
    near = 10 ** (balance.close_db(voice.instrument) / 20) if stream.near else 1.0
    left, right, share = (near * g for g in gains(stream.role, voice, synth.levels))
    spectrum = np.fft.rfft(out, axis=0)
    early, late = _rooms()
    # a steady tone meets its own reflections: rooms add to it or take away, by its pitch
    wet = share * spectrum.sum(axis=1, keepdims=True) * (row.early * early + row.late * late)
    heard = spectrum * (left, right) + wet
    filters = np.abs(response(row, voice.instrument.cut_hz, SPAN)) ** 2
    power = (np.abs(heard) ** 2).sum(axis=1) * filters * _weights()
    energy = float(power.sum()) / (SPAN / 2)
    squares = np.concatenate([np.zeros(2 * TAIL), (out[:frames] ** 2).sum(axis=1)])
    before, tail = (float(squares[len(squares) - n * TAIL :][:TAIL].sum()) for n in (2, 1))
    kept = min(0.99, tail / before) if before > 0 else 0.0
    share = tail / max(1e-12, float((out**2).sum()))
    return _Struck(stroke.pitch, stroke.velocity, frames, energy, energy * share, kept)


@lru_cache(maxsize=1)
def _rooms() -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Both rooms on the bins, each of shape (bins, 2)."""
    early, late = (np.fft.rfft(sound, SPAN, axis=0) for sound in (room.early(), room.late()))
    return early, late


@lru_cache(maxsize=1)
def _weights() -> NDArray[np.float64]:
    """What a loudness meter makes of the power of each bin."""
    z = np.exp(-2j * np.pi * np.arange(SPAN // 2 + 1) / SPAN)
    power = np.ones(len(z))
    for b0, b1, b2, a1, a2 in weighting(RATE):
        power *= np.abs((b0 + b1 * z + b2 * z * z) / (1 + a1 * z + a2 * z * z)) ** 2
    return power
