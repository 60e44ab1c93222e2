"""The live mix: a synthesiser and a strip a player, two rooms, one gain and a limiter, a hop at a time.

The strips are those of the finished mix (`output.sound.strip`, `dynamics`), applied as short filters, so that what is
heard differs from a file by the tail of a filter below -80 dB and by a limiter that looks ahead a hop.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from backing.live.convolve import Convolver, Spectra, heard, partitions
from backing.live.limiter import Limiter
from backing.live.session import HOP, Events, Key
from backing.live.take import Stream, Take
from backing.output.sound import balance, room
from backing.output.sound.dynamics import Dynamics
from backing.output.sound.mix import gains
from backing.output.sound.strip import Strip, response, sides, strip_of
from backing.output.sound.synth import RATE, VOICES, Synth
from backing.performance.model import Voice

Sound = NDArray[np.float32]  # (frames, 2)
FILTER_FRAMES = 8 * HOP  # 186 ms: a high-pass at 25 Hz has rung down by 90 dB
WIDTH_FRAMES = 4 * HOP
SPAN = 2 * FILTER_FRAMES  # of the transforms that filters are taken from
GLIDE_DB = 3.0  # a hop, at most, when a gain changes


class Desk:
    """The band's sound. `levels` are the players' faders in dB; the level of the whole comes with each take."""

    def __init__(self, soundfont: Path, a4: float = 440.0) -> None:
        self._soundfont, self._a4 = soundfont, a4
        self._strips: dict[Key, _Path] = {}
        self._rooms = [Convolver(response, 2) for response in _rooms()]
        self._limiter = Limiter()
        self._gain_db: float | None = None
        self.levels: Mapping[str, float] = {}

    def seat(self, take: Take) -> None:
        """Have a synthesiser for everyone who plays; loading takes a moment, so a take is seated before it is played."""
        strips: dict[Key, _Path] = {}
        for stream in take.streams:
            if stream.key not in self._strips:
                first = next(iter((self._strips or strips).values()), None)
                lender = None if first is None else first.synth
                strips[stream.key] = _Path(stream, self._soundfont, self._a4, lender)
        if strips:  # another thread may be playing: the table is replaced, never changed
            self._strips = {**self._strips, **strips}

    def hop(self, events: Events, take: Take, at: int) -> Sound:
        """The next `HOP` frames; `at` is the frame of the take where they end."""
        voices = {s.key: s.voice_at(max(0, at - 1)) for s in take.streams}
        total = np.zeros((HOP, 2), np.float32)
        sent = np.zeros((2, HOP), np.float32)  # to the early and the late room
        for key, strip in self._strips.items():
            level_db = self.levels.get(key[0], 0.0)
            found = strip.play(events.get(key, []), voices.get(key), level_db)
            if found is not None:
                total += found[0]
                sent += found[1]
        for one, bus in zip(self._rooms, sent, strict=True):
            tail = one(np.broadcast_to(bus, (2, HOP)))
            if tail is not None:
                total += heard(tail, HOP)
        total *= self._master(take.gain_db)
        if take.performance.fade_s is not None:
            total *= _fading(take, at)
        return self._limiter(total)

    def _master(self, gain_db: float) -> NDArray[np.float32]:
        """The gain over the hop, gliding to where it is meant to be."""
        before = gain_db if self._gain_db is None else self._gain_db
        after = before + min(GLIDE_DB, max(-GLIDE_DB, gain_db - before))
        self._gain_db = after
        line = np.linspace(before, after, HOP, dtype=np.float32)
        return np.asarray(10 ** (line / 20), np.float32)[:, None]

    def close(self) -> None:
        for strip in reversed(self._strips.values()):  # the first has lent its soundfont
            strip.synth.close()
        self._strips = {}


def _fading(take: Take, end: int) -> NDArray[np.float32]:
    """The fade-out of a tune that has one, as in a file."""
    out = round((take.performance.fade_s or 0.0) * RATE)
    frames = np.arange(end - HOP, end)
    gain = np.clip(1 - (frames - out) / max(1, take.frames - out), 0, 1) ** 2
    return np.asarray(gain, np.float32)[:, None]


class _Path:
    """One synthesiser and the strip behind it."""

    __slots__ = (
        "_dynamics", "_factor", "_filter", "_gains", "_near", "_role", "_row", "_voice", "_width", "synth",
    )  # fmt: skip

    def __init__(self, stream: Stream, soundfont: Path, a4: float, lender: Synth | None) -> None:
        kit = stream.voices[0][1].instrument
        voices = balance.close_voices(kit) if stream.near else VOICES
        self.synth = Synth(soundfont, stream.role, a4, voices, lender=lender)
        self._role = stream.role
        self._near = stream.near
        self._factor = 10 ** (balance.close_db(kit) / 20) if stream.near else 1.0
        self._filter: Convolver | None = None
        self._width: Convolver | None = None
        self._voice: Voice | None = None
        self._row: Strip | None = None
        self._dynamics: Dynamics | None = None
        self._gains: tuple[float, float, float] | None = None

    def play(
        self, events: list[tuple[int, int]], voice: Voice | None, level_db: float
    ) -> tuple[Sound, NDArray[np.float32]] | None:
        """Do what the events of a hop say: what is heard of it, and what the rooms are sent; None for silence."""
        dry = self._dry(events)
        if voice is not None and voice is not self._voice:
            self._set(voice)
        if self._voice is None or self._row is None or self._filter is None:
            return None
        if self._dynamics is not None:
            self._dynamics.apply(dry) if dry.any() else self._dynamics.rest()
        spectra = self._filter(np.ascontiguousarray(dry.T))
        if spectra is None:
            return None
        sound = heard(spectra, HOP)
        gain = self._glide(level_db)
        middle = sound[:, 0] + sound[:, 1]
        out = sound * gain[:, :2]
        if self._width is not None:
            wide = self._width(middle[None])
            if wide is not None:
                apart = heard(wide, HOP) * (0.25 * (gain[:, :1] + gain[:, 1:2]))
                out += apart * np.array([1, -1], np.float32)
        sent = middle * gain[:, 2]
        return out, np.stack(
            [sent * np.float32(self._row.early), sent * np.float32(self._row.late)]
        )

    def _dry(self, events: list[tuple[int, int]]) -> Sound:
        out = np.zeros((HOP, 2), np.float32)
        at = 0
        if not events and not self.synth.voices():
            return out
        for place, event in events:
            if place > at:
                self.synth.write(out, at, place - at)
                at = place
            self.synth.do(event)
        self.synth.write(out, at, HOP - at)
        return out

    def _set(self, voice: Voice) -> None:
        """Take up another instrument, or another place."""
        row = strip_of(self._role, voice.instrument)
        if (
            self._voice is None
            or row is not self._row
            or voice.instrument != self._voice.instrument
        ):
            levels = self.synth.levels
            trim = 10 ** (balance.trim_db(self._role, voice.instrument, levels) / 20)
            self._dynamics = None if self._near else Dynamics(row, trim)
            filters = _filters(row, voice.instrument.cut_hz)
            if self._filter is None:
                self._filter = Convolver(filters, 2)
            else:
                self._filter.response = filters
            self._width = Convolver(_apart(row.wide), 1) if row.wide else None
        self._voice, self._row = voice, row

    def _glide(self, level_db: float) -> NDArray[np.float32]:
        """Left, right and room gain over the hop, from where they were to where they are meant to be."""
        assert self._voice is not None
        factor = self._factor * 10 ** (level_db / 20)
        left, right, share = (factor * g for g in gains(self._role, self._voice, self.synth.levels))
        before = (left, right, share) if self._gains is None else self._gains
        self._gains = (left, right, share)
        return np.linspace(before, self._gains, HOP, dtype=np.float32)


@lru_cache(maxsize=1)
def _rooms() -> tuple[Spectra, Spectra]:
    return partitions(room.early(), HOP), partitions(room.late(), HOP)


@lru_cache(maxsize=64)
def _filters(row: Strip, cut_hz: float) -> Spectra:
    """The filters of a strip as an impulse response."""
    whole = np.fft.irfft(response(row, cut_hz, SPAN), SPAN)
    return partitions(whole[:FILTER_FRAMES, None], HOP)


@lru_cache(maxsize=8)
def _apart(wide: float) -> Spectra:
    """What makes a strip wide, as an impulse response."""
    whole = np.fft.irfft(sides(wide, SPAN), SPAN)
    return partitions(whole[:WIDTH_FRAMES, None], HOP)
