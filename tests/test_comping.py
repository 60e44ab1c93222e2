"""Keys, guitar and a section of horns as their players would read them: together, in quick rows, over held chords.

Facts are common practice of comping and section writing unless a source stands beside them.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import groupby, pairwise

from backing.band.model import Arrangement, Kind, Note, Player
from backing.ground.pitch import Key, NoteName, degrees
from backing.harmony.colours import colours
from backing.harmony.function import analyse
from backing.harmony.offer import tones
from backing.harmony.selections import selections
from tests import measures
from tests.band import arranged, chart, player
from tests.briefs import chord
from tests.each import each
from tests.generated import ii_v_i

QUICK = "Gmaj7 G/B C6/9 C#dim7 | D7sus4 D7b9 Em7 G/D | Cmaj7 Bm7 Am7 D7#5 | G6 Bb13 A7b9 D7alt"
SWUNG = ("straight-ahead swing", "bossa nova", "jazz ballad", "neo-soul", "slow blues")


def struck(who: Player) -> dict[Fraction, list[Note]]:
    """Strokes of several notes by their place."""
    return {s[0].start_q: s for s in measures.strokes(who.notes) if len(s) > 1}


def cycle(style: str, minor: bool = False) -> Arrangement:
    return arranged(chart(ii_v_i(minor), meter="4/4", tempo=140, ending="as written"), style)


# Rhythm


@each("style", SWUNG)
def test_a_chord_a_beat_is_struck_on_its_beat_by_its_leader(style: str) -> None:
    """Keys or guitar begin every chord where it is written, but for the last of a bar, which may come early."""
    music = arranged(chart(QUICK, meter="4/4", tempo=100), style)
    first: dict[int, Fraction] = {}
    for note in (*player(music, "keys").notes, *player(music, "guitar").notes):
        first[note.chord] = min(note.start_q, first.get(note.chord, note.start_q))
    for index, span in enumerate(music.timeline.chords[:16]):
        early = Fraction(1, 2) if index % 4 == 3 else 0
        assert span.start_q - early <= first[index] <= span.start_q, span.symbol


def test_a_chord_held_over_a_change_moves_with_it() -> None:
    """A pianist who holds one chord to the bar's end moves at the half bar where the harmony does."""
    bars = " | ".join(["Fmaj9 Eb9", "D7b9 C7#5", "Am7 Abdim7", "Gm7 C7"] * 4)
    for seed in (1, 2, 3):
        music = arranged(chart(bars, meter="4/4"), "bossa nova", seed)
        keys = player(music, "keys").notes
        for index, span in enumerate(music.timeline.chords):
            mine = [n for n in keys if n.chord == index]
            assert min(n.start_q for n in mine) <= span.start_q + 1, (seed, span.bar, span.symbol)


def test_horns_rest_where_their_riff_rests() -> None:
    """A horn section owes no chord: nothing is added where keys and guitar comp."""
    vamp = chart(" | ".join(["Em7", "A13", "Em7", "A9"] * 6), meter="4/4")
    for style in ("funk", "ska", "four-beat soul", "salsa", "mambo"):
        horns = player(arranged(vamp, style), "horns")
        assert horns.notes
        assert not [n for n in horns.notes if n.why.kind is Kind.ADDED], style


def test_horns_who_comp_alone_play_every_chord() -> None:
    """In a march the horns are the chords."""
    tune = chart("C | F | G7 | C | Am | Dm | G7 | C", meter="2/4")
    horns = player(arranged(tune, "march"), "horns")
    assert {n.chord for n in horns.notes} >= set(range(8))


def test_a_strummed_part_adds_strums() -> None:
    """A stroke that is added to a strummed bar is a downstroke, not plucked."""
    bars = " | ".join(["C G/B", "Am F", "Dm7 G7 C/E F", "C"] * 3)
    for style in ("folk strum", "rock eighths", "straight-ahead swing", "reggae rockers"):
        guitar = player(arranged(chart(bars, meter="4/4"), style), "guitar")
        added = [n for n in guitar.notes if n.why.kind is Kind.ADDED]
        assert all("plucked" not in n.why.words for n in added), style


def test_of_a_row_of_sixteenths_only_the_last_comes_ahead() -> None:
    """Two sixteenths before a change: the first still belongs to the chord that sounds."""
    tune = chart(" | ".join(["G", "C", "Em", "D"] * 6), meter="4/4")
    for style in ("merengue", "funk", "sixteenth-note pop", "disco"):
        music = arranged(tune, style)
        spans = music.timeline.chords
        for who in measures.roles(music, ("keys", "guitar")):
            early: dict[int, set[Fraction]] = {}
            for note in who.notes:
                if note.start_q < spans[note.chord].sounds_q:
                    early.setdefault(note.chord, set()).add(note.start_q)
            assert all(len(places) == 1 for places in early.values()), (style, who.role)


