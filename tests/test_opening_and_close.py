"""Introductions that a band adds, and how it ends where nobody says so.

Sources: the last bars, a pedal on the fifth or a vamp as introductions; iii-VI-ii-V in a tag; the half step above before
the last chord of a blues; a ritard in a ballad; a break before a short last chord in funk and salsa: common practice.
"""

from __future__ import annotations

from fractions import Fraction

from backing.chart.parse import parse
from backing.commands.options import Options
from backing.commands.preparing import prepare
from backing.ground.manners import INTROS
from backing.output.sheet.words import form_words
from backing.performance.explain import bar_name, explain
from backing.timeline.model import Timeline
from tests.band import arranged, notes_in, timeline
from tests.each import each

SONG = """key: {key}
meter: {meter}
[A]
| {one} | {six} | {two} | {five} | {one} | {six} | {two} {five} | {one} |
"""
MAJOR = SONG.format(key="C", meter="4/4", one="Cmaj7", six="Am7", two="Dm7", five="G7")
MINOR = SONG.format(key="D minor", meter="4/4", one="Dm7", six="Bbmaj7", two="Em7b5", five="A7")
PICKUP = """key: C
pickup: 1
[A]
| G7 | C | Am | Dm | G7 |
  melody: | G4 | C5 | A4 | F4 | D4 |
"""


def symbols(line: Timeline, first: int = 1, last: int = 99) -> list[str]:
    """The chords of some bars as played, bar by bar."""
    bars = line.bars[first - 1 : last]
    return [" ".join(s.symbol for s in line.chords if s.bar == b.index) for b in bars]


# -- introductions -------------------------------------------------------------------------------------------


@each(
    ("text", "manner", "told"),
    [
        (MAJOR, "last 4", ["Cmaj7", "Am7", "Dm7 G7", "G7"]),
        (MINOR, "last 4", ["Dm7", "Bbmaj7", "Em7b5 A7", "A7"]),
        (MAJOR, "pedal", ["Dm7/G", "G7sus4", "Dm7/G", "G7"]),
        (MINOR, "pedal", ["Em7b5/A", "A7sus4", "Em7b5/A", "A7"]),
        (MAJOR, "vamp", [*["Cmaj7"] * 7, "G7sus4"]),
        (MINOR, "vamp", [*["Dm7"] * 7, "A7sus4"]),
    ],
)
def test_what_an_introduction_is_made_of(text: str, manner: str, told: list[str]) -> None:
    asked, written = timeline(text, intro=manner), timeline(f"intro: {manner}\n{text}")
    assert (asked.chords, asked.tempo) == (written.chords, written.tempo)
    plain = timeline(text)
    count = len(told)
    assert symbols(asked, 1, count) == told
    assert {(b.number, b.line, b.section) for b in asked.bars[:count]} == {(0, 0, "Intro")}
    assert [b.number for b in asked.bars[count:]] == [b.number for b in plain.bars]
    length = asked.bars[count].start_q
    assert [(c.start_q - length, c.symbol) for c in asked.chords if c.bar > count] == [
        (c.start_q, c.symbol) for c in plain.chords
    ]
    assert asked.length_q == plain.length_q + length
    assert asked.sections[0].part == "intro"
    assert [b.index for b in asked.bars] == list(range(1, len(asked.bars) + 1))


def test_a_pickup_is_played_in_the_last_bar_of_the_introduction() -> None:
    plain, line = timeline(PICKUP), timeline(PICKUP, intro="pedal")
    assert plain.pickup
    assert not line.pickup
    assert all(b.length_q == 4 for b in line.bars)
    assert line.melody[0].start_q == 15
    assert [n.start_q - 15 for n in line.melody] == [n.start_q for n in plain.melody]
    assert [b.number for b in line.bars[:6]] == [0, 0, 0, 0, 1, 2]
    other = PICKUP.replace("| G7 | C |", "| F6 | C |")
    assert symbols(timeline(other, intro="pedal"), 4, 4) == ["G7 F6"]
    silent = PICKUP.replace("| G7 | C |", "| N.C. | C |")
    assert symbols(timeline(silent, intro="pedal"), 4, 4) == ["G7"]
    alone = "key: C\npickup: 1\n[Start]\n| G7 |\n[A]\n| C | F | G7 | C |\n"
    assert [s.name for s in timeline(alone, intro="vamp").sections][:2] == ["Intro", "A"]


