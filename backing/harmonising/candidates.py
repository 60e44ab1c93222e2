"""The chords that come into question at every place, and what each costs by itself: its fit under the tune."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

import numpy as np

from backing.ground.pitch import Key
from backing.harmonising import hymn
from backing.harmonising.costs import BY_FAMILY, LENGTH_POWER, OFF_PULSE, STRESS, TUNE_OVER
from backing.harmonising.melody import Melody, Place, TuneNote, weight_in
from backing.harmonising.palette import Colour, colour_of, palette
from backing.harmonising.search import FAR, Flags, Floats, Ints
from backing.harmony.chord import Chord

QUALITIES: dict[str, int] = {}  # an index for every quality met
LEADING = 1.2  # the leading note of a minor key counts at least so much
CANDIDATES = 48  # a place; the dearest are left out


class Candidate(NamedTuple):
    """A chord of the palette in the key of its place; root and bass are pitch classes."""

    colour: Colour
    key: Key
    root: int
    bass: int
    kept: Chord | None = None


class Ground(NamedTuple):
    """Everything that the lattice is made of."""

    melody: Melody
    places: Sequence[Place]
    keys: Sequence[Key]  # one a place
    home: Key
    manner: str
    bass: str  # one of `wishes.BASSES`
    avoid: frozenset[str]  # symbols
    phrase_ends: frozenset[int]  # indices of bars
    weights: Mapping[str, float]
    tops: Sequence[int | None]  # the tune's first note at each place, as a MIDI note
    hymn: bool = False  # a chord a beat, chosen as in a chorale

    @property
    def rests(self) -> list[bool]:
        """Where the tune comes to rest: under a fermata, on a note longer than half a bar, and where a phrase ends on
        one of two pulses."""
        found = []
        for place in self.places:
            bar = self.melody.bars[place.bar]
            two = 2 * bar.meter.pulses_q[0]
            ends = place.bar in self.phrase_ends
            starting = [
                n
                for n in self.melody.between(place.start_q, place.end_q)
                if n.start_q == place.start_q
            ]
            found.append(
                any(
                    2 * n.length_q > bar.length_q
                    or (ends and n.length_q >= two)
                    or n.start_q in self.melody.closes
                    for n in starting
                )
            )
        return found

    @property
    def opening(self) -> int:
        """The first place that is not in a pickup."""
        bars = self.melody.bars
        return next((i for i, p in enumerate(self.places) if bars[p.bar].number), 0)


def passes(
    note: TuneNote, around: tuple[TuneNote | None, TuneNote | None], pulse_q: Fraction
) -> bool:
    """Whether a note passes: shorter than a pulse, and left or reached by step."""
    return note.length_q < pulse_q and any(
        other is not None and 0 < abs(other.pitch.midi - note.pitch.midi) <= 2 for other in around
    )


def fits(ground: Ground) -> list[list[tuple[int, float]]]:
    """For every place the pitch classes of the tune in it, each with how much it counts.

    The leading note of a minor key counts wherever it stands: it asks for the dominant (common practice).
    """
    notes = ground.melody.notes
    order = {id(n): i for i, n in enumerate(notes)}
    found = []
    for place, key in zip(ground.places, ground.keys, strict=True):
        row = []
        for note in ground.melody.between(place.start_q, place.end_q):
            i = order[id(note)]
            around = (notes[i - 1] if i else None, notes[i + 1] if i + 1 < len(notes) else None)
            pc = note.pitch.midi % 12
            leads = key.minor and pc == (key.tonic.pc - 1) % 12
            amount = _amount(ground, place, note, around)
            row.append((pc, max(amount, LEADING) if leads else amount))
        found.append(row)
    return found


def _amount(
    ground: Ground, place: Place, note: TuneNote, around: tuple[TuneNote | None, TuneNote | None]
) -> float:
    """How much a note of the tune counts at a place: by its length there, its stress, and less where it passes."""
    start, end = max(note.start_q, place.start_q), min(note.end_q, place.end_q)
    bar = ground.melody.bars[place.bar]
    pulse = bar.meter.pulses_q[0]
    length = float((end - start) / pulse)
    offset = start - bar.start_q + bar.meter.length_q - bar.length_q
    on_pulse = offset in bar.meter.pulse_starts_q
    stress = STRESS[weight_in(bar.meter, offset)] if on_pulse else OFF_PULSE
    amount: float = stress * length**LENGTH_POWER
    if not on_pulse and passes(note, around, pulse):
        amount *= ground.weights["passing"]
    return amount


def _relation(ground: Ground, colours: Sequence[Colour]) -> Floats:
    """Cost of a tune's note so many semitones above the root, a row a chord."""
    w = ground.weights
    if ground.manner in BY_FAMILY:
        return np.array([TUNE_OVER.get(c.family, TUNE_OVER["major"]) for c in colours])
    table = np.full((len(colours), 12), w["foreign note"])
    for i, colour in enumerate(colours):
        for tone in colour.tensions:
            table[i, tone] = w["tension"]
        for tone in colour.tones:
            table[i, tone] = w["fifth"] if tone == 7 else 0.0
        if 11 in colour.tones:
            table[i, 0] += w["root on 7th"]
        if colour.family in ("major", "dominant") and 4 in colour.tones:
            table[i, 5] = w["foreign note"] * 1.5  # the natural eleventh
    return table