def test_a_shuffle_guitar_rocks_between_fifth_and_sixth() -> None:
    """Sixths on two and four, the flat seventh on three of every second bar, otherwise fifths; the root stays below.

    The little finger moves on one string (common practice).
    """
    music = arranged(chart(" | ".join(["A7", "A7", "D7", "D7"] * 6), meter="4/4"), "blues shuffle")
    guitar = player(music, "guitar")
    by: dict[str, list[int]] = {"5": [], "6": [], "b7": []}
    for stroke in measures.strokes(guitar.notes):
        lower, upper = sorted(n.degree for n in stroke)
        assert lower == "1", stroke
        by[upper].append(int(stroke[0].start_q) % 8)
    assert len(by["6"]) >= 40
    assert set(by["6"]) == {1, 3, 5, 7}
    assert set(by["b7"]) == {6}
    assert {0, 2, 4} <= set(by["5"])
    assert sum(at % 2 for at in by["5"]) <= 2  # but where it ends
    for stroke, frets in measures.grips(guitar):  # two fingers on two strings stretch five frets
        held = [f for f in frets if f > 0]
        assert measures.holdable(frets) or (min(held) >= 2 and max(held) - min(held) <= 4), stroke
    plain = arranged(chart("F7 | C7 | F7 | C7", meter="4/4"), "blues shuffle", plain=True)
    assert {n.degree for n in player(plain, "guitar").notes} == {"1", "5"}


@each("key", ["E A B", "A D E", "D G A", "G C D"])
def test_a_shuffle_hand_stays_low_on_the_neck(key: str) -> None:
    """Soft and loud, in the keys of open strings: the boogie lies within the first nine frets (common practice)."""
    one, four, five = (f"{name}7" for name in key.split())
    form = [one, four, one, one, four, four, one, one, five, four, one, five]
    music = arranged(chart(" | ".join(form), meter="4/4", choruses=4), "blues shuffle")
    assert max(n.fret for n in player(music, "guitar").notes) <= 9


def test_a_minor_chord_does_not_rock() -> None:
    music = arranged(chart(" | ".join(["Fm7", "Cm7"] * 6), meter="4/4"), "blues shuffle")
    assert "6" not in {n.degree for n in player(music, "guitar").notes}


def test_rock_guitars_take_open_fifths() -> None:
    """E5 and A5 ring over their open strings."""
    music = arranged(chart(" | ".join(["E", "A"] * 4), meter="4/4"), "rock eighths")
    frets = {tuple(f) for s, f in measures.grips(player(music, "guitar")) if len(s) > 1}
    assert any(f[:2] == (0, 2) for f in frets)
    assert any(f[1:3] == (0, 2) for f in frets)


def test_the_thumb_plays_no_colours() -> None:
    """Off the root the thumb takes the fifth or third, or the lowest note again."""
    tune = "Fmaj7 | % | G13 | % | Gm7 | C7b9 | Abmaj7#11 | Gb7#11 | Ebmaj9 | Dm11 | G7alt | C6/9"
    music = arranged(chart(tune, meter="4/4"), "bossa nova")
    guitar = player(music, "guitar")
    lowest: dict[int, int] = {}
    for stroke in struck(guitar).values():
        for note in stroke:
            lowest[note.chord] = min(note.pitch, lowest.get(note.chord, 127))
    thumb = [n for n in guitar.notes if n.why.kind is Kind.THUMB]
    assert thumb
    for note in thumb:
        assert note.degree.lstrip("b#") in "135" or note.pitch == lowest[note.chord], note


@each("style", ["pop ballad", "jazz ballad", "slow waltz", "tango", "bluegrass"])
def test_a_long_line_is_not_the_same_at_every_turn(style: str) -> None:
    """Sixteen turns of eight bars: strings take at least three ways, and none in more than two thirds of them."""
    meter = "3/4" if style == "slow waltz" else "4/4"
    tune = "Am7 | D7 | Gmaj7 | Cmaj7 | F#m7b5 | B7 | Em7 | Em7"
    music = arranged(chart(tune, meter=meter, choruses=16, ending="as written"), style)
    turns = []
    for number in range(16):
        first, last = music.timeline.bars[8 * number], music.timeline.bars[8 * number + 7]
        notes = player(music, "strings").notes
        turns.append(
            tuple(
                (n.start_q - first.start_q, n.pitch)
                for n in notes
                if first.start_q <= n.start_q < last.end_q
            )
        )
    assert len(set(turns)) >= 3
    assert max(turns.count(t) for t in turns) <= 11