def test_a_written_introduction_is_the_only_one() -> None:
    text = f"[Intro]\n| C | G7 |\n{MAJOR.replace('key: C', '').replace('meter: 4/4', '')}"
    for manner in INTROS[1:]:
        line = timeline(text, intro=manner)
        assert symbols(line) == symbols(timeline(text))
        assert "an introduction is written" in line.notes[-1]
    off = timeline(f"intro: vamp\n{MAJOR}", intro="off")
    assert symbols(off) == symbols(timeline(MAJOR))


@each("meter", ("3/4", "6/8", "7/8", "5/4", "2/2"))
def test_an_introduction_is_played_in_every_meter(meter: str) -> None:
    text = f"key: F\nmeter: {meter}\n| F | Bb | C7 | F | Dm | Gm | C7 | F |\n"
    for manner in INTROS[1:]:
        music = arranged(text, None, wish={"intro": manner})
        bars = music.timeline.bars
        assert bars[0].meter == bars[-1].meter
        assert any(notes_in(p.notes, 0, bars[0].end_q) for p in music.players)


@each(
    "text",
    (
        "| C |",
        "| N.C. |",
        "[A]\n| C |\n[B]\n| F | G7 |",
        "| C! | N.C. | % | % |",
        '| Am "fermata" |',
    ),
)
def test_tiny_forms_have_introductions_too(text: str) -> None:
    for manner in INTROS:
        music = arranged(text, wish={"intro": manner, "ending": None})
        assert music.players


def test_an_excerpt_and_a_loop_have_no_introduction() -> None:
    for wish in ({"bars": (2, 3)}, {"sections": ("A",)}):
        assert symbols(timeline(f"intro: vamp\n{MAJOR}", **wish)) == symbols(
            timeline(MAJOR, **wish)
        )
    looped = Options().changed(loop=True, intro="vamp")
    assert prepare(parse(MAJOR), looped).timeline.bars[0].number == 1


def test_a_vamp_builds_from_the_bass_and_with_a_flat_plan_it_does_not() -> None:
    music = arranged(MAJOR, wish={"intro": "vamp"})
    heard = [
        {p.role for p in music.players if notes_in(p.notes, Fraction(4 * n), Fraction(4 * n + 4))}
        for n in (0, 2, 4)
    ]
    assert heard[0] == {"bass"}
    assert heard[1] == {"bass", "drums"}
    assert heard[2] > {"bass", "drums"}
    flat = arranged(MAJOR, wish={"intro": "vamp", "plan": "flat"})
    assert {p.role for p in flat.players if notes_in(p.notes, 0, 4)} > {"bass", "drums"}
    assert "rests: the vamp builds" in explain(music)


def test_added_bars_are_told_as_such() -> None:
    line = timeline(MAJOR, intro="pedal")
    assert [bar_name(b) for b in line.bars[:2]] == ["added bar", "added bar (played 2)"]
    assert bar_name(line.bars[4]) == "bar 1 (played 5)"
    assert bar_name(timeline(PICKUP).bars[0]) == "pickup"
    text = explain(arranged(MAJOR, wish={"intro": "last 4"}), (5, 5))
    assert text.startswith("bar 5 (played 9)")


def test_the_sheet_says_what_is_played_before_the_tune() -> None:
    chart = parse(f"intro: vamp\n{MAJOR}")
    assert form_words(chart) == "intro: a vamp of eight bars"
    written = parse("intro: vamp\n[Intro]\n| C |\n[A]\n| F |\n")
    assert form_words(written) == "Intro – A"
    asked = prepare(parse(MAJOR), Options().changed(intro="last 4"))
    assert form_words(asked.chart) == "intro: the last four bars"


# -- endings -------------------------------------------------------------------------------------------------


