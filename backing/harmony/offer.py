"""What a chord offers to a voicing: the degrees that must be in it and those that can be.

Conventions: degrees keep the number they are written with (9, not 2); a colour is a degree that nobody wrote and that
a style may add. Sources: a slash chord is its upper chord over a bass note; a flat thirteenth takes the place of the
fifth (common practice).
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from backing.ground.pitch import Degree
from backing.harmony.symbol import Chord

RUBS = {"b13": "5", "#11": "5", "b9": "1"}  # a colour and the degree that gives way to it
FULL = 5  # from so many degrees on, the upper chord of a slash chord need not be whole


class Tones(NamedTuple):
    """What a chord offers: `need` must be in the voicing, `may` can be; `colours` are those of `may` not written.

    `whole` is true where an upper chord must stay complete (slash chords).
    """

    need: tuple[Degree, ...]
    may: tuple[Degree, ...]
    any_of: tuple[tuple[Degree, ...], ...]
    colours: frozenset[Degree]
    family: str
    whole: bool


@lru_cache(maxsize=2048)
def tones(chord: Chord, colours: tuple[Degree, ...] = ()) -> Tones:
    """The degrees to choose from. A slash chord keeps its upper chord whole and leaves an outside bass to the bass."""
    kept = tuple(d for d in chord.degrees if d not in chord.omit)
    if len(kept) <= 2:  # a power chord: nothing is added, least of all a third
        return Tones(kept, (), (), frozenset(), "power", False)
    whole = chord.bass is not None and chord.bass.pc != chord.root.pc
    free = _free(chord, kept, colours)
    if not whole:  # one player's fifth would rub against another's flat thirteenth
        against = {RUBS[c.name] for c in free if c.name in RUBS}
        kept = tuple(d for d in kept if d.name not in against or d in chord.must_sound)
    need = (_upper(chord, kept) if whole else _musts(chord, kept)) or kept[:3]
    may = tuple(d for d in kept if d not in need)
    any_of = () if whole else chord.any_of
    return Tones(need, may + free, any_of, frozenset(free), chord.family, whole)


def _free(
    chord: Chord, kept: tuple[Degree, ...], colours: tuple[Degree, ...]
) -> tuple[Degree, ...]:
    """The colours that sound neither as a degree of the chord nor as a bass outside it."""
    taken = {d.semitones % 12 for d in kept}
    if chord.bass is not None:
        bass = (chord.bass.pc - chord.root.pc) % 12
        if all(d.semitones % 12 != bass for d in chord.degrees):
            taken.add(bass)
    return tuple(c for c in colours if c.semitones % 12 not in taken)


def _musts(chord: Chord, kept: tuple[Degree, ...]) -> tuple[Degree, ...]:
    return tuple(d for d in chord.must_sound if d in kept)


def _upper(chord: Chord, kept: tuple[Degree, ...]) -> tuple[Degree, ...]:
    """What stands over a slash: the whole chord; of a large one its root and what must sound."""
    if len(kept) < FULL:
        return kept
    musts = _musts(chord, kept)
    return tuple(d for d in kept if d.number == 1 or d in musts)
