"""Notes to sound: every player alone, dry, at 44.1 kHz.

Conventions: frames are sample pairs (left, right) from the start of the sound; float32, full scale 1.0, not limited.
FluidSynth computes 64 frames at a time and starts a note with the next such block, so onsets are placed on the block
that lies nearest: at most 32 frames (0.73 ms) from their place, an order below what is heard as out of place. At an
*anchor* (the start of a pass) the blocks begin anew, so there the place is exact.

Each player has a synth of its own with FluidSynth's reverb and chorus off, on the player's own General MIDI channel,
volume and pan untouched: the mix has its own. What `fonts` knows of the soundfont is mended here: keys that are out of
tune, and forte that is only louder. A synth without sounding voices costs nothing: its silence is not
computed.
"""

from __future__ import annotations

import math
import os
from array import array
from bisect import bisect_right
from collections.abc import Generator, Iterator, Mapping, Sequence
from ctypes import c_double, c_void_p
from pathlib import Path
from typing import TYPE_CHECKING, Any

from backing.ground.errors import AudioUnavailable
from backing.ground.roles import CHANNELS, pitched
from backing.output.notes import apart
from backing.output.sound import engine, fonts
from backing.output.sound.engine import engine_path
from backing.output.sound.soundfont import default_soundfont, find
from backing.performance.model import Performance, PerformedPlayer

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Sound = NDArray[np.float32]  # (frames, 2)
    Block = dict[str, Sound]

__all__ = ["RATE", "default_soundfont", "engine_path", "player_blocks", "render", "render_blocks"]

RATE = 44_100
GRAIN = 64  # frames that FluidSynth computes at a time
BLOCK = 1152 * GRAIN  # frames of a block, 1.67 s
_PIECE = 256 * GRAIN
_LONGEST_RING = 50  # pieces
VOICES = 96
GAIN = 0.6  # of the synth: a lone loud note peaks near half of full scale
_SETTINGS = (
    ("synth.reverb.active", 0),
    ("synth.chorus.active", 0),
    ("synth.cpu-cores", 1),
    ("synth.threadsafe-api", 0),
    ("synth.lock-memory", 0),
    ("synth.dynamic-sample-loading", 1),  # of a font only what is played
)

# FluidSynth's numbers: a modulator's source, its shape (from 1 down to 0, in a straight line), its goal, how it is added
_VELOCITY, _NEGATIVE, _CUTOFF, _IN_ITS_PLACE = 2, 1, 8, 0
_SPARE = 15  # the channel for keys that others play
_CENTRE, _SEMITONE = 8192, 4096  # of a pitch wheel with its usual range of two semitones
OFF, PROGRAM, ON, GESTURE = range(4)  # order of events at one frame
ALL_KEYS = 255  # what a gesture is for: all keys, otherwise the one that is choked
_EXPRESSION = 11  # controller
_RELEASE, _AT_ONCE = (
    38,
    -5000.0,
)  # FluidSynth's number for how long a voice dies away; 0.06 s in its cents of a second
_MOST_VOICES = 256


def event_of(frame: int, order: int, number: int, velocity: int = 0) -> int:
    """One number an event, sorted as events are: an hour of music has several hundred thousand of them."""
    return frame << 18 | order << 16 | number << 8 | velocity


def frames_of(performance: Performance) -> int:
    """Length of the sound in frames."""
    return round(performance.duration_s * RATE)


def render_blocks(
    performance: Performance,
    soundfont: str | os.PathLike[str] | None = None,
    *,
    a4: float = 440.0,
    block: int = BLOCK,
) -> Iterator[Block]:
    """Blocks of dry sound, each a float32 array of shape (n, 2) a player. Raises `AudioUnavailable`.

    Every block has `block` frames but the last, which ends with the performance.
    """
    path = find(soundfont)
    total = frames_of(performance)
    sources = {
        p.role: player_blocks(p, path, total, a4=a4, block=block) for p in performance.players
    }
    try:
        for _ in range(0, total, block):
            yield {role: next(source) for role, source in sources.items()}
    finally:
        for source in sources.values():
            source.close()