@each(
    ("bars", "told"),
    [
        ("C | F | Dm7 | G7 | C6 | %", ["Dm7", "G7", "Em7", "A7"]),
        ("C | F | Am7 | Dm7 | G7 | C6", ["Am7", "Dm7", "G7", "Dm7 G7"]),
        ("C | F | F | Dm7 | G7 | C6", ["F", "Dm7", "G7", "Em7 A7"]),
        ("C | F | G7 | Am7 | C6 | C6", ["G7", "Am7", "A7", "Dm7"]),
        ("C | F | C | F | C | C", ["C", "F", "Em A7", "Dm G7"]),
        ("C | F | G7 | Am7 | F | G7", ["G7", "Am7", "F", "G7"]),
    ],
)
def test_a_tag_turns_round_on_its_first_two_rounds(bars: str, told: list[str]) -> None:
    line = timeline(f"key: C\nending: tag\n| {bars} |\n")
    first = line.sections[-2] if line.sections[-1].name == "Tag" else line.sections[-3]
    end = first.first - 1
    assert symbols(line, end - 3, end) == told
    assert symbols(line, end + 1, end + 4) == told
    rest = symbols(timeline(f"key: C\nending: as written\n| {bars} |\n"), 3, 6)
    assert symbols(line, end + 5, end + 8) == rest, "the last round is as it is written"


def test_a_tag_in_minor_and_under_a_melody() -> None:
    line = timeline("key: C minor\nending: tag\n| Cm7 | Fm7 | Dm7b5 | G7 | Cm7 | % |\n")
    assert symbols(line, 3, 6) == ["Dm7b5", "G7", "Em7b5", "A7b9"]
    sung = "key: C\nending: tag\n| C | F | Dm7 | G7 | C6 | % |\n  melody: | C5 | A4 | F4 | D4 | C5 | / / / / |\n"
    assert symbols(timeline(sung), 3, 6) == ["Dm7", "G7", "C6", "C6"]


BLUES = "key: {key}\nchoruses: 2\n| {one}7 | {four}7 | {one}7 | {one}7 | {four}7 | {four}7 | {one}7 | {one}7 | {five}7 | {four}7 | {one}7 | {last} |\n"


@each(
    ("keys", "told"),
    [
        ({"key": "C", "one": "C", "four": "F", "five": "G", "last": "G7"}, ["C7", "G7 Db9", "C7"]),
        ({"key": "Bb", "one": "Bb", "four": "Eb", "five": "F", "last": "F7"}, ["Bb7", "F7 B9", "Bb7"]),
        ({"key": "C", "one": "C", "four": "F", "five": "G", "last": "C7"}, ["F7 Db9", "C7", "C7"]),
    ],
)  # fmt: skip
def test_a_blues_closes_by_step(keys: dict[str, str], told: list[str]) -> None:
    text = BLUES.format(**keys)
    line = timeline(text, None)
    assert symbols(line)[-3:] == told
    assert "Db9" not in symbols(line, 1, 12)[-1]
    asked = symbols(timeline(text, None, ending=line.ending))
    assert "9" not in asked[-2], "whoever says how it ends has it so"
    short = symbols(timeline(f"ending: ring\n{text}", None))
    assert "9" not in short[-2]


def test_ballads_slow_down_and_funk_breaks_off_before_a_short_last_note() -> None:
    ballad = timeline(MAJOR, "pop ballad")
    assert ballad.tempo[-1].us > ballad.tempo[0].us
    assert (
        timeline(MAJOR, "pop ballad", ending=timeline(f"ending: ring\n{MAJOR}").ending).tempo[-1:]
        == (ballad.tempo[:1])
    )
    for style in ("funk", "salsa"):
        text = MAJOR.replace("[A]", "choruses: 3\n[A]")
        music = arranged(text, style)
        last = music.timeline.bars[-1]
        half = last.start_q - 2
        for player in music.players:
            silent = player.role not in ("drums", "click")
            early = [
                n
                for n in notes_in(player.notes, half, last.start_q)
                if n.chord != len(music.timeline.chords) - 1
            ]
            assert not (silent and early), (style, player.role)
            for note in notes_in(player.notes, last.start_q, last.end_q):
                assert note.start_q > last.start_q or note.length_q <= 1, (style, player.role)
        flat = arranged(text, style, wish={"plan": "flat"})
        bass = next(p.notes for p in flat.players if p.role == "bass")
        assert notes_in(bass, half, last.start_q)
