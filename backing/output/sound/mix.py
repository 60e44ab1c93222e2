"""Players to stems and stems to a mix: one strip a player, a sum, and one gain.

A player's path is its strip (`strip`, `dynamics`), level and pan, and a share of its middle for two rooms, early and
late. What a strip gives is a stem, and the mix is the plain sum of the stems. Where a section changes a player's
instrument or place, its sound fades over from the old path to the new one within ten milliseconds, and what the old one
left in the rooms rings on.

Conventions: float32 in blocks of `BLOCK` frames at 44.1 kHz; filters work by overlap-add in the frequency domain.
Sources: constant-power panning with unity gain in the middle (common practice).
"""

from __future__ import annotations

import itertools
import math
import os
from collections.abc import Generator, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from functools import lru_cache
from itertools import compress
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from backing.output.asked import AS_USUAL, Sound
from backing.output.sound import balance, fonts, room
from backing.output.sound.balance import UNMEASURED, trim_db
from backing.output.sound.dynamics import treated
from backing.output.sound.strip import response, sides, strip_of
from backing.output.sound.synth import BLOCK, RATE, VOICES, player_blocks
from backing.performance.model import PerformedPlayer, Voice

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from backing.output.sound.synth import Sound as Samples

    Levels = Mapping[str, float]
    Spectra = NDArray[np.complex64]  # (rows, bins), two rows for left and right

OVERHANG = 24_576  # frames that a filter may ring beyond its block
SPAN = BLOCK + OVERHANG  # frames of one transform: 98,304 = 2**15 * 3
BINS = SPAN // 2 + 1
# Without it numpy transforms in double precision, whatever it is given: twice the time, and pages that the system fetches.
_BOTH_WAYS: Final = "ortho"
_CHANGE_FRAMES = 441
MOST_THREADS = 4  # each has buffers of its own


class _Part(NamedTuple):
    """What a player adds to a block, as transforms: of both sides, and of what goes to the early and the late room."""

    sides: Spectra | None
    sent: Spectra | None


SILENT = _Part(None, None)


def gains(role: str, voice: Voice, levels: Levels = UNMEASURED) -> tuple[float, float, float]:
    """Left and right gain of a voice (level, trim, constant power over the width), and what its middle sends.

    `levels` were measured of the font (`balance`).
    """
    gain = 10 ** ((voice.level_db + trim_db(role, voice.instrument, levels)) / 20)
    angle = (max(-1.0, min(1.0, voice.pan)) + 1) * math.pi / 4
    wide = gain * math.sqrt(2)
    return wide * math.cos(angle), wide * math.sin(angle), gain * max(0.0, voice.room) / 2


@lru_cache(maxsize=1)
def _rooms() -> Spectra:
    """The early and the late room, each to the left and the right."""
    import numpy as np

    both = np.stack([room.early().T, room.late().T])
    return np.fft.rfft(both, SPAN).astype(np.complex64)


def tracks(
    players: Sequence[PerformedPlayer],
    soundfont: Path,
    total: int,
    *,
    apart: bool,
    sound: Sound = AS_USUAL,
    anchors: Sequence[int] = (),
) -> Generator[list[Samples | None], None, None]:
    """The band in blocks of `BLOCK` frames, `total` frames in all: with `apart` a stem a player first, last the mix.

    None stands for a silent block. The mix is the same to the bit with stems and without: it is summed before it
    is transformed back, stems after. Players are rendered and filtered in threads, a block ahead of the sum.
    """
    from concurrent.futures import ThreadPoolExecutor

    levels = fonts.known(soundfont).levels
    strips = [
        _strip(_parts(p, _microphones(p, soundfont, total, sound.a4, anchors), levels), apart)
        for p in players
    ]
    desk = _Desk()
    pool = ThreadPoolExecutor(min(MOST_THREADS, os.cpu_count() or 2))
    try:
        ahead = [pool.submit(next, strip, (SILENT, None)) for strip in strips]
        for at in range(0, total, BLOCK):
            count = min(BLOCK, total - at)
            stems: list[Samples | None] = []
            parts: list[_Part] = []
            for i, strip in enumerate(strips):
                part, stem = ahead[i].result()
                parts.append(part)
                stems.append(stem)
                ahead[i] = pool.submit(next, strip, (SILENT, None))
            whole = [*(stems if apart else ()), desk.sum(parts)]
            yield [None if w is None else w[:count] for w in whole]
    finally:
        pool.shutdown(cancel_futures=True)
        for strip in strips:
            # one still runs where an interruption came before the pool knew its thread
            with suppress(ValueError):
                strip.close()