@each("style", ["straight-ahead swing", "jazz ballad", "blues shuffle", "jazz waltz"])
def test_nobody_comes_ahead_of_the_last_chord(style: str) -> None:
    """The band ends together."""
    meter = "3/4" if style == "jazz waltz" else "4/4"
    for seed in range(1, 9):
        music = arranged(chart("Cm7 | F7 | Cm7 | G7", meter=meter, key="C minor"), style, seed)
        last = music.timeline.bars[-1]
        for who in measures.roles(music, ("keys", "guitar")):
            final = [n for n in who.notes if n.chord == len(music.timeline.chords) - 1]
            assert {n.start_q for n in final} == {last.start_q}, (seed, who.role)


def test_spread_hands_move_little_and_stay_wide() -> None:
    """A ballad's two hands span more than an octave and go by common tones and steps."""
    for minor in (False, True):
        pairs = measures.changes(player(cycle("jazz ballad", minor), "keys"))
        four = [(a, b) for a, b in pairs if len(a) == len(b) == 4]
        assert len(four) >= 20
        assert sum(measures.move(a, b) for a, b in four) / len(four) <= 4
        assert measures.top_kept(pairs) >= 0.8
        assert sum(b[-1].pitch - b[0].pitch > 12 for _, b in four) / len(four) >= 0.8


def test_loud_and_soft_differ_in_more_than_velocity() -> None:
    """Soft comping is in shells of three; loud power chords become open ones, and keys over them lie on top."""

    def sizes(style: str, tune: str, dynamics: str, role: str) -> float:
        text = chart(tune, meter="4/4", dynamics=dynamics, plan="flat", ending="as written")
        music = arranged(text, style)
        found = [len(s) for s in measures.strokes(player(music, role).notes) if len(s) > 1]
        return sum(found) / len(found)

    jazz = " | ".join(["Dm7", "G7", "Cmaj7", "Am7"] * 4)
    assert sizes("straight-ahead swing", jazz, "pp", "keys") <= 3.2
    assert sizes("straight-ahead swing", jazz, "mf", "keys") >= 3.8
    rock = " | ".join(["G", "C", "Em", "D"] * 4)
    sums = {}
    for dynamic in ("mf", "ff"):
        each_one = [sizes("rock eighths", rock, dynamic, role) for role in ("keys", "guitar")]
        sums[dynamic] = each_one[1], sum(each_one)
    assert sums["ff"][0] >= sums["mf"][0] + 0.5, "guitar"
    assert sums["ff"][1] >= sums["mf"][1] + 0.5, "both"


# Harmony between players


def test_a_flat_thirteenth_drives_out_the_fifth() -> None:
    """G7 in C minor: who plays the flat thirteenth and who does not must not rub, so nobody plays the fifth."""
    offer = tones(chord("G7"), degrees("b9 b13"))
    assert all("5" not in {d.name for d in chosen} for chosen, _ in selections(offer, 4))


@each("style", SWUNG)
def test_players_agree_on_the_fifth_of_a_dominant(style: str) -> None:
    music = cycle(style, minor=True)
    for index, span in enumerate(music.timeline.chords):
        if span.chord is None or span.chord.family != "dominant":
            continue
        names = {
            n.degree
            for p in measures.roles(music)
            for n in p.notes
            if n.chord == index and n.degree
        }
        assert not {"5", "b13"} <= names, (span.bar, span.symbol)


def test_power_chords_keep_flat_thirteenths_away() -> None:
    """Root and fifth of a rock guitar stand; the piano above adds no flat thirteenth to them."""
    tune = chart(" | ".join(["Fm7", "C7b9", "Fm7", "C7"] * 4), key="F minor", meter="4/4")
    keys = player(arranged(tune, "blues shuffle"), "keys")
    assert "b13" not in {n.degree for n in keys.notes}


def test_a_half_diminished_chord_is_not_voiced_as_a_dominant() -> None:
    """F Ab C Bb over D is Bb9: Dm7b5 takes its flat thirteenth only with its root."""
    offer = tones(chord("Dm7b5"), degrees("11 b13"))
    for chosen, _ in selections(offer, 4):
        names = {d.name for d in chosen}
        assert "b13" not in names or "1" in names


def test_a_triad_of_a_song_takes_no_sixth() -> None:
    """Outside of jazz comping a plain triad may become an add9, not a six-nine; a run passes the sixth."""
    tune = chart(" | ".join(["G", "C", "Em", "D", "C", "G/B", "Am", "D"] * 3), key="G", meter="4/4")
    for style in ("sixteenth-note pop", "backbeat soul", "six-eight ballad", "disco", "house"):
        music = arranged(tune, style)
        spans = music.timeline.chords
        for who in measures.roles(music, ("keys", "strings")):
            for note in who.notes:
                if note.why.kind is Kind.LINE:
                    continue  # a run passes it
                chord_ = spans[note.chord].chord
                assert chord_ is None or note.degree in {
                    "9",
                    *(d.name for d in chord_.degrees),
                }, (style, who.role, note)


