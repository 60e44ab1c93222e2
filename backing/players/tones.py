"""A chord as a bassist hears it: what stands below, what is strong, what connects.

Conventions: pitch classes count from C; everything named `_rel` counts semitones above the chord's root. A written
degree of a riff means the chord's own degree: 3 is its third, 5 its fifth (altered where the chord alters it), 7 its
seventh or else its sixth. Sources: lines are built from chord tones on strong places and connecting tones between them
(Fitzgerald, walking bass basics); the scale of a chord is its own degrees filled up with the notes of the key, and an
altered fifth is never played perfect (common practice).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from backing.harmony.symbol import Chord
from backing.pitch import FIFTHS_OF_LETTER, LETTER_SEMITONES, LETTERS, Degree, Key

# What may fill a step that the chord does not name: number, lowest and highest semitones, semitones without a key.
_STEPS = ((2, 1, 2, 2), (3, 3, 4, 4), (4, 5, 6, 5), (5, 7, 7, 7), (6, 8, 9, 9), (7, 10, 11, 10))
_DIMINISHED = {2: 2, 4: 5, 6: 8, 7: 11}  # whole and half steps by turns
_NAMES = ("1", "b2", "2", "b3", "3", "4", "b5", "5", "b6", "6", "b7", "7")


@dataclass(frozen=True, slots=True)
class Tones:
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
        seventh, which is always the chord's own.
        """
        written = Degree.parse(degree)
        octave, step = divmod(written.number - 1, 7)
        own = self.degrees[step + 1]
        if written.alter == 0 or step == 6:
            return own + 12 * octave
        return written.semitones


@lru_cache(maxsize=8192)
def tones(chord: Chord, key: Key) -> Tones:
    """The chord as a bassist hears it in a key."""
    root = chord.root
    own: dict[int, list[int]] = {}  # step -> semitones above the root
    chord_rel = 0
    names = list(_NAMES)
    for degree in chord.degrees:
        rel = degree.semitones % 12
        own.setdefault((degree.number - 1) % 7 + 1, []).append(rel)
        names[rel] = degree.name
        if degree.number <= 7:
            chord_rel |= 1 << rel
    scale_rel = 1
    for degree in chord.degrees:
        scale_rel |= 1 << degree.semitones % 12
    suspended = chord.family == "suspended"
    steps = [0, 0]
    in_key = _DIMINISHED if chord.family == "diminished" else _key_steps(root.pc, root.letter, key)
    for number, low, high, usual in _STEPS:
        if number in own:
            steps.append(own[number][0])
            continue
        found = in_key.get(number, -1)
        semitones = found if low <= found <= high else usual
        if number not in (3, 5) or chord.family not in ("suspended", "power"):
            scale_rel |= 1 << semitones % 12
        if number == 3 and suspended:
            semitones = own.get(4, own.get(2, [5]))[0]
        elif number == 7 and chord.quality == "":
            semitones = own.get(6, [9])[
                0
            ]  # a plain triad takes its sixth where a riff asks for a seventh
        elif number == 7 and 6 in own:
            semitones = own[6][0]
        steps.append(semitones)
    if chord.family == "diminished":
        scale_rel |= (
            1 << 11
        )  # the eighth note of the scale: its seventh is the chord's sixth by sound
    bass = chord.lowest.pc
    if chord.bass is not None:
        chord_rel |= 1 << (bass - root.pc) % 12
        scale_rel |= 1 << (bass - root.pc) % 12
    return Tones(
        bass, root.pc, chord.bass is not None and bass != root.pc, chord_rel, scale_rel, tuple(steps),
        tuple(names), chord.lowest.name,
    )  # fmt: skip


@lru_cache(maxsize=1024)
def _key_steps(root: int, letter: str, key: Key) -> dict[int, int]:
    """Step above the root -> semitones of the key's note on that letter (a minor key has its natural notes)."""
    found: dict[int, int] = {}
    for other in LETTERS:
        # A key of n fifths sharpens or flattens a letter according to its place on the line of fifths.
        alter = (key.fifths + 5 - FIFTHS_OF_LETTER[other]) // 7
        pc = (LETTER_SEMITONES[LETTERS.index(other)] + alter) % 12
        found[(LETTERS.index(other) - LETTERS.index(letter)) % 7 + 1] = (pc - root) % 12
    return found