def _microphones(
    player: PerformedPlayer, soundfont: Path, total: int, a4: float, anchors: Sequence[int]
) -> Generator[Samples, None, None]:
    """A player's sound as it comes to its filters; hats and rides of a kit through a microphone of their own, untreated."""
    import numpy as np

    kit = player.voices[0].instrument
    close_db = balance.close_db(kit)
    groups = [(player, VOICES)]
    if close_db:
        near = [n.pitch in balance.CLOSE_KEYS for n in player.notes]
        groups = [
            (player._replace(notes=tuple(compress(player.notes, chosen))), voices)
            for chosen, voices in (
                ((not n for n in near), VOICES),
                (near, balance.close_voices(kit)),
            )
        ]
    sources = [
        player_blocks(g, soundfont, total, a4=a4, anchors=anchors, voices=voices)
        for g, voices in groups
    ]
    closer = np.float32(10 ** (close_db / 20))
    sources[0] = treated(player, sources[0], fonts.known(soundfont).levels)
    try:
        for blocks in zip(*sources, strict=True):
            if len(blocks) == 2:
                yield blocks[0] + blocks[1] * closer
            else:
                yield blocks[0]
    finally:
        for source in sources:
            source.close()


def _parts(
    player: PerformedPlayer, dry: Generator[Samples, None, None], levels: Levels
) -> Generator[_Part, None, None]:
    """What a player adds to block after block; good until the one after the next is asked for."""
    scratch = _Scratch()
    try:
        for number, block in enumerate(dry):
            yield _part(player, block, number * BLOCK, levels, scratch)
    finally:
        dry.close()


def _strip(
    parts: Generator[_Part, None, None], apart: bool
) -> Generator[tuple[_Part, Samples | None], None, None]:
    """What a player adds to block after block, and with `apart` how that sounds alone."""
    desk = _Desk() if apart else None
    try:
        for part in parts:
            yield part, desk.sum([part]) if desk else None
    finally:
        parts.close()


class _Scratch:
    """Room for the transforms of a block: taken once, since pages from the system cost more than a transform.

    There is room for two parts in turn, since one is added up while the next is made.
    """

    __slots__ = ("_padded", "_parts", "middle")

    def __init__(self) -> None:
        import numpy as np

        self._padded = np.zeros((2, SPAN), np.float32)
        self.middle = np.empty(BINS, np.complex64)
        both = np.empty((2, 2, 2, BINS), np.complex64)
        self._parts = itertools.cycle((both[0], both[1]))

    def part(self) -> Iterator[Spectra]:
        """Where the next part goes: both sides, and what goes to the rooms."""
        return iter(next(self._parts))

    def transform(self, sound: Samples, into: Spectra) -> int:
        """The transform of up to `BLOCK` frames: how many rows it has, one where both sides are the same."""
        import numpy as np

        count = 1 if np.array_equal(*sound.T) else 2
        rows = self._padded[:count]
        rows[:, : len(sound)] = sound.T[:count]
        rows[:, len(sound) : BLOCK] = 0.0
        out: Any = into[:count]  # numpy's types know double precision alone
        np.fft.rfft(rows, norm=_BOTH_WAYS, out=out)
        return count


