"""A performance as sound files: rendered once, written in every format, with and without players.

First the players are rendered, filtered and summed, in blocks, onto a tape on disk, and the sum is measured.
Then the one gain that brings the whole band to its loudness is known, and every file reads the tape back through it
and the limiter, all at once. Stems and mixes without a player share that gain, so they add up.

A loop is rendered with the ring of its end, which is then folded into its start; its length is exact.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from threading import Event, Lock, Semaphore, Thread
from typing import TYPE_CHECKING

from backing.ground.errors import OutputError
from backing.ground.roles import file_part
from backing.output import memory
from backing.output.asked import AS_USUAL, Sound
from backing.output.files import claim, refusal, whole
from backing.output.sound import encode, limit, mix
from backing.output.sound.encode import ENCODED
from backing.output.sound.encoder import encoder_path
from backing.output.sound.level import Level, Recording, level_for
from backing.output.sound.loudness import Meter
from backing.output.sound.soundfont import find
from backing.output.sound.synth import BLOCK, RATE, frames_of
from backing.output.sound.tags import THE_BAND, Label, tags_of
from backing.output.sound.tape import MIX, Tape, together
from backing.performance.model import Performance

if TYPE_CHECKING:
    from backing.output.sound.synth import Sound as Samples

Progress = Callable[[float, str], None]

STEM_BITS = 24  # fine enough that rounded stems still add up to the mix
END_FADE_S = 1.0  # at the very end, under the last of the ring
RENDERED = 0.85  # share of the work that is rendering
WAIT_S = 0.05


@dataclass(frozen=True, slots=True)
class Output:
    """A file to write: of the whole band (`roles` None) or of some players."""

    path: Path
    roles: frozenset[str] | None = None
    bits: int = 16
    label: Label = THE_BAND


def silent(share: float, words: str) -> None:
    """No progress is shown."""


def stem_outputs(
    performance: Performance, beside: Path, ending: str, label: Label = THE_BAND
) -> list[Output]:
    """A stem a player, named after a file beside it: `tune.mp3` gives `tune-bass.wav`."""
    return [
        Output(
            beside.with_name(f"{beside.stem}-{file_part(p.role)}{ending}"),
            frozenset({p.role}),
            STEM_BITS,
            replace(label, player=p.role),
        )
        for p in performance.players
        if p.voices
    ]


def write_audio(
    performance: Performance,
    paths: Sequence[str | os.PathLike[str]],
    sound: Sound = AS_USUAL,
    *,
    stems: bool = False,
    stems_as: str = "wav",
    also: Sequence[Output] = (),
    label: Label = THE_BAND,
    force: bool = False,
    progress: Progress = silent,
) -> list[Path]:
    """Write the band's mix to each of `paths` by its ending, and stems beside the first; returns their paths.

    `label` says what the mix is called; the stems are called so too, each with its player. `also` is written from the
    same rendering.

    Raises `OutputError`, `AudioUnavailable`.
    """
    outputs = [Output(Path(p), bits=sound.bits, label=label) for p in paths]
    if stems and outputs:
        outputs += stem_outputs(performance, outputs[0].path, f".{stems_as}", label)
    write_outputs(
        performance,
        [*outputs, *also],
        sound,
        force=force,
        progress=progress,
    )
    return [o.path for o in outputs]


def write_outputs(
    performance: Performance,
    outputs: Sequence[Output],
    sound: Sound = AS_USUAL,
    *,
    force: bool = False,
    progress: Progress = silent,
) -> None:
    """Render once and write every output. Raises `OutputError`, `AudioUnavailable`."""
    if not outputs:
        return
    memory.enough()
    memory.keep()
    _no_two_alike([o.path for o in outputs])
    for output in outputs:
        claim(output.path, force=force)
    if any(o.path.suffix.lower() in ENCODED for o in outputs):
        encoder_path()  # what is missing is said before the work begins
    font = find(sound.soundfont)
    apart = any(o.roles is not None for o in outputs)
    with ExitStack() as stack:
        try:
            tape = Tape(outputs[0].path.absolute().parent)
        except OSError as error:
            raise refusal(outputs[0].path, error) from error
        stack.callback(tape.close)
        try:
            recording = _record(performance, font, tape, apart, sound, progress)
        except OSError as error:
            raise refusal(outputs[0].path, error) from error
        memory.give_back()  # of the synths; encoders are about to want it
        level = level_for(tape, recording, sound.loudness)
        _write(performance, outputs, recording, Playback(tape, recording, level), force, progress)
    progress(1.0, "done")


def _no_two_alike(paths: Sequence[Path]) -> None:
    """Make sure that no file would be written twice, on a disk that folds case either. Raises `OutputError`."""
    seen: dict[str, Path] = {}
    for path in paths:
        place = os.path.realpath(path).casefold()
        if place in seen:
            raise OutputError(
                f"{path} would be written twice, also as {seen[place]}; give each file a name of its own"
            )
        seen[place] = path


def _record(
    performance: Performance,
    font: Path,
    tape: Tape,
    apart: bool,
    sound: Sound,
    progress: Progress,
) -> Recording:
    """Render everything onto the tape and measure it."""
    import numpy as np

    players = [p for p in performance.players if p.voices]
    total = frames_of(performance)
    ends = round(performance.tempo.exact_s(performance.arrangement.timeline.length_q) * RATE)
    frames = ends if sound.loop else total
    starts = round(performance.count_in_s * RATE)
    peaks = np.zeros(-(-frames // limit.GRAIN), np.float32)
    meter = Meter()

    def measure(at: int, band: Samples) -> None:
        meter.feed(band)
        grains = slice(at // limit.GRAIN, -(-(at + len(band)) // limit.GRAIN))
        peaks[grains] = limit.sample_peaks(band)

    anchors = [round(at_s * RATE) for at_s in performance.passes_s]
    source = mix.tracks(players, font, total, apart=apart, sound=sound, anchors=anchors)
    try:
        at = 0
        for tracks in source:
            count = min(BLOCK, total - at)
            _fade(performance, tracks, at, count, total)
            tape.append(tracks, count)
            if not sound.loop:
                measure(at, together(tracks[MIX:], count))
            at += count
            progress(RENDERED * at / total, "playing")
        if sound.loop:
            fold(tape, starts, ends, total)
            for at in range(0, ends, BLOCK):
                measure(at, tape.span(at, min(at + BLOCK, ends), (MIX,))[0])
    finally:
        source.close()
    return Recording(
        frames,
        (starts, ends) if sound.loop else None,
        tuple(p.role for p in players),
        peaks,
        meter.energies(),
        font.stem,
    )


def _fade(
    performance: Performance, tracks: Sequence[Samples | None], at: int, count: int, total: int
) -> None:
    """Fade the end of the ring, and the whole band where the tune fades out."""
    import numpy as np

    end = at + count
    start = total - round(END_FADE_S * RATE)
    out = None if performance.fade_s is None else round(performance.fade_s * RATE)
    if end <= start and (out is None or end <= out):
        return
    frames = np.arange(at, end, dtype=np.float64)
    gain = np.cos(np.clip((frames - start) / (total - start), 0, 1) * np.pi / 2) ** 2
    if out is not None:
        gain *= np.clip(1 - (frames - out) / max(1, total - out), 0, 1) ** 2
    weights = gain.astype(np.float32)[:, None]
    for track in tracks:
        if track is not None:
            track *= weights


def fold(tape: Tape, start: int, end: int, total: int) -> None:
    """Add what rings after frame `end` to the frames from `start` on, and cut the tape at `end`.

    A ring that is longer than the loop goes round more than once.
    """
    for at in range(end, total, end - start):
        ring = tape.span(at, min(total, at + end - start))
        tape.add(start, ring)
    tape.cut(end)


@dataclass(frozen=True, slots=True)
class Playback:
    """A tape at its level: the whole band (`roles` None) or some players."""

    tape: Tape
    recording: Recording
    level: Level
    roles: frozenset[str] | None = None

    @property
    def frames(self) -> int:
        return self.recording.frames

    def sound(self, start: int, end: int) -> Samples:
        """Frames from `start`, the border of a grain, to `end`."""
        if self.roles is None:
            tracks = [MIX]
        else:
            tracks = [i for i, role in enumerate(self.recording.roles) if role in self.roles]
        sound = together(self.tape.span(start, end, tracks), end - start)
        self.level.apply(sound, start)
        return sound


def _write(
    performance: Performance,
    outputs: Sequence[Output],
    recording: Recording,
    playback: Playback,
    force: bool,
    progress: Progress,
) -> None:
    """Play the tape back at its level into every output, several at once."""
    turns = Semaphore(
        (os.cpu_count() or 1) + 1
    )  # more encoders at once are no faster, and each takes memory
    with ExitStack() as stack:
        pens = []
        for output in outputs:
            part = stack.enter_context(whole(output.path, force=force))
            pen = _Pen(
                output.path,
                turns,
                partial(
                    encode.write,
                    part,
                    output.path.suffix.lower(),
                    replace(playback, roles=output.roles),
                    tags_of(performance, output.label, recording.soundfont),
                    bits=output.bits,
                    loop=recording.loop,
                ),
            )
            stack.callback(pen.stop)
            pens.append(pen)
        for pen in pens:
            pen.start()
        progress(RENDERED, "writing")
        while waiting := [pen for pen in pens if pen.busy()]:
            done = sum(pen.done for pen in pens) / (len(pens) * recording.frames)
            progress(RENDERED + (1 - RENDERED) * done, "writing")
            waiting[0].wait()


class _Stopped(Exception):
    """Nobody waits for this file any longer."""


class _Pen:
    """A file that is written in a thread of its own when its turn comes, so that one format does not wait for another."""

    def __init__(self, path: Path, turns: Semaphore, write: Callable[..., None]) -> None:
        self.done = 0  # frames
        self._path = path
        self._turns = turns
        self._writer: encode.Writer | None = None
        self._write = write
        self._stopped = Event()
        # An interrupted `join` with a time limit takes the thread for ended (Python 3.11).
        self._over = Event()
        self._lock = Lock()
        self._error: BaseException | None = None
        self._thread = Thread(target=self._run, daemon=True)

    def start(self) -> None:
        """Begin to write."""
        self._thread.start()

    def wait(self) -> None:
        """Wait until it is finished, but not long."""
        self._over.wait(WAIT_S)

    def busy(self) -> bool:
        """Whether there is more to write; what went wrong is raised here."""
        busy = not self._over.is_set()
        if isinstance(self._error, OSError):
            raise refusal(self._path, self._error) from self._error
        if self._error is not None:
            raise self._error
        return busy

    def stop(self) -> None:
        """Stop where it is, also where an encoder does not move."""
        self._stopped.set()
        if self._writer is not None and not self._over.is_set():
            self._writer.hurry()
        if self._thread.ident is not None:
            self._thread.join()

    def _begin(self, writer: encode.Writer) -> None:
        self._writer = writer
        self._tell(0)

    def _tell(self, frames: int) -> None:
        if self._stopped.is_set():
            raise _Stopped
        with self._lock:
            self.done += frames

    def _run(self) -> None:
        try:
            with self._turns:
                self._tell(0)
                self._write(tell=self._tell, begun=self._begin)
        except BaseException as error:  # handed to the thread that waits
            self._error = error
        finally:
            self._over.set()