def render(
    performance: Performance,
    soundfont: str | os.PathLike[str] | None = None,
    *,
    a4: float = 440.0,
) -> Block:
    """The whole dry sound in memory, an array a player. Raises `AudioUnavailable`."""
    import numpy as np

    blocks = list(render_blocks(performance, soundfont, a4=a4))
    return {p.role: np.concatenate([b[p.role] for b in blocks]) for p in performance.players}


def player_blocks(
    player: PerformedPlayer,
    soundfont: Path,
    total: int,
    *,
    a4: float = 440.0,
    block: int = BLOCK,
    anchors: Sequence[int] = (),
    voices: int = VOICES,
    font: fonts.Font | None = None,
) -> Generator[Sound, None, None]:
    """One player's dry sound, `total` frames in blocks.

    `anchors` are frames at which a pass starts and the grain begins anew; what rings there is added to the next pass.
    With all `voices` sounding, a new note ends the oldest. `font` is what is known of the soundfont, None for all of it.
    """
    import numpy as np

    starts = [0, *(a for a in sorted(set(anchors)) if 0 < a < total)]
    waiting = _passes(player, starts)
    synth = Synth(soundfont, player.role, a4, voices)
    rings: list[tuple[int, Sound]] = []  # what earlier passes ring into later ones
    try:
        for at in range(0, total, block):
            out = np.zeros((min(block, total - at), 2), np.float32)
            end = at + len(out)
            while True:
                border = waiting[1].start if len(waiting) > 1 else total
                waiting[0].play(synth, out[: border - at], at)
                if border >= end:
                    break
                rings += waiting.pop(0).ring(synth, border, total)
            for start, ring in rings:
                first, last = max(start, at), min(start + len(ring), end)
                if first < last:
                    out[first - at : last - at] += ring[first - start : last - start]
            rings = [(start, ring) for start, ring in rings if start + len(ring) > end]
            yield out
    finally:
        synth.close()