class Side(NamedTuple):
    """The candidates of a place as arrays of one length: what a move from or to them is counted by.

    Basses and roots are pitch classes, `quality` an index of the palette's qualities, `number` the degree's number
    from 0, `above` and `above_bass` semitones above the tonic.
    """

    root: Ints
    bass: Ints
    quality: Ints
    number: Ints
    above: Ints
    above_bass: Ints
    dominant: Flags
    diminished: Flags
    minor: Flags  # minor with its seventh, half-diminished too

    def only(self, keep: Ints) -> Side:
        return Side(*(row[keep] for row in self))  # type: ignore[arg-type]  # six of numbers, three of flags, in order


class Row(NamedTuple):
    """The candidates of one place, and what each costs by itself."""

    chords: tuple[Candidate, ...]
    nodes: Floats
    side: Side


class Shelf(NamedTuple):
    """The palette of a manner in one key, as arrays; `relation` is by the note's semitones above the root."""

    chords: tuple[Candidate, ...]
    relation: Floats
    prior: Floats
    side: Side


def _shelf(ground: Ground, key: Key) -> Shelf:
    tonic = key.tonic.pc
    colours = [c for c in palette(ground.manner, key.minor) if not _avoided(ground, c, key)]
    chords = tuple(Candidate(c, key, (tonic + c.root) % 12, (tonic + c.bass) % 12) for c in colours)
    prior = np.array([c.cost for c in colours])
    return Shelf(chords, _relation(ground, colours), prior, side_of(chords))


def side_of(chords: Sequence[Candidate]) -> Side:
    """The arrays of some candidates."""
    colours = [c.colour for c in chords]
    return Side(
        np.array([c.root for c in chords]),
        np.array([c.bass for c in chords]),
        np.array([QUALITIES.setdefault(c.quality, len(QUALITIES)) for c in colours]),
        np.array([c.degree.number - 1 for c in colours]),
        np.array([c.root for c in colours]),
        np.array([c.bass for c in colours]),
        np.array([c.dominant for c in colours]),
        np.array([c.family in ("diminished", "half-diminished") for c in colours]),
        np.array([c.family in ("minor", "half-diminished") and 10 in c.tones for c in colours]),
    )


def candidates(ground: Ground) -> list[Row]:
    """For every place the chords that fit best."""
    if ground.hymn:
        return _hymn(ground)
    shelves = {key: _shelf(ground, key) for key in dict.fromkeys(ground.keys)}
    return [
        _row(place, shelves[key], tune) if place.kept is None else _kept(place.kept, key)
        for place, key, tune in zip(ground.places, ground.keys, fits(ground), strict=True)
    ]


def _hymn(ground: Ground) -> list[Row]:
    key, tonic = ground.home, ground.home.tonic.pc
    row = hymn.chords(key.minor)
    allowed = np.array([not _avoided(ground, c, key) for c in row.colours])
    chords = tuple(
        Candidate(c, key, (tonic + c.root) % 12, (tonic + c.bass) % 12) for c in row.colours
    )
    side = side_of(chords)
    verses = hymn.verses(ground.melody, ground.places)
    return [
        Row(chords, np.where(allowed, hymn.nodes(verse, tonic, row), FAR), side)
        if place.kept is None
        else _kept(place.kept, key)
        for place, verse in zip(ground.places, verses, strict=True)
    ]


def _row(place: Place, shelf: Shelf, tune: Sequence[tuple[int, float]]) -> Row:
    nodes = shelf.prior
    rows = np.arange(len(nodes))
    for pc, amount in tune:
        nodes = nodes + amount * shelf.relation[rows, (pc - shelf.side.root) % 12]
    if len(nodes) <= CANDIDATES:
        return Row(shelf.chords, nodes, shelf.side)
    keep = np.sort(np.argsort(nodes, kind="stable")[:CANDIDATES])
    return Row(tuple(shelf.chords[i] for i in keep), nodes[keep], shelf.side.only(keep))


def _kept(chord: Chord, key: Key) -> Row:
    kept = (Candidate(colour_of(chord, key), key, chord.root.pc, chord.lowest.pc, chord),)
    return Row(kept, np.zeros(1), side_of(kept))


def _avoided(ground: Ground, colour: Colour, key: Key) -> bool:
    """Whether a symbol is one of those that must not occur, in any spelling of its root."""
    if not ground.avoid:
        return False
    root = colour.degree.of(key.tonic)
    slash = "/" + colour.bass_degree.of(root).name if colour.bass_degree else ""
    return root.name + colour.quality + slash in ground.avoid
