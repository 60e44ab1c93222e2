"""A chord as a bassist hears it: what stands below, what is strong, what connects.

Conventions: pitch classes count from C; everything named `_rel` counts semitones above the chord's root. A written
degree of a riff means the chord's own degree: 3 is its third, 5 its fifth (altered where the chord alters it), 7 its
seventh or else its sixth, and over a plain triad that of the scale, while b7 there is as written; 6 is a major sixth, and where the key has it flat, or the fifth is raised, a figure that
climbs to the sixth climbs to the seventh. Over a bass that is foreign to its chord (F/G) the fifth is that of the bass.
Sources: lines are built from chord tones on strong places and connecting tones between them
(Fitzgerald, walking bass basics); `harmony.scales` for what connects; an altered fifth is never played perfect, and
the minor form of a boogie runs root, third, fifth, seventh (common practice).
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from backing.ground.pitch import Degree, Key
from backing.harmony.scales import key_pitch_classes, scale_for
from backing.harmony.symbol import Chord

# Semitones of the steps 0 (unused) to 7 where neither chord nor scale has them.
_USUAL = (0, 0, 2, 4, 5, 7, 9, 10)
# Semitones above the root of a bass that turns its chord into an upper structure (F/G, Dm7/G, C/A).
_FOREIGN = (2, 5, 9)
RUBS = ("b13", "#11")  # against the natural fifth
_NAMES = ("1", "b2", "2", "b3", "3", "4", "b5", "5", "b6", "6", "b7", "7")


class Tones(NamedTuple):
    """One chord in one key.

    `bass` and `root` are pitch classes; `chord_rel` and `scale_rel` are bit masks over semitones above the root;
    `degrees` gives the semitones for each step 1 to 7; `names` spells every semitone above the root.
    """

    bass: int
    root: int
    slash: bool
    chord_rel: int
    scale_rel: int
    degrees: tuple[int, ...]  # index is the step, 0 unused
    seventh: bool  # whether the chord has a seventh or a sixth that stands for it
    names: tuple[str, ...]
    bass_name: str

    def name(self, pitch: int) -> str:
        """The degree that a pitch is in this chord."""
        return self.names[(pitch - self.root) % 12]

    def is_chord_tone(self, pitch: int) -> bool:
        return bool(self.chord_rel >> ((pitch - self.root) % 12) & 1)

    def is_scale_tone(self, pitch: int) -> bool:
        return bool(self.scale_rel >> ((pitch - self.root) % 12) & 1)

    def semitones(self, degree: str) -> int:
        """Semitones above the root for a degree as a riff writes it; `8` and `9` reach into the next octave.

        A sharp or flat that the chord does not have itself is played as written (a passing note), except on a
        seventh where the chord has one, or a sixth in its place.
        """
        written = Degree.parse(degree)
        octave, step = divmod(written.number - 1, 7)
        own = self.degrees[step + 1]
        if written.alter == 0 or (step == 6 and self.seventh):
            return own + 12 * octave
        return written.semitones

    def above_bass(self, degree: str) -> int:
        """Semitones from the bass of the chord to a degree; `-` before it is the octave below, `'` behind it one above."""
        name = degree.strip("-'")
        if name in ("1", "8"):
            rel = 12 if name == "8" else 0
        else:
            rel = self.semitones(name)
            if self.slash:  # above the written bass, wherever the root is
                rel = (self.root + rel - self.bass) % 12 + 12 * (rel // 12)
        return rel + 12 * (degree.count("'") - degree.count("-"))


def _scale(chord: Chord, key: Key, following: Chord | None) -> list[tuple[int, int]]:
    """Numbers and semitones of the chord's scale; a plain triad on the fifth of a key has the key's seventh (G in C: F)."""
    found = [(d.number, d.semitones) for d in scale_for(chord, key, following).degrees]
    home = {(pc - chord.root.pc) % 12 for pc in key_pitch_classes(key)}
    if chord.family == "major" and len(chord.degrees) == 3 and 10 in home and 11 not in home:
        found = [(number, 10 if number == 7 else semitones) for number, semitones in found]
    return found


def _fifth_rubs(chord: Chord, colours: tuple[Degree, ...]) -> bool:
    """Whether a natural fifth would stand a half step from what the band plays."""
    if chord.bass is not None or all(d.name != "5" or d in chord.must_sound for d in chord.degrees):
        return False
    return any(d.name in RUBS for d in (*chord.degrees, *colours))


@lru_cache(maxsize=8192)
def tones(
    chord: Chord, key: Key, following: Chord | None = None, colours: tuple[Degree, ...] = ()
) -> Tones:
    """The chord as a bassist hears it in a key, before the chord that follows.

    Beside a flat thirteenth or a sharp eleventh, written or among the `colours` of the band, its natural fifth is left
    alone: what goes to the fifth goes to the octave, or to the root below.
    """
    root = chord.root.pc
    own: dict[int, int] = {}  # step -> semitones above the root
    chord_rel = scale_rel = 1
    names = list(_NAMES)
    for degree in chord.degrees:
        rel = degree.semitones % 12
        own.setdefault((degree.number - 1) % 7 + 1, rel)
        names[rel] = degree.name
        scale_rel |= 1 << rel
        if degree.number <= 7:
            chord_rel |= 1 << rel
    usual = list(_USUAL)
    for number, semitones in _scale(chord, key, following):
        usual[number] = semitones
        scale_rel |= 1 << semitones % 12
    if chord.family == "suspended":
        usual[3] = own.get(4, own.get(2, 5))
    elif chord.family == "power":
        usual[3] = 7
    if 6 in own:
        usual[7] = own[6]
    if chord.family == "diminished":
        usual[6] = 9  # what its seventh sounds as
    elif usual[6] == 8 or (own.get(5) == 8 and 7 in own):
        usual[6] = own.get(7, usual[7])
    bass = chord.lowest.pc
    if (bass - root) % 12 in _FOREIGN and not chord_rel >> (bass - root) % 12 & 1:
        fifth = (bass - root + 7) % 12
        if scale_rel >> fifth & 1:
            own[5] = fifth
    chord_rel |= 1 << (bass - root) % 12
    scale_rel |= 1 << (bass - root) % 12
    seventh = 7 in own or 6 in own
    if _fifth_rubs(chord, colours):
        chord_rel &= ~(1 << 7)
        scale_rel &= ~(1 << 7)
        own[5] = 12
    steps = tuple(own.get(step, usual[step]) for step in range(8))
    return Tones(
        bass, root, chord.bass is not None and bass != root, chord_rel, scale_rel, steps, seventh,
        tuple(names), chord.lowest.name,
    )  # fmt: skip