def _passes(player: PerformedPlayer, starts: Sequence[int]) -> list[_Pass]:
    """The player's events, parted at `starts`, with onsets on grains counted from there."""

    def grain(seconds: float, start: int) -> int:
        return start + GRAIN * round((seconds * RATE - start) / GRAIN)

    def notes() -> Iterator[tuple[int, int, int, int]]:
        for n in player.notes:
            start = starts[bisect_right(starts, round(n.onset_s * RATE)) - 1]
            yield grain(n.onset_s, start), grain(n.release_s, start), n.pitch, n.velocity

    events: list[list[int]] = [[] for _ in starts]
    for onset, release, pitch, velocity in apart(notes(), GRAIN):
        i = bisect_right(starts, onset) - 1
        release = starts[i] + -(-(release - starts[i]) // GRAIN) * GRAIN
        events[i].append(event_of(onset, ON, pitch, velocity))
        events[i].append(event_of(release, OFF, pitch))
    for g in player.gestures:
        i = bisect_right(starts, round(g.at_s * RATE)) - 1
        at = grain(g.at_s, starts[i])
        events[i].append(event_of(at, GESTURE, g.key if g.key >= 0 else ALL_KEYS, g.value))
    for i, start in enumerate(starts):
        end = starts[i + 1] if i + 1 < len(starts) else math.inf
        program = player.voices[0].instrument.program
        for voice in player.voices:
            if voice.at_s * RATE <= start:
                program = voice.instrument.program
            elif voice.at_s * RATE < end:
                at = grain(voice.at_s, start)
                events[i].append(event_of(at, PROGRAM, voice.instrument.program))
        events[i].append(event_of(start, PROGRAM, program))
    return [
        _Pass(start, array("q", sorted(part))) for start, part in zip(starts, events, strict=True)
    ]


class _Pass:
    """Events from `start` on and how far they have been played."""

    __slots__ = ("_at", "_events", "_next", "start")

    def __init__(self, start: int, events: array[int]) -> None:
        self.start = start
        self._at = start
        self._events = events
        self._next = 0

    @property
    def over(self) -> bool:
        """No event is left; what sounds may still ring."""
        return self._next == len(self._events)

    def play(self, synth: Synth, out: Sound, origin: int) -> None:
        """Fill `out`, whose first frame is frame `origin` of the sound."""
        end = origin + len(out)
        events = self._events
        if self._at == self.start:
            synth.align()
        while self._at < end:
            while not self.over and events[self._next] >> 18 <= self._at:
                synth.do(events[self._next])
                self._next += 1
            until = end if self.over else min(end, events[self._next] >> 18)
            count = until - self._at
            into = (self._at - self.start) % GRAIN
            if not into and count >= GRAIN and not synth.voices():
                self._at += count - count % GRAIN
            else:
                synth.write(out, self._at - origin, count)
                self._at = until

    def ring(self, synth: Synth, at: int, total: int) -> Iterator[tuple[int, Sound]]:
        """What sounds from frame `at` on until the synth is silent, in pieces with their first frames."""
        import numpy as np

        while at < total and not (self.over and not synth.voices()):
            piece = np.zeros((min(_PIECE, total - at), 2), np.float32)
            self.play(synth, piece, at)
            yield at, piece
            at += len(piece)


class Synth:
    """One FluidSynth, dry, with one soundfont, for one role.

    It may borrow the soundfont that another one has loaded, where both are used by one thread and the lender is closed
    after it: FluidSynth counts who uses a sample without a lock.
    """

    __slots__ = (
        "_a4_cents", "_borrowed", "_channel", "_fluid", "_font", "_phase", "_pitched", "_settings", "_silent", "_synth", "_write",
    )  # fmt: skip

    def __init__(
        self,
        soundfont: Path,
        role: str,
        a4: float,
        voices: int,
        font: fonts.Font | None = None,
        lender: Synth | None = None,
    ) -> None:
        self._fluid: Any = engine.load()
        fluid = self._fluid
        self._write = fluid._fl.fluid_synth_write_float
        self._channel = CHANNELS[role]
        self._phase = 0
        self._settings = fluid.new_fluid_settings()
        for name, value in _SETTINGS:
            fluid.fluid_settings_setint(self._settings, name.encode(), value)
        fluid.fluid_settings_setint(self._settings, b"synth.polyphony", voices)
        fluid.fluid_settings_setnum(self._settings, b"synth.gain", GAIN)
        fluid.fluid_settings_setnum(self._settings, b"synth.sample-rate", float(RATE))
        self._synth = fluid.new_fluid_synth(self._settings)
        if not self._synth:
            fluid.delete_fluid_settings(self._settings)
            raise AudioUnavailable("the sound engine could not be started")
        self._borrowed: Any = None
        if lender is not None:
            for channel in range(16):  # else the piano would be loaded for each of them
                fluid._fl.fluid_synth_unset_program(self._synth, channel)
            self._borrowed = fluid._fl.fluid_synth_get_sfont(lender._synth, 0)
            fluid._fl.fluid_synth_add_sfont(self._synth, self._borrowed)
        elif fluid.fluid_synth_sfload(self._synth, os.fsencode(soundfont), 0) < 0:
            self.close()
            raise AudioUnavailable(f"the sound engine cannot read the soundfont {soundfont}")
        self._font = font or fonts.known(soundfont)
        self._pitched = pitched(role)
        self._silent: dict[int, int] = {}
        self._a4_cents = 1200 * math.log2(a4 / 440.0) if self._pitched else 0.0

    @property
    def levels(self) -> Mapping[str, float]:
        """What was measured of how loud the font's instruments are."""
        return self._font.levels

    def do(self, event: int) -> None:
        kind, number, velocity = event >> 16 & 3, event >> 8 & 255, event & 255
        channel = self._channel
        if kind != PROGRAM and number in self._silent:
            channel, number = _SPARE, self._silent[number]
        if kind == ON:
            self._fluid.fluid_synth_noteon(self._synth, channel, number, velocity)
        elif kind == OFF:
            self._fluid.fluid_synth_noteoff(self._synth, channel, number)
        elif kind == GESTURE:
            self._shape(number, velocity)
        else:
            self._fluid.fluid_synth_program_change(self._synth, channel, number)
            self._tune(number)
            self.soften(self._font.cutoff_cents(number, pitched=self._pitched))

    def _shape(self, key: int, value: int) -> None:
        """How loud everything that sounds is from now on, or one key choked."""
        library = self._fluid._fl
        if key == ALL_KEYS:
            library.fluid_synth_cc(self._synth, self._channel, _EXPRESSION, value)
            return
        voices = (c_void_p * _MOST_VOICES)()
        library.fluid_synth_get_voicelist(self._synth, voices, _MOST_VOICES, -1)
        for voice in filter(None, voices):
            if library.fluid_voice_get_key(voice) == key:
                library.fluid_voice_gen_set(voice, _RELEASE, _AT_ONCE)
                library.fluid_voice_update_param(voice, _RELEASE)
        self._fluid.fluid_synth_noteoff(self._synth, self._channel, key)

    def _tune(self, program: int) -> None:
        """Put the keys of a program where they belong; tunings are numbered by their programs."""
        if not self._pitched:
            return
        fluid, font, all_off = self._fluid, self._font, self._a4_cents
        keys = (c_double * 128)(*(100 * k + all_off - font.cents(program, k) for k in range(128)))
        fluid.fluid_synth_activate_key_tuning(self._synth, 0, program, b"", keys, 0)
        fluid.fluid_synth_activate_tuning(self._synth, self._channel, 0, program, 0)
        if self._silent:  # what is still held there is not heard of any more
            fluid.fluid_synth_all_notes_off(self._synth, _SPARE)
        self._silent = font.silent.get(program, {})
        for key, stand_in in self._silent.items():  # a tuning would choose the missing sample again
            fluid.fluid_synth_program_change(self._synth, _SPARE, program)
            fluid.fluid_synth_activate_tuning(self._synth, _SPARE, 0, program, 0)
            fluid.fluid_synth_pitch_bend(
                self._synth, _SPARE, _CENTRE + _SEMITONE * (key - stand_in)
            )

    def soften(self, cents: int) -> None:
        """From now on the filter of a new note closes with its velocity, at most by so much."""
        library = self._fluid._fl
        modulator = library.new_fluid_mod()
        library.fluid_mod_set_source1(modulator, _VELOCITY, _NEGATIVE)
        library.fluid_mod_set_source2(modulator, 0, 0)
        library.fluid_mod_set_dest(modulator, _CUTOFF)
        library.fluid_mod_set_amount(modulator, float(-cents))
        library.fluid_synth_add_default_mod(self._synth, modulator, _IN_ITS_PLACE)
        library.delete_fluid_mod(modulator)

    def voices(self) -> int:
        """How many voices sound or still die away."""
        return int(self._fluid.fluid_synth_get_active_voice_count(self._synth))

    def write(self, out: Sound, at: int, count: int) -> None:
        """Compute `count` frames into `out` from frame `at` on."""
        address = out.ctypes.data
        self._write(self._synth, count, address, 2 * at, 2, address, 2 * at + 1, 2)
        self._phase = (self._phase + count) % GRAIN

    def hush(self) -> None:
        """End everything that sounds, and go on until it is still."""
        import numpy as np

        self._fluid.fluid_synth_all_sounds_off(self._synth, self._channel)
        rest = np.zeros((_PIECE, 2), np.float32)
        for _ in range(_LONGEST_RING):
            self.write(rest, 0, len(rest))
            if not self.voices():
                break

    def align(self) -> None:
        """Go on to the start of a grain; the synth is silent when this is asked."""
        if self._phase:
            import numpy as np

            self.write(np.zeros((GRAIN, 2), np.float32), 0, GRAIN - self._phase)

    def close(self) -> None:
        if self._borrowed:
            self._fluid._fl.fluid_synth_remove_sfont(self._synth, self._borrowed)
        self._fluid.delete_fluid_synth(self._synth)
        self._fluid.delete_fluid_settings(self._settings)
