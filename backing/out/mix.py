"""Players to stems and stems to a mix: one linear filter a player, a sum, and one gain.

A player's filter holds its whole path: a high-pass below the lowest fundamental of the instrument, level, pan and its
share of the room. All filters are linear and meet in a plain sum, so the stems add up to the mix to the last digit.
Where a section changes a player's instrument or place, its dry sound fades over from the old filter to the new one
within ten milliseconds, and what the old one left in the room rings on.

Conventions: float32 in blocks of `BLOCK` frames at 44.1 kHz; filters work by overlap-add in the frequency domain.
Sources: second-order Butterworth high-pass through the bilinear transform, and constant-power panning with unity gain
in the middle (common practice).
"""

from __future__ import annotations

import math
from collections.abc import Generator, Iterator, Sequence
from functools import lru_cache
from pathlib import Path
from queue import Full, Queue
from threading import Event, Thread
from typing import TYPE_CHECKING, Any

from backing.out import room
from backing.out.synth import BLOCK, RATE, player_blocks
from backing.performance import PerformedPlayer, Voice

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from backing.out.synth import Sound

    Spectrum = NDArray[np.complex64]  # (bins,)

OVERHANG = (
    24_576  # frames that a filter may ring beyond its block: the room, and the high-pass around it
)
SPAN = BLOCK + OVERHANG  # frames of one transform: 102,400 = 2**12 * 5**2
LOWEST_CUT_HZ = 20.0
_CHANGE_FRAMES = 441
_AHEAD = 2  # blocks that a player may be ahead of the sum


@lru_cache(maxsize=64)
def _path(
    cut_hz: float, level_db: float, pan: float, share: float
) -> tuple[Spectrum, Spectrum, Spectrum | None, Spectrum | None]:
    """A player's filter: left from left, right from right, and both from the middle through the room."""
    import numpy as np

    gain = 10 ** (level_db / 20)
    angle = (max(-1.0, min(1.0, pan)) + 1) * math.pi / 4
    left, right = gain * math.sqrt(2) * math.cos(angle), gain * math.sqrt(2) * math.sin(angle)
    cut = _high_pass(max(cut_hz, LOWEST_CUT_HZ))
    if share <= 0:
        return (left * cut).astype(np.complex64), (right * cut).astype(np.complex64), None, None
    room_left, room_right = _room()
    sent = gain * share / 2
    return (
        (left * cut).astype(np.complex64),
        (right * cut).astype(np.complex64),
        (sent * cut * room_left).astype(np.complex64),
        (sent * cut * room_right).astype(np.complex64),
    )


@lru_cache(maxsize=1)
def _room() -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    import numpy as np

    response = room.response()
    return np.fft.rfft(response[:, 0], SPAN), np.fft.rfft(response[:, 1], SPAN)


