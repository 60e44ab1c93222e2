"""Scales, functions and colours: worked progressions, and rules that hold for every chord."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from backing.ground.pitch import Key
from backing.harmony.colours import ROWS as COLOURS
from backing.harmony.colours import colours, kind_of
from backing.harmony.function import Function, analyse, key_areas
from backing.harmony.qualities import ROWS as QUALITIES
from backing.harmony.scales import FAMILIES, SEMITONES, key_pitch_classes, scale_for
from backing.harmony.scales import ROWS as SCALES
from backing.harmony.symbol import Chord, read
from tests.chord_tables import symbols
from tests.each import each

C = Key.parse("C")


def chord(symbol: str) -> Chord:
    found = read(symbol)
    assert found is not None
    return found


def chords(line: str) -> list[Chord | None]:
    return [read(s) for s in line.split()]


def functions(line: str, key: str, length_q: float = 4) -> list[Function]:
    found = analyse(chords(line), [length_q] * len(line.split()), Key.parse(key))
    return [f for f in found if f is not None]


def names(line: str, key: str) -> str:
    return " | ".join(f.scale.name for f in functions(line, key))


@each(
    ("name", "notes"),
    [
        ("ionian", "C D E F G A B"), ("lydian", "C D E F# G A B"), ("mixolydian", "C D E F G A Bb"),
        ("dorian", "C D Eb F G A Bb"), ("aeolian", "C D Eb F G Ab Bb"), ("phrygian", "C Db Eb F G Ab Bb"),
        ("locrian", "C Db Eb F Gb Ab Bb"), ("melodic minor", "C D Eb F G A B"), ("harmonic minor", "C D Eb F G Ab B"),
        ("altered", "C Db D# E Gb G# Bb"), ("lydian dominant", "C D E F# G A Bb"), ("whole tone", "C D E F# G# Bb"),
        ("half-whole", "C Db D# E F# G A Bb"), ("whole-half", "C D Eb F Gb Ab Bbb B"),
        ("phrygian dominant", "C Db E F G Ab Bb"),
    ],
)  # fmt: skip
def test_scales_are_spelled(name: str, notes: str) -> None:
    """The scales of the table above C (any textbook of jazz harmony)."""
    assert " ".join(d.of(chord("C").root).name for d in SCALES[name]) == notes


def test_the_modes_are_the_major_scale_turned() -> None:
    """The seven modes have the notes of one major scale from its seven steps (any harmony textbook)."""
    major = sorted(SEMITONES["ionian"])
    modes = ["ionian", "dorian", "phrygian", "lydian", "mixolydian", "aeolian", "locrian"]
    for step, mode in zip(major, modes, strict=True):
        assert SEMITONES[mode] == {(n - step) % 12 for n in major}


def test_the_altered_scale_is_melodic_minor_a_semitone_up() -> None:
    """C altered has the notes of Db melodic minor, lydian dominant those of the melodic minor a fifth up."""
    minor = SEMITONES["melodic minor"]
    assert SEMITONES["altered"] == {(n + 1) % 12 for n in minor}
    assert SEMITONES["lydian dominant"] == {(n + 7) % 12 for n in minor}


@each(
    ("line", "key", "expected"),
    [
        ("Cmaj7 Dm7 Em7 Fmaj7 G7 Am7 Bm7b5", "C", "ionian | dorian | phrygian | lydian | mixolydian | aeolian | locrian"),
        ("Dm7 G7 Cmaj7", "C", "dorian | mixolydian | ionian"),
        ("Dm7b5 G7 Cm6", "Cm", "locrian | phrygian dominant | dorian"),
        ("Dm7 Db7 Cmaj7", "C", "dorian | lydian dominant | ionian"),
        ("G7alt Cm7", "C", "altered | aeolian"),
        ("C A7 Dm7 G7", "C", "ionian | phrygian dominant | dorian | mixolydian"),
        ("C D7 G7 C", "C", "ionian | mixolydian | mixolydian | ionian"),
        ("C Bb7 C", "C", "ionian | lydian dominant | ionian"),
        ("C Abmaj7 C", "C", "ionian | lydian | ionian"),
        ("C G7#5 C", "C", "ionian | whole tone | ionian"),
        ("Am E7#9 Am", "Am", "aeolian | altered | aeolian"),
        ("C E7#9 C", "C", "ionian | half-whole | ionian"),
        ("C G13b9 C", "C", "ionian | mixolydian b2 | ionian"),
        ("C#dim7 Dm7", "C", "whole-half | dorian"),
        ("Cm(maj7)", "Cm", "harmonic minor"),
    ],
)  # fmt: skip
def test_scales_of_worked_progressions(line: str, key: str, expected: str) -> None:
    """A scale by symbol and surroundings (chord-scale pairs of common practice)."""
    assert names(line, key) == expected


@each(
    ("symbol", "after", "expected"),
    [("Cmaj7", None, "4"), ("Dm7", "G7", "6"), ("G7", "C", "4"), ("Em7", "F", "b2 b6"), ("Fmaj7", "G7", ""), ("G7sus4", "C", "3")],
)  # fmt: skip
def test_notes_to_avoid(symbol: str, after: str | None, expected: str) -> None:
    """The fourth over a major third, the sixth over the minor chord of a ii-V, the third of a suspension."""
    scale = scale_for(chord(symbol), C, chord(after) if after else None)
    assert " ".join(d.name for d in scale.avoid) == expected


@each("symbol", symbols())
def test_a_scale_holds_its_chord(symbol: str) -> None:
    """In every major and minor key a scale holds every chord note but a fifth that may be spared."""
    here = chord(symbol)
    spare = {(here.root.pc + d.semitones) % 12 for d in (*here.omit,) if d.number in (5, 11, 3)}
    spare |= {(here.root.pc + 7) % 12} if len(here.degrees) > 4 else set()  # as in 7#9
    for key in (C, Key.parse("Am"), Key.parse("Eb"), Key.parse("F#m")):
        scale = scale_for(here, key)
        sounding = {(here.root.pc + n) % 12 for n in scale.pitch_classes}
        assert set(here.pitch_classes) - spare <= sounding
        assert len(scale.pitch_classes) >= 6
        assert set(scale.avoid) <= set(scale.degrees)
        assert len(scale.notes(here.root)) == len(scale.degrees)


def test_every_family_has_scales() -> None:
    """Every family names scales of the table, and every scale serves a family or is a minor key's own."""
    named = {name for row in FAMILIES.values() for name in row.split(", ")}
    assert named <= set(SCALES)
    assert set(SCALES) <= named
    assert {chord("C" + name).family for name, _, _ in QUALITIES} <= set(FAMILIES)