def test_an_open_strum_keeps_its_shape_under_a_walking_bass() -> None:
    """The hand holds 022000 and the strum leaves out what would lie under the bass."""
    music = arranged(chart(" | ".join(["Em", "G", "Em", "C"] * 6), meter="4/4"), "bluegrass")
    names = {
        n.why.words.rsplit(", hand", 1)[0].rsplit(" ", 1)[1]
        for n in player(music, "guitar").notes
        if music.timeline.chords[n.chord].symbol == "Em"
    }
    assert names == {"022000"}
    assert not measures.below_bass(music, "guitar")


@each("dynamics", ["p", "ff"])
def test_thumb_and_fingers_hold_one_chord(dynamics: str) -> None:
    """Where the fingers come ahead of a chord, the thumb does not play the one before: it is one hand."""
    bars = " | ".join(["Cm7", "F7", "Bbmaj7", "Ebmaj7", "Am7b5", "D7", "Gm", "Gm"] * 3)
    for seed in (1, 2, 3):
        music = arranged(chart(bars, meter="2/4", dynamics=dynamics), "milonga", seed)
        for stroke, frets in measures.grips(player(music, "guitar")):
            assert len({n.chord for n in stroke}) == 1, stroke[0].start_q
            assert measures.holdable(frets)


def test_a_montuno_is_dry() -> None:
    """The octaves of a montuno do not ring under a pedal."""
    for style in ("salsa", "mambo"):
        music = arranged(chart(" | ".join(["Cm7", "F7"] * 6), meter="4/4"), style)
        notes = player(music, "keys").notes
        last = len(music.timeline.chords) - 1
        assert all(n.end_q - n.start_q <= 2 for n in notes if n.chord != last), style


def test_an_inverted_triad_takes_no_sixth() -> None:
    """G/B with a sixth is Em7/B."""
    for symbol in ("G/B", "D/F#"):
        key = Key(NoteName("G"))
        line = (chord("C"), chord(symbol), chord("Am7"))
        (_, function, _) = analyse(line, (4.0, 4.0, 4.0), key)
        assert "13" not in {d.name for d in colours(chord(symbol), function, key)}


@each("style", SWUNG)
def test_a_change_is_heard_in_every_hand(style: str) -> None:
    """Ebmaj7 to Abmaj7 and its like: no player lets all his notes lie under a new chord."""
    fourths = chart(" | ".join(["Ebmaj7", "Abmaj7", "Dm7", "Gm7"] * 6), key="Eb", meter="4/4")
    for music in (arranged(fourths, style), cycle(style), cycle(style, minor=True)):
        spans = music.timeline.chords
        for role in ("keys", "guitar"):
            same = [
                spans[b[0].chord].symbol
                for a, b in measures.changes(player(music, role))
                if spans[a[0].chord].chord != spans[b[0].chord].chord
                and {n.pitch for n in a} == {n.pitch for n in b}
            ]
            assert not same, role


@each("style", ["straight-ahead swing", "bossa nova", "neo-soul"])
@each("role", ["keys", "guitar"])
def test_the_top_line_moves(style: str, role: str) -> None:
    """Over more than thirty changes of a tune no top note stays for more than five of them."""
    tune = (
        "Ebmaj7 | Cm7 | Fm7 | Bb7 | Gm7 C7b9 | Fm7 Bb7 | Eb6 C7 | Fm7 Bb7 | Bbm7 | Eb7 | Abmaj7 | % | Am7b5 | D7alt "
        "| Gm7 C7 | Fm7 Bb13 | Ebmaj7 | Cm7 | Fm7 | Bb7 | Gm7 C7b9 | Fm7 Bb7 | Eb6 C7 | Fm7 Bb7"
    )
    music = arranged(chart(tune, key="Eb", meter="4/4", ending="as written"), style)
    spans = music.timeline.chords
    tops = [
        b[-1].pitch
        for a, b in measures.changes(player(music, role))
        if spans[a[0].chord].chord != spans[b[0].chord].chord
    ]
    assert len(tops) >= 32
    assert max(len(list(run)) for _, run in groupby(tops)) <= 5
    assert sum(a != b for a, b in pairwise(tops)) / len(tops) >= 0.4


def test_four_to_the_bar_keeps_off_the_thin_strings() -> None:
    """Rhythm guitar lives on the middle strings; three notes on the top three are a skank."""
    for minor in (False, True):
        guitar = player(cycle("straight-ahead swing", minor), "guitar")
        full = [s for s in struck(guitar).values() if len(s) == 3]
        assert full
        assert all(max(n.string for n in s) > 3 for s in full)