def _high_pass(cut_hz: float) -> NDArray[np.complex128]:
    """Second-order Butterworth on the frequencies of the transform."""
    import numpy as np

    warped = math.tan(math.pi * cut_hz / RATE)
    scale = 1 / (1 + math.sqrt(2) * warped + warped**2)
    a1, a2 = 2 * (warped**2 - 1) * scale, (1 - math.sqrt(2) * warped + warped**2) * scale
    z = np.exp(-2j * np.pi * np.arange(SPAN // 2 + 1) / SPAN)
    return np.asarray(scale * (1 - 2 * z + z * z) / (1 + a1 * z + a2 * z * z))


def tracks(
    players: Sequence[PerformedPlayer],
    soundfont: Path,
    total: int,
    *,
    apart: bool,
    a4: float = 440.0,
    anchors: Sequence[int] = (),
) -> Generator[list[Sound | None], None, None]:
    """The band in blocks of `BLOCK` frames, `total` frames in all: with `apart` a stem a player, else their sum alone.

    None stands for a silent block. Players are rendered in threads, a few blocks ahead.
    """
    strips = [
        _Ahead(
            _strip(
                player, player_blocks(player, soundfont, total, a4=a4, anchors=anchors), back=apart
            )
        )
        for player in players
    ]
    overlap = _Overlap()
    try:
        for at in range(0, total, BLOCK):
            count = min(BLOCK, total - at)
            found = [strip.next() for strip in strips]
            if apart:
                yield [None if f is None else f[:count] for f in found]
                continue
            spectrum: NDArray[np.complex64] | None = None
            for one in found:
                if one is not None:
                    spectrum = one if spectrum is None else spectrum + one
            whole = overlap.add(spectrum)
            yield [None if whole is None else whole[:count]]
    finally:
        for strip in strips:
            strip.stop()


def _strip(
    player: PerformedPlayer, dry: Generator[Sound, None, None], *, back: bool
) -> Generator[NDArray[np.float32] | NDArray[np.complex64] | None, None, None]:
    """A player's blocks through its filters: as sound when `back`, else as spectra of shape (2, bins)."""
    overlap = _Overlap()
    try:
        for i, block in enumerate(dry):
            spectrum = _filtered(player, block, i * BLOCK) if block.any() else None
            yield overlap.add(spectrum) if back else spectrum
    finally:
        dry.close()


def _filtered(player: PerformedPlayer, block: Sound, at: int) -> NDArray[np.complex64]:
    import numpy as np

    total: NDArray[np.complex64] | None = None
    for voice, weight in _voices(player, at, len(block)):
        sound = block.T if weight is None else block.T * weight
        if np.array_equal(sound[0], sound[1]):
            sound = sound[:1]
        padded = np.zeros((len(sound), SPAN))  # float64, which numpy transforms faster than float32
        padded[:, : len(block)] = sound
        sides = np.fft.rfft(padded).astype(np.complex64)
        left, right = sides[0], sides[-1]
        left_cut, right_cut, room_left, room_right = _path(
            voice.instrument.cut_hz, voice.level_db, voice.pan, voice.room
        )
        out = np.empty((2, SPAN // 2 + 1), np.complex64)
        np.multiply(left, left_cut, out=out[0])
        np.multiply(right, right_cut, out=out[1])
        if room_left is not None and room_right is not None:
            middle = left + right
            out[0] += middle * room_left
            out[1] += middle * room_right
        total = out if total is None else total + out
    assert total is not None
    return total


def _voices(
    player: PerformedPlayer, at: int, count: int
) -> Iterator[tuple[Voice, NDArray[np.float32] | None]]:
    """The voices that sound in a block, each with its weight a frame (None for all of it)."""
    import numpy as np

    def path(voice: Voice) -> tuple[float, float, float, float]:
        return voice.instrument.cut_hz, voice.level_db, voice.pan, voice.room

    changes: list[tuple[int, Voice]] = [(-_CHANGE_FRAMES, player.voices[0])]
    for voice in player.voices[1:]:
        start = round(voice.at_s * RATE)
        if path(voice) != path(changes[-1][1]):
            changes.append((start, voice))
    for i, (start, voice) in enumerate(changes):
        end = changes[i + 1][0] if i + 1 < len(changes) else None
        if start >= at + count or (end is not None and end + _CHANGE_FRAMES <= at):
            continue
        begins = start + _CHANGE_FRAMES > at and i > 0
        ends = end is not None and end < at + count
        if not begins and not ends:
            yield voice, None
            continue
        frames = np.arange(at, at + count, dtype=np.float32)
        weight = np.ones(count, np.float32)
        if begins:
            weight *= np.clip((frames - start) / _CHANGE_FRAMES, 0, 1)
        if end is not None and ends:
            weight *= 1 - np.clip((frames - end) / _CHANGE_FRAMES, 0, 1)
        yield voice, weight


class _Overlap:
    """Blocks of spectra to blocks of sound: what a block rings beyond its end is added to the next."""

    __slots__ = ("_rest",)

    def __init__(self) -> None:
        self._rest: NDArray[np.float32] | None = None

    def add(self, spectrum: NDArray[np.complex64] | None) -> Sound | None:
        """The next `BLOCK` frames, None where they are silent."""
        import numpy as np

        rest = self._rest
        if spectrum is None:
            self._rest = None
            if rest is None:
                return None
            out = np.zeros((BLOCK, 2), np.float32)
            out[:OVERHANG] = rest
            return out
        sound = np.fft.irfft(spectrum, SPAN).astype(np.float32, copy=False).T
        self._rest = sound[BLOCK:].copy()
        out = np.ascontiguousarray(sound[:BLOCK])
        if rest is not None:
            out[:OVERHANG] += rest
        return out


class _Ahead:
    """A generator that runs in a thread of its own, a few items ahead of whoever asks."""

    def __init__(self, source: Generator[Any, None, None]) -> None:
        self._source = source
        self._items: Queue[tuple[Any, BaseException | None]] = Queue(_AHEAD)
        self._stopped = Event()
        self._thread = Thread(target=self._run, daemon=True)
        self._thread.start()

    def next(self) -> Any:
        """The next item; an error of the generator is raised here."""
        item, error = self._items.get()
        if error is not None:
            raise error
        return item

    def stop(self) -> None:
        """End the thread and close the generator."""
        self._stopped.set()
        self._thread.join()

    def _run(self) -> None:
        try:
            for item in self._source:
                if not self._put(item, None):
                    break
        except BaseException as error:  # handed to the thread that asked
            self._put(None, error)
        finally:
            self._source.close()

    def _put(self, item: Any, error: BaseException | None) -> bool:
        while not self._stopped.is_set():
            try:
                self._items.put((item, error), timeout=0.1)
            except Full:
                continue
            return True
        return False