# -- functions


@each(
    ("line", "key", "numerals"),
    [
        ("Cmaj7 A7 Dm7 G7", "C", "I V7/ii ii V7"),
        ("C F G7 C", "C", "I IV V7 I"),
        ("Am F C G", "Am", "i bVI bIII bVII"),
        ("Dm7 Db7 Cmaj7", "C", "ii bII7 I"),
        ("Cmaj7 C#dim7 Dm7 D#dim7 Em7", "C", "I vii°/ii ii vii°/iii iii"),
        ("Dm7b5 G7 Cm6", "Cm", "iiø V7 i"),
        ("C Fm C", "C", "I iv I"),
        ("C D7 G7 C", "C", "I V7/V V7 I"),
        ("C7 F7 C7 G7", "C", "V7/IV IV7 I7 V7"),
        ("Cmaj7 Em7b5 A7 Dm7 G7 Cmaj7", "C", "I iiiø V7/ii ii V7 I"),
        ("C Ab7 G7 C", "C", "I bII7/V V7 I"),
        ("C Bb7 C", "C", "I bVII7 I"),
        ("C C+ F Fm C", "C", "I I+ IV iv I"),
    ],
)
def test_numerals_of_worked_progressions(line: str, key: str, numerals: str) -> None:
    """Function of every chord (Roman numerals of any harmony textbook; bII7 for the tritone substitute)."""
    assert " ".join(f.numeral for f in functions(line, key)) == numerals


