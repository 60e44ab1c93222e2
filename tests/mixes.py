"""A style's band at the desk: short charts played through the real mix, and what meters say of it.

Conventions: sound as float32 of shape (frames, 2) at 44.1 kHz, at its final level; levels in dB, loudness in LU.
Sources: ITU-R BS.1770-4 for loudness; octave bands as in IEC 61260; what is asked of each figure stands with it.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from backing.band.led import Move
from backing.band.model import Arrangement
from backing.chart.parse import parse
from backing.commands.options import Options
from backing.commands.preparing import band, prepare
from backing.ground.roles import role_of
from backing.output.asked import AS_USUAL
from backing.output.sound import audio, loudness
from backing.output.sound.level import Level, level_for
from backing.output.sound.soundfont import default_soundfont
from backing.output.sound.synth import RATE
from backing.output.sound.tape import MIX, Tape
from backing.performance.model import Performance
from backing.styles.find import find
from tests.generated import KEYS
from tests.listening import heard

Samples = npt.NDArray[np.float32]
# All styles take a quarter of an hour: `EVERY_STYLE=1 pytest -m slow tests/test_balance.py tests/test_arc.py`.
STEP = 1 if os.environ.get("EVERY_STYLE") else 6


def some(styles: Sequence[str]) -> Sequence[str]:
    """Every sixth style where everything runs, all of them on demand: each is rendered."""
    return styles[::STEP]


# Major and minor triads on twelve roots and more; sevenths as blues, jazz and funk have them.
TRIADS = "C | Am | F | G | Em | Dm | Bb | Gm | Eb | Cm | Ab | Fm | D | Bm | A | F#m"
SEVENTHS = "C7 | F7 | Dm7 | G7 | Am7 | D7 | Gm7 | C7 | Fm7 | Bb7 | Cm7 | F7 | Em7 | A7 | Bm7 | E7"
SEVENTH_STYLES = (
    "straight-ahead swing", "fast swing", "two-feel swing", "four-to-the-bar swing", "five-four swing", "jazz ballad",
    "jazz waltz", "bossa nova", "slow blues", "blues shuffle", "funk", "neo-soul", "jive", "second line",
)  # fmt: skip
# Without a third in its chords, as its style says.
NO_THIRDS = frozenset({"fast punk"})
SHORT = "C | Am | F | G7"
SONG = "C | Am | Dm7 | G7 | C | A7 | Dm7 | C"
OCTAVES = (63, 125, 250, 500, 1000, 2000, 4000, 8000)
CHORDAL = ("keys", "guitar", "strings", "horns")
HIGH_HZ = 6000.0
SILENT_DB = -90.0


class Take(NamedTuple):
    """A track at the desk: the band's mix and every player's stem at their final level."""

    performance: Performance
    level: Level
    mix: Samples
    stems: dict[str, Samples]

    @property
    def borders(self) -> list[int]:
        """The frames at which bars begin, and the end of the last."""
        bars = self.performance.arrangement.timeline.bars
        places = [bar.start_q for bar in bars] + [bars[-1].end_q]
        return [round(float(self.performance.tempo.exact_s(q)) * RATE) for q in places]


def played(style: str, bars: str, dynamics: str = "mf", choruses: int = 1) -> Performance:
    """A chart in a style's own meter and usual tempo; without `dynamics` the band's own arc and plan."""
    header = f"key: C\nmeter: {find(style).meters[0]}\nchoruses: {choruses}\n"
    header += "count-in: off\nending: as written\n"
    header += f"dynamics: {dynamics}\nplan: flat\n" if dynamics else ""
    wish = Options().changed(style=style)
    return band(prepare(parse(f"{header}[A]\n| {bars} |\n"), wish), wish)


def take(performance: Performance, soundfont: Path | None = None) -> Take:
    """Render a performance through the desk, with stems, at the usual loudness."""
    font = soundfont or default_soundfont()
    with tempfile.TemporaryDirectory() as folder:
        tape = Tape(Path(folder))
        recording = audio._record(performance, font, tape, True, AS_USUAL, audio.silent)
        level = level_for(tape, recording, AS_USUAL.loudness)
        tracks = tape.span(0, recording.frames)
        tape.close()
    for track in tracks:
        level.apply(track, 0)
    return Take(performance, level, tracks[MIX], dict(zip(recording.roles, tracks, strict=False)))


def lufs(sound: Samples) -> float:
    """Integrated loudness; -70 for silence."""
    meter = loudness.Meter()
    meter.feed(sound)
    return loudness.integrated(meter.energies())


def octaves(sound: Samples) -> npt.NDArray[np.float64]:
    """Power in each band of `OCTAVES`, both sides together."""
    size = 1 << (len(sound) - 1).bit_length()
    power = (np.abs(np.fft.rfft(sound, size, axis=0)) ** 2).sum(axis=1)
    hz = np.fft.rfftfreq(size, 1 / RATE)
    edges = np.searchsorted(hz, [f * 2**0.5 for f in (OCTAVES[0] / 2, *OCTAVES)])
    return np.asarray([power[a:b].sum() / size**2 for a, b in pairwise(edges)])


def db(power: float) -> float:
    return float(10 * np.log10(power + 10 ** (SILENT_DB / 10)))


def thirds_by(performance: Performance) -> frozenset[str]:
    """The players who sound the third of at least half of the chords."""
    chords = len(performance.arrangement.timeline.chords)
    found = set()
    for player in performance.arrangement.players:
        told = {n.chord for n in player.notes if n.degree in ("3", "b3")}
        if role_of(player.role).name in CHORDAL and len(told) >= chords / 2:
            found.add(player.role)
    return frozenset(found)


class Ears(NamedTuple):
    """Shares of the bars in which a listener hears the chord's third, its seventh, and names it by root and third.

    What is played over a walking bass often has no root, and is named by another one; its third and seventh are heard
    all the same where the named chord holds them (and not the other third).
    """

    thirds: float
    sevenths: float
    named: float
    wrong: tuple[str, ...]


def listened(mix: Samples, borders: Sequence[int], performance: Performance) -> Ears:
    """What a listener hears who is told only the borders of the bars; a bar holds one chord.

    The last eighth of a bar often belongs to the next chord, which is pushed (common practice).
    """
    mono = mix.astype(np.float64).mean(axis=1)
    found = np.zeros(3)
    wrong = []
    chords = performance.arrangement.timeline.chords
    for span, (start, end) in zip(chords, pairwise(borders), strict=True):
        assert span.chord is not None
        bar = mono[start : end - (end - start) // 8]
        name = heard(bar, bar[: (end - start) // 3])
        held = {(name.root + degree - span.chord.root.pc) % 12 for degree in name.degrees}
        third, other = (3, 4) if span.chord.family == "minor" else (4, 3)
        right = third in held and other not in held
        found += (right, 10 in held, name.root == span.chord.root.pc and right)
        if not right:
            wrong.append(f"{span.chord.written} as {KEYS[name.root * 5 % 12]} {name.kind}")
    return Ears(*(float(share) for share in found / len(chords)), tuple(wrong))


class Space(NamedTuple):
    """dB: the stem that leans most to one side, what a fold to mono loses, the sides under the middle above 6 kHz."""

    leans: float
    lost: float
    sides: float


def space(taken: Take) -> Space:
    """How wide a mix is."""
    leans = 0.0
    for stem in taken.stems.values():
        left, right = (float(np.mean(stem[:, i].astype(float) ** 2)) for i in (0, 1))
        if max(left, right) > 0:
            leans = max(leans, abs(db(left) - db(right)))
    sound = taken.mix.astype(float)
    size = 1 << (len(sound) - 1).bit_length()
    middle, side = (np.abs(np.fft.rfft(x, size)) ** 2 for x in (sound.sum(1), sound @ (1, -1)))
    high = slice(round(HIGH_HZ * size / RATE), None)
    lost = db(float((middle + side).sum())) - db(float(middle.sum()))
    return Space(leans, lost, db(float(side[high].sum())) - db(float(middle[high].sum())))


def limited(level: Level) -> tuple[float, float]:
    """The most that the limiter takes, and its mean over the track, in dB."""
    if level.curve is None:
        return 0.0, 0.0
    taken = -20 * np.log10(level.curve.astype(float))
    return float(taken.max()), float(taken.mean())


def dropped(arrangement: Arrangement, chorus: int) -> bool:
    """Whether the leader has chord players drop out for a section of a chorus."""
    sections = zip(arrangement.timeline.sections, arrangement.plan.sections, strict=True)
    return any(
        decision.move is Move.DROPS
        for section, plan in sections
        if section.chorus == chorus
        for decision in plan.decisions
    )


def choruses(taken: Take) -> list[float]:
    """The loudness of every chorus without a drop: bass and drums alone are meant to be heard as such."""
    arrangement = taken.performance.arrangement
    sections, borders = arrangement.timeline.sections, taken.borders
    found = []
    for chorus in sorted({s.chorus for s in sections if s.chorus}):
        if dropped(arrangement, chorus):
            continue
        own = [s for s in sections if s.chorus == chorus]
        found.append(lufs(taken.mix[borders[own[0].first - 1] : borders[own[-1].last]]))
    return found


def brightness(sound: Samples) -> float:
    """The centroid of the power spectrum, in octaves above 1 Hz."""
    power = octaves(sound)
    return float(np.log2((power * OCTAVES).sum() / power.sum()))