def _part(
    player: PerformedPlayer, block: Samples, at: int, levels: Levels, scratch: _Scratch
) -> _Part:
    if not block.any():
        return SILENT
    sides: Spectra | None = None
    sent: Spectra | None = None
    for voice, weight in _voices(player, at, len(block)):
        heard = block if weight is None else block * weight[:, None]
        added = _voiced(player.role, voice, heard, levels, scratch if sides is None else _Scratch())
        sides, sent = _total((sides, added.sides)), _total((sent, added.sent))
    return _Part(sides, sent)


def _voiced(role: str, voice: Voice, sound: Samples, levels: Levels, scratch: _Scratch) -> _Part:
    """A block of one instrument through its filters to its place."""
    import numpy as np

    row = strip_of(role, voice.instrument)
    left, right, share = gains(role, voice, levels)
    both, sent = scratch.part()
    spectrum = both[: scratch.transform(sound, both)]
    spectrum *= response(row, voice.instrument.cut_hz, SPAN)
    middle = np.add(spectrum[0], spectrum[-1], out=scratch.middle)
    np.multiply(middle, np.float32(share * row.early), out=sent[0])
    np.multiply(middle, np.float32(share * row.late), out=sent[1])
    np.multiply(spectrum[-1], np.float32(right), out=both[1])
    both[0] *= np.float32(left)
    if row.wide:
        middle *= sides(row.wide, SPAN)
        middle *= np.float32(0.25 * (left + right))
        both[0] += middle
        both[1] -= middle
    return _Part(both, sent if share > 0 else None)


def _path(role: str, voice: Voice) -> tuple[object, ...]:
    row = strip_of(role, voice.instrument)
    return row, voice.instrument.cut_hz, voice.level_db, voice.pan, voice.room


def _voices(
    player: PerformedPlayer, at: int, count: int
) -> Iterator[tuple[Voice, NDArray[np.float32] | None]]:
    """The voices that sound in a block, each with its weight a frame (None for all of it)."""
    import numpy as np

    changes: list[tuple[int, Voice]] = [(-_CHANGE_FRAMES, player.voices[0])]
    for voice in player.voices[1:]:
        if _path(player.role, voice) != _path(player.role, changes[-1][1]):
            changes.append((round(voice.at_s * RATE), voice))
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


class _Desk:
    """Adds up blocks: what a filter or the room rings beyond the end of a block is added to the next."""

    __slots__ = ("_late", "_rest", "_rings", "_sound", "_wet")

    def __init__(self) -> None:
        import numpy as np

        self._wet, self._late = (np.empty((2, BINS), np.complex64) for _ in range(2))
        self._sound = np.empty((2, SPAN), np.float32)
        self._rest = np.empty((OVERHANG, 2), np.float32)
        self._rings = False

    def sum(self, parts: Iterable[_Part]) -> Samples | None:
        """The next `BLOCK` frames, None where they are silent; of a last block that is shorter, its frames count."""
        import numpy as np

        chosen = list(parts)
        spectra = _total(p.sides for p in chosen)
        sent = _total(p.sent for p in chosen)
        if spectra is None and not self._rings:
            return None
        out = np.empty((BLOCK, 2), np.float32)
        if spectra is None:
            out[:OVERHANG] = self._rest
            out[OVERHANG:] = 0.0
            self._rings = False
            return out
        if sent is not None:
            early, late = _rooms()
            wet = np.multiply(sent[:1], early, out=self._wet)
            wet += np.multiply(sent[1:], late, out=self._late)
            spectra = np.add(wet, spectra, out=wet)
        sound: Any = self._sound  # numpy's types know double precision alone
        np.fft.irfft(spectra, SPAN, norm=_BOTH_WAYS, out=sound)
        sound = self._sound.T
        out[:] = sound[:BLOCK]
        if self._rings:
            out[:OVERHANG] += self._rest
        self._rest[:] = sound[BLOCK:]
        self._rings = True
        return out


def _total(items: Iterable[NDArray[Any] | None]) -> NDArray[Any] | None:
    """The sum of what is there, kept in the first of them."""
    total: NDArray[Any] | None = None
    for item in items:
        if total is None:
            total = item
        elif item is not None:
            total += item
    return total