@each(
    ("line", "key", "place", "role", "target"),
    [
        ("Cmaj7 A7 Dm7", "C", 1, "secondary dominant", "D"), ("Dm7 G7 C", "C", 1, "dominant", "C"),
        ("Dm7 Db7 C", "C", 1, "tritone substitute", "C"), ("F F#dim7 C/G", "C", 1, "passing diminished", "C"),
        ("C C#dim7 Dm7", "C", 1, "passing diminished", "D"), ("C Fm6 C", "C", 1, "borrowed", None),
        ("C Abmaj7 C", "C", 1, "borrowed", None), ("C Bb7 C", "C", 1, "backdoor dominant", "C"),
        ("C Em7b5 A7 Dm7 G7", "C", 1, "related two", None), ("C7 F7 C7", "C", 1, "subdominant", None),
        ("Cm7 F7 Bbmaj7", "Bb", 0, "subdominant", None), ("C E7 F", "C", 1, "secondary dominant", "A"),
    ],
)  # fmt: skip
def test_roles_and_targets(line: str, key: str, place: int, role: str, target: str | None) -> None:
    """What a chord does, and where it leads."""
    found = functions(line, key)[place]
    assert found.role == role
    assert (found.target.name if found.target else None) == target


def test_a_deceptive_dominant_does_not_resolve() -> None:
    """E7 to F leads to A minor and goes elsewhere; E7 to Am resolves."""
    assert not functions("C E7 F", "C")[1].resolves
    assert functions("C E7 Am", "C")[1].resolves


def test_a_modulation_is_heard_and_left() -> None:
    """Ii-V-I into other keys are areas of their own; the written key comes back."""
    line = "Cmaj7 Fm7 Bb7 Ebmaj7 Abm7 Db7 Gbmaj7 Dm7b5 G7alt C6/9"
    found = [f.key.short_name for f in functions(line, "C")]
    assert found == ["C", "Eb", "Eb", "Eb", "Gb", "Gb", "Gb", "C", "C", "C"]


def test_secondary_dominants_do_not_change_the_key() -> None:
    """A turnaround with dominants of ii and V stays in its key."""
    line = "Cmaj7 A7 Dm7 G7 Em7 A7b9 Dm7 Db7 C6"
    assert {f.key.short_name for f in functions(line, "C")} == {"C"}


def test_blues_stays_in_its_key() -> None:
    """Twelve bars with dominants on I, IV and V are one key."""
    line = "C7 F7 C7 C7 F7 F#dim7 C7 A7 Dm7 G7 C7 G7"
    assert {f.key.short_name for f in functions(line, "C")} == {"C"}


def test_silence_has_no_function() -> None:
    """N.C. gives None, and nothing resolves over it."""
    found = analyse(chords("G7 N.C. C"), [4, 4, 4], C)
    assert found[1] is None
    assert found[0] is not None
    assert not found[0].resolves


def test_nothing_to_analyse() -> None:
    """No chords, no functions."""
    assert analyse([], [], C) == ()
    assert key_areas([None], [4], C) == [C]


@given(
    st.lists(st.one_of(st.none(), st.sampled_from(symbols())), max_size=12),
    st.sampled_from(["C", "F#", "Gb", "Ebm", "Am"]),
    st.sampled_from([0.5, 1, 4]),
)
@settings(max_examples=150, deadline=None)
def test_any_sequence_has_functions(line: list[str | None], key: str, length_q: float) -> None:
    """Every chord has a function in a key of at most seven accidentals, and its scale holds its root."""
    here = [chord(s) if s else None for s in line]
    found = analyse(here, [length_q] * len(here), Key.parse(key))
    assert len(found) == len(here)
    for one, function in zip(here, found, strict=True):
        assert (one is None) == (function is None)
        if one is not None and function is not None:
            assert abs(function.key.fifths) <= 7
            assert function.scale.degrees[0].name == "1"
            colours(one, function, Key.parse(key))


