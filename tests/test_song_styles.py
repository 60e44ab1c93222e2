"""Country, session, march and song styles: what their own players would look for in the notes."""

from __future__ import annotations

from fractions import Fraction

from backing.band.model import Kind, Note
from backing.ground.pitch import Pitch
from backing.performance.perform import perform
from backing.styles.find import find
from tests.band import arranged, chart, performer, player
from tests.each import each

PLAIN = "C | C | C | C | C | C | C | C"


def notes_of(style: str, role: str, bars: str = PLAIN, **settings: str) -> tuple[Note, ...]:
    meter = find(style).meters[0].full_name
    text = chart(bars, meter=meter, ending="as written", count_in="off", **settings)
    return tuple(player(arranged(text, style), role).notes)


@each(
    ("style", "step"),
    [
        ("bluegrass", 2), ("country train beat", 2), ("country two-step", 2), ("country ballad", 2),
        ("Cajun two-step", 1), ("schottische", 2), ("folk finger-picking", 1),
    ],
)  # fmt: skip
def test_the_bass_strings_are_root_and_fifth_by_turns(style: str, step: int) -> None:
    """Boom-chick, and the alternating thumb of a picked guitar (common practice)."""
    thumb = [n for n in notes_of(style, "guitar") if n.why.kind is Kind.THUMB]
    for place, degree in ((0, 0), (step, 7)):
        found = [n.pitch % 12 for n in thumb if n.start_q % (2 * step) == place]
        assert found.count(degree) >= max(4, 0.85 * len(found))


@each("style", ["country waltz", "Cajun waltz"])
def test_the_bass_strings_of_a_waltz_go_to_the_fifth_in_the_second_bar(style: str) -> None:
    """Root on one, the fifth on one of the next bar (common practice)."""
    thumb = {n.start_q: n.pitch % 12 for n in notes_of(style, "guitar") if n.why.kind is Kind.THUMB}
    bars = [(thumb.get(Fraction(6 * i)), thumb.get(Fraction(6 * i + 3))) for i in range(4)]
    assert (0, 7) in bars
    assert {b for b in bars if None not in b} <= {(0, 7), (0, 0)}


def test_the_guitar_of_bluegrass_runs_into_the_phrase() -> None:
    """1 2 b3 3 5 6 8, the third hammered on, from the low root (common practice of flat-picking)."""
    found = []
    for seed in range(1, 5):
        text = chart("G | G | G | G | C | D | G | G", key="G", meter="4/4", ending="as written")
        guitar = player(arranged(text, "bluegrass", seed), "guitar")
        found.append([n.pitch for n in guitar.notes if n.why.kind in (Kind.LINE, Kind.HAMMERED)])
    run = [Pitch.parse(p).midi for p in ("G2", "A2", "Bb2", "B2", "D3", "E3", "G3")]
    assert any(run == line[i : i + 7] for line in found for i in range(len(line)))


@each("style", ["jig", "reel", "hornpipe", "slow air"])
def test_a_session_fiddle_drones_in_fifths(style: str) -> None:
    """Root and fifth together, or one of them, and no third (common practice)."""
    fiddle = notes_of(style, "strings", "D | D | G | G | D | A | D | D", key="D")
    assert {n.degree for n in fiddle} <= {"1", "5"}
    together = {n.start_q: 0 for n in fiddle}
    for note in fiddle:
        together[note.start_q] += 1
    assert 2 in together.values()


@each("style", ["polka", "nine-eight 2+2+2+3", "Viennese waltz", "freylekhs"])
def test_a_clarinet_has_one_voice(style: str) -> None:
    """A wind player sounds one note at a time."""
    for dynamics in ("p", "mf", "f"):
        starts = [n.start_q for n in notes_of(style, "horns", dynamics=dynamics)]
        assert starts
        assert len(starts) == len(set(starts))


def test_a_train_beat_is_as_fast_as_trains_are() -> None:
    """Brushed eighths of a cut four lie at six to eight a second (common practice)."""
    eighths = find("country train beat").usual_bpm * 2 / 60
    assert 6 <= eighths <= 8


@each("dynamics", ["p", "mf", "f"])
def test_the_soft_strokes_of_a_train_beat_stay_under_its_accents(dynamics: str) -> None:
    """What is between the accents has at most three quarters of their loudness, what is soft half (common practice)."""
    music = arranged(chart(PLAIN, meter="4/4", dynamics=dynamics), "country train beat")
    snare = [n for n in player(music, "drums").notes if n.pitch == 38]
    accents = [n.velocity for n in snare if n.start_q % 2 == 1]
    soft = [n.velocity for n in snare if n.start_q % 1 and n.start_q % 4 < Fraction(7, 2)]
    assert sum(soft) / len(soft) <= 0.55 * sum(accents) / len(accents)


def test_a_march_leads_in_with_a_roll_off_and_ends_with_a_stinger() -> None:
    """Snare and bass drum before the first bar; a short chord on the second beat of the last (common practice)."""
    music = arranged(chart("C | F | G7 | C", meter="2/4", tempo="116"), "march")
    snare = [n for n in player(music, "click").notes if n.start_q < 0 and n.pitch == 38]
    assert len(snare) > 12
    last = music.timeline.bars[-1].start_q
    brass = [n for n in player(music, "horns").notes if n.start_q >= last]
    assert {n.start_q - last for n in brass} == {0, 1}
    assert max(n.end_q for n in brass) <= last + 2


def test_the_second_beat_of_a_viennese_waltz_is_early() -> None:
    """The first beat is short and the second long (Bengtsson and Gabrielsson 1983, from memory), for all who play it."""
    music = arranged(
        chart("C | F | G7 | C | C | F | G7 | C", meter="3/4", tempo="174"), "Viennese waltz"
    )
    played = perform(music)
    for role in ("keys", "guitar", "drums"):
        late: dict[int, list[float]] = {1: [], 2: []}  # ms, on two and on three
        for note in performer(played, role).notes:
            beat = round(note.start_q)
            if beat % 3 in late and note.pitch != 36 and abs(note.start_q - beat) < 0.3:
                late[beat % 3].append((note.start_q - beat) * 60_000 / 174)
        assert -55 <= sum(late[1]) / len(late[1]) <= -25, role
        assert all(abs(ms) < 25 for ms in late[2]), role


def test_the_thumb_is_heard_of_a_picked_chord() -> None:
    """Root and fifth that the thumb plays are not plucked again by a finger (common practice)."""
    guitar = notes_of("folk finger-picking", "guitar", "D | G | A | D | D | G | A | D", key="D")
    together = [n for n in guitar if "so that the chord is heard" in n.why.words]
    assert len(together) <= 0.05 * len(guitar)


def test_where_the_scale_has_no_step_to_the_next_bass_there_is_the_fifth() -> None:
    """Folk and ballad basses lead by the scale: from F to G there is no G flat (common practice)."""
    inside = {0, 2, 4, 5, 7, 9, 11}
    for style in ("folk strum", "pop ballad", "country ballad", "six-eight ballad"):
        meter = find(style).meters[0].full_name
        for seed in range(1, 4):
            text = chart("F | G | F | G | C | F | G | C", meter=meter, ending="as written")
            bass = player(arranged(text, style, seed), "bass")
            assert {n.pitch % 12 for n in bass.notes} <= inside, (style, seed)