def test_the_analysis_is_the_same_in_every_key() -> None:
    """A tune moved to another key has the same numerals and scales."""
    from backing.harmony.spelling import interval_to_key, transpose

    line = chords("Cmaj7 A7 Dm7 G7 Fm7 Bb7 Ebmaj7 G7alt C6")
    home = [(f.numeral, f.scale) for f in analyse(line, [4] * 9, C) if f]
    for name in ("D", "Eb", "F", "Ab", "B"):
        key = Key.parse(name)
        there = [transpose(c, interval_to_key(C, key), key) for c in line]
        assert [(f.numeral, f.scale) for f in analyse(there, [4] * 9, key) if f] == home


# -- colours


def coloured(line: str, key: str, melody: tuple[int, ...] = ()) -> list[str]:
    here = chords(line)
    found = analyse(here, [4] * len(here), Key.parse(key))
    return [
        " ".join(d.name for d in colours(one, function, Key.parse(key), melody))
        for one, function in zip(here, found, strict=True)
        if one is not None and function is not None
    ]


@each(
    ("line", "key", "expected"),
    [
        ("Dm7 G7 Cmaj7", "C", ["9 11", "13 9", "9 13"]),
        ("Dm7b5 G7 Cm7", "Cm", ["11 b13", "b9 b13", "9 11"]),
        ("Dm7 Db7 Cmaj7", "C", ["9 11", "9 #11 13", "9 13"]),
        ("Em7 F", "C", ["11", "9 13"]),  # F# is foreign to C: no ninth on iii
        ("G7b9 C", "C", ["13", "9 13"]),
        ("E7#9 Am", "Am", ["b13", "9"]),  # no natural 13 on the way to a minor chord
        ("G7alt C5", "C", ["", ""]),
        ("Cadd9 Csus4 C7sus4", "C", ["", "", "9 13"]),
        ("Bb/C C", "C", ["", "9 13"]),
    ],
)
def test_colours_of_worked_progressions(line: str, key: str, expected: list[str]) -> None:
    """Ninths and thirteenths by quality, function and key (available tensions of common practice)."""
    assert coloured(line, key) == expected


def test_a_melody_note_is_never_rubbed() -> None:
    """Over the melody note Eb a Dm7 gets no ninth E; over E it keeps it."""
    assert coloured("Dm7 G7 C", "C", (3,))[0] == "11"
    assert coloured("Dm7 G7 C", "C", (4,))[0].startswith("9")


@each("symbol", symbols())
def test_colours_never_fight_with_the_symbol(symbol: str) -> None:
    """No colour repeats a chord note, contradicts a written number, or lies outside scale and key of the moment."""
    here = chord(symbol)
    for key in (C, Key.parse("F"), Key.parse("Gm")):
        for after in (None, chord("C"), chord("Cm")):
            function = analyse([here, after], [4, 4], key)[0]
            assert function is not None
            added = colours(here, function, key)
            written = {d.number: d for d in here.degrees}
            for degree in added:
                assert (here.root.pc + degree.semitones) % 12 not in here.pitch_classes
                assert degree.semitones % 12 in function.scale.pitch_classes
                assert degree.number not in written
            numbers = [d.number for d in added]
            assert len(set(numbers)) == len(numbers)


def test_the_colour_table_is_whole() -> None:
    """Every kind of chord that is coloured has a row for any function; degrees are ninths to thirteenths."""
    kinds = {kind_of(chord("C" + name)) for name, _, _ in QUALITIES} - {None}
    assert kinds == {kind for kind, _ in COLOURS}
    assert all((kind, "*") in COLOURS for kind in kinds)
    assert {d.number for row in COLOURS.values() for d in row} == {9, 11, 13}


def test_the_notes_of_a_key() -> None:
    """A major key has seven notes, a minor key eight: both sevenths."""
    assert key_pitch_classes(Key.parse("G")) == {7, 9, 11, 0, 2, 4, 6}
    assert key_pitch_classes(Key.parse("Am")) == {9, 11, 0, 2, 4, 5, 7, 8}
