"""A chart becomes a timeline: every case file, the invariants that hold for all, and what is refused.

A case file holds a chart, a line of dashes, and what is expected, one `name: value` a line. The order of play is
written by hand from the rules in `data/order_of_play.md`, which names their sources.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import pytest

from backing.chart.ast import (
    Bar,
    Chart,
    Direction,
    Header,
    MusicLine,
    Section,
    Settings,
    Slot,
    Text,
)
from backing.chart.parse import parse
from backing.commands.cli import run
from backing.ground.errors import ChartError, RequestError
from backing.ground.pitch import Key
from backing.ground.source import Source, Span
from backing.ground.timebase import FOUR_FOUR, TempoMap
from backing.harmony.symbol import read
from backing.timeline.form import Form
from backing.timeline.model import Strike, Timeline
from backing.timeline.unroll import style_name, unroll
from tests.each import each

CASES = sorted((Path(__file__).parent / "cases" / "unroll").glob("*.txt"))
DEMOS = sorted((Path(__file__).parent.parent / "demo").glob("*.txt"))


def request_of(text: str) -> Form:
    """`key=Eb bars=5-8 section=A choruses=2 …` as a request."""
    given: dict[str, object] = {}
    sections = []
    for part in text.split():
        name, value = part.split("=")
        if name == "key":
            given["key"] = Key.parse(value)
        elif name == "bars":
            given["bars"] = tuple(int(n) for n in value.split("-"))
        elif name == "section":
            sections.append(value)
        elif name == "length":
            given["length_s"] = float(value)
        elif name == "bpm":
            given["tempo_bpm"] = Fraction(value)
        elif name == "percent":
            given["tempo_percent"] = Fraction(value) / 100
        else:
            given[name] = int(value)
    return Form(sections=tuple(sections), **given)  # type: ignore[arg-type]


def q(value: Fraction) -> str:
    return str(value)


def listed(values: list[str]) -> str:
    return " ".join(values) or "-"


SHOWN: dict[str, Callable[[Timeline], str]] = {
    "order": lambda t: listed([str(b.number) for b in t.bars]),
    "bars": lambda t: str(len(t.bars)),
    "start": lambda t: listed([q(b.start_q) for b in t.bars]),
    "chorus": lambda t: listed([str(b.chorus) for b in t.bars]),
    "sections": lambda t: listed([s.name or "-" for s in t.sections]),
    "parts": lambda t: listed([s.part for s in t.sections]),
    "passes": lambda t: listed([str(s.pass_) for s in t.sections]),
    "keys": lambda t: listed([b.key.short_name for b in t.bars]),
    "chords": lambda t: listed([c.symbol for c in t.chords]),
    "written": lambda t: listed([c.written for c in t.chords]),
    "again": lambda t: listed(["y" if c.again else "n" for c in t.chords]),
    "held": lambda t: listed(["y" if c.held else "n" for c in t.chords]),
    "push": lambda t: listed([q(c.push_q) for c in t.chords]),
    "strikes": lambda t: listed([c.strike.value for c in t.chords]),
    "fermatas": lambda t: listed([q(c.start_q) for c in t.chords if c.fermata]),
    "swings": lambda t: "|".join(b.feel.name if b.feel else "-" for b in t.bars),
    "feels": lambda t: "|".join(b.time_feel.value for b in t.bars),
    "hand": lambda t: "|".join(str(b.hand or "-") for b in t.bars),
    "tacet": lambda t: "|".join(",".join(sorted(b.tacet)) or "-" for b in t.bars),
    "players": lambda t: "|".join(
        "all" if b.players is None else ",".join(sorted(b.players)) for b in t.bars
    ),
    "levels": lambda t: "|".join(
        ",".join(f"{player} {db:+g}" for player, db in b.levels) or "-" for b in t.bars
    ),
    "breaks": lambda t: listed([str(b.number) for b in t.bars if b.breaks]),
    "fills": lambda t: listed([str(b.number) for b in t.bars if b.fills]),
    "rubato": lambda t: listed([str(b.number) for b in t.bars if b.rubato]),
    "dynamics": lambda t: listed(
        [
            "-" if b.dynamic is None else f"{Fraction(b.dynamic)}-{Fraction(b.dynamic_end or 0)}"
            for b in t.bars
        ]
    ),
    "claves": lambda t: listed([b.clave or "-" for b in t.bars]),
    "colours": lambda t: listed([str(b.colour).lower() for b in t.bars]),
    "halves": lambda t: listed([str(b.clave_half) for b in t.bars]),
    "melody": lambda t: listed([f"{n.pitch.name}@{n.start_q}-{n.end_q}" for n in t.melody]),
    "hits": lambda t: listed([f"{h.start_q}-{h.end_q}" for h in t.hits if not h.kick]),
    "kicks": lambda t: listed([f"{h.start_q}-{h.end_q}" for h in t.hits if h.kick]),
    "tempo": lambda t: listed([f"{s.at_q}={s.us}" for s in t.tempo]),
    "seconds": lambda t: str(TempoMap(t.tempo).exact_s(t.length_q)),
    "pickup": lambda t: "yes" if t.pickup else "no",
    "fade": lambda t: str(t.fade_bars),
    "ending": lambda t: t.ending.name,
    "style": lambda t: t.style,
    "notes": lambda t: "; ".join(t.notes) or "-",
}


@pytest.mark.parametrize("path", CASES, ids=lambda p: p.stem)
def test_a_case_unrolls_as_written_beside_it(path: Path) -> None:
    text, _, expected = path.read_text("utf-8").partition("-----\n")
    wanted = dict(line.split(":", 1) for line in expected.strip().splitlines())
    timeline = unroll(parse(text, path.name), request_of(wanted.pop("request", "")))
    check(timeline)
    assert wanted, "a case expects something"
    for name, value in wanted.items():
        assert SHOWN[name](timeline) == value.strip(), name


@each("path", DEMOS, ids=lambda p: p.stem)
def test_a_demo_fills_every_bar(path: Path) -> None:
    check(unroll(parse(path.read_text("utf-8"), path.name)))


def check(timeline: Timeline) -> None:
    """What holds for every timeline: no gap, no overlap, counts that agree."""
    at_q = Fraction(0)
    for index, bar in enumerate(timeline.bars, 1):
        assert bar.index == index
        assert bar.start_q == at_q < bar.end_q
        section = timeline.sections[bar.section_index]
        assert section.first <= index <= section.last
        assert (section.name, section.pass_, section.chorus) == (
            bar.section,
            bar.pass_,
            bar.chorus,
        )
        at_q = bar.end_q
    assert timeline.length_q == at_q
    at_q = Fraction(0)
    for span in timeline.chords:
        bar = timeline.bars[span.bar - 1]
        assert span.start_q == at_q < span.end_q
        assert bar.start_q <= span.start_q
        assert span.end_q <= bar.end_q
        assert span.symbol == (span.chord.symbol if span.chord else "N.C.")
        at_q = span.end_q
    assert at_q == timeline.length_q
    for before, after in zip(timeline.chords, timeline.chords[1:], strict=False):
        assert after.sounds_q > before.start_q
    next_bar = 1
    for section in timeline.sections:
        assert section.first == next_bar <= section.last
        next_bar = section.last + 1
    assert next_bar == len(timeline.bars) + 1
    steps = timeline.tempo
    assert steps[0].at_q == 0
    assert all(a.at_q < b.at_q < timeline.length_q for a, b in itertools.pairwise(steps))
    assert all(0 < s.us <= 16_777_215 for s in steps)


def bar(number: int, symbol: str, *directions: str) -> Bar:
    span = Span(number, number + 1)
    texts = tuple(Text(d, Fraction(0), span, Direction(d)) for d in directions)
    slot = Slot(Fraction(0), Fraction(4), read(symbol), symbol, span)
    return Bar(number, FOUR_FOUR, (slot,), span, texts=texts)


def chart(*bars: Bar, times: int = 0) -> Chart:
    """A chart of one unnamed section, made by hand."""
    span = Span(0, 1)
    section = Section("", Settings(), (MusicLine(bars, span),), span)
    header = Header(choruses=times or None)
    return Chart(Source("hand.txt", "x" * 60), header, Settings(), (section,), ("",))


@each(
    ("bars", "code", "message"),
    [
        (
            (bar(1, "C"), bar(2, "F", "D.S.")),
            "E331",
            "D.S. needs a Segno, and none is in this chart",
        ),
        (
            (bar(1, "C"), bar(2, "F", "To Coda"), bar(3, "G7")),
            "E331",
            "To Coda needs a Coda, and none is in this chart",
        ),
        (
            (bar(1, "C"), bar(2, "F", "D.C. al Fine")),
            "E331",
            "D.C. al Fine needs a Fine, and none is in this chart",
        ),
        (
            (bar(1, "C", "Segno"), bar(2, "F", "D.S. al Coda"), bar(3, "C", "Coda")),
            "E331",
            "D.S. al Coda needs a To Coda, and none is in this chart",
        ),
    ],
)
def test_a_direction_that_leads_nowhere_is_an_error_at_its_place(
    bars: tuple[Bar, ...], code: str, message: str
) -> None:
    with pytest.raises(ChartError) as wrong:
        unroll(chart(*bars))
    (diagnostic,) = wrong.value.diagnostics
    assert (diagnostic.code, diagnostic.message) == (code, message)
    assert diagnostic.span == Span(2, 3)


def test_a_chart_of_which_nothing_is_played_is_an_error() -> None:
    """A second ending that is never reached, and nothing before it."""
    with pytest.raises(ChartError) as wrong:
        unroll(parse("key: C\n[A]\n|2. C | G7 ||\n"))
    (diagnostic,) = wrong.value.diagnostics
    assert diagnostic.code == "E602"
    assert diagnostic.message == (
        "no bar of this chart is ever played, for its endings leave nothing over"
    )
    assert diagnostic.hint == "begin the endings with  |1."


def test_a_chart_without_end_is_refused_before_it_is_played() -> None:
    """Repeats of repeats of choruses: a short text that would last for days."""
    text = "choruses: 200\nform: (A x99) x99\n[A]\n|: C | F | G7 | C :| x99\n"
    with pytest.raises(ChartError) as wrong:
        unroll(parse(text))
    assert wrong.value.diagnostics[0].code == "E601"
    assert (
        wrong.value.diagnostics[0].message
        == "more than 20,000 bars would be played, which is the limit"
    )


def test_the_limit_itself_can_be_played() -> None:
    text = "choruses: 200\n[A]\n|: " + "C | " * 49 + "C :|\n"
    assert len(unroll(parse(text)).bars) == 20_000


@each(
    ("request_text", "message"),
    [
        (
            "section=C",
            "--section C: no such section is played; there are Intro, A, Bridge.",
        ),
        (
            "section=brigde",
            "--section brigde: no such section is played; there are Intro, A, Bridge."
            " Did you mean 'Bridge'?",
        ),
        ("bars=7-9", "--bars 7-9: the sheet has bars 1 to 3, as far as they are played"),
        (
            "choruses=19999",
            "--choruses 19999: more than 20,000 bars would be played; ask for fewer",
        ),
        (
            "section=A choruses=20001",
            "--choruses 20001: more than 20,000 bars would be played; ask for fewer",
        ),
    ],
)
def test_a_request_for_what_is_not_there_is_refused(request_text: str, message: str) -> None:
    song = parse("key: C\n[Intro]\n| C |\n[A]\n| F |\n[Bridge]\n| C |\n")
    with pytest.raises(RequestError) as wrong:
        unroll(song, request_of(request_text))
    assert str(wrong.value) == message


def test_sections_without_names_cannot_be_asked_for() -> None:
    with pytest.raises(RequestError, match="no named sections; choose bars with --bars"):
        unroll(parse("| C | F |\n"), request_of("section=A"))


def test_bars_that_are_never_played_cannot_be_asked_for() -> None:
    """The second ending is never reached: the section is played once, in one chorus."""
    song = parse("key: C\nending: as written\n[A]\n| C |1. G7 ||2. F ||last. C |]\n[B]\n| F |\n")
    with pytest.raises(RequestError, match=r"--bars 2-2: these bars are never played"):
        unroll(song, request_of("bars=2-2"))


@each(
    ("meter", "style"),
    [
        ("4/4", "rock eighths"),
        ("3/4", "jazz waltz"),
        ("12/8", "slow blues"),
        ("7/8", "rock eighths"),
    ],
)
def test_the_meter_chooses_a_style_where_none_is_written(meter: str, style: str) -> None:
    song = parse(f"key: C\ntempo: 100\nmeter: {meter}\n| C | F |\n")
    assert style_name(song) == style
    timeline = unroll(song)
    assert timeline.style == style
    assert timeline.notes[0] == f"no style is written: {style} is played"


def test_a_style_that_is_asked_for_holds_for_sections_with_their_own() -> None:
    song = parse("style: bossa nova\n[A]\n| C |\n[B]\nstyle: straight-ahead swing\n| F |\n")
    assert [b.style for b in unroll(song).bars[:2]] == [None, "straight-ahead swing"]
    asked = unroll(song, Form(style="pop ballad"))
    assert asked.style == "pop ballad"
    assert {b.style for b in asked.bars} == {None}


def test_an_unset_push_follows_the_grid_of_the_style() -> None:
    song = parse("[A]\n| C <F |\n[B]\nstyle: straight-ahead swing\n| C <F |\n")
    timeline = unroll(
        song, grid_q=Fraction(1, 4), section_grids={"straight-ahead swing": Fraction(1, 2)}
    )
    assert [c.push_q for c in timeline.chords if c.push_q] == [Fraction(1, 4), Fraction(1, 2)]


def test_an_unset_push_comes_a_triplet_early_where_the_style_plays_in_triplets() -> None:
    """The eighth before the beat is the last of three there (common practice); dotted beats have eighths anyway."""
    third = Fraction(1, 3)
    for head, wanted in (("4/4", third), ("12/8", Fraction(1, 2)), ("6/8", Fraction(1, 2))):
        song = parse(f"meter: {head}\n[A]\n| C <F |\n")
        assert [c.push_q for c in unroll(song, grid_q=third).chords if c.push_q] == [wanted], head
    song = parse("push: 8\n[A]\n| C <F |\n")
    assert [c.push_q for c in unroll(song, grid_q=third).chords if c.push_q] == [Fraction(1, 2)]


def test_plain_leaves_out_unwritten_colours_everywhere() -> None:
    song = parse("colour: full\n[A]\n| C |\n[B]\ncolour: full\n| F |\n")
    assert {b.colour for b in unroll(song, Form(plain=True)).bars} == {False}


def test_a_stop_goes_on_through_a_chord_that_is_held() -> None:
    """The `/` at the bar line is not a new stroke, and nobody keeps time in it."""
    timeline = unroll(parse("ending: as written\n| G7! | / / / C | C= | C |\n"))
    assert [(c.strike, c.held) for c in timeline.chords] == [
        (Strike.STOP, False),
        (Strike.STOP, True),
        (Strike.NORMAL, False),
        (Strike.RING, False),
        (Strike.NORMAL, False),
    ]


def test_the_line_of_the_text_goes_with_every_bar_and_none_with_an_added_one() -> None:
    timeline = unroll(parse("key: C\n\n| C | Am |\n| Dm7 | G7 | F | G7 |\n"))
    assert [b.line for b in timeline.bars] == [3, 3, 4, 4, 4, 4, 0]


def test_a_key_is_guessed_from_the_chords_and_said_so() -> None:
    """Chords of one scale with its fifth falling home (a ii-V-I is the textbook sign of a key, common practice)."""
    for symbols, key in (
        ("Dm7 | G7 | Cmaj7 | Am7 | Dm7 | G7 | C6", "C major"),
        ("Am7b5 | D7b9 | Gm6 | Cm7 | Am7b5 | D7b9 | Gm6", "G minor"),
        ("E | A | E | E | A | A | E | C#m | B7 | A | E | E", "E major"),
        ("F7 | Bb7 | F7 | F7 | Bb7 | Bb7 | F7 | D7 | Gm7 | C7 | F7 | F7", "F major"),
    ):
        timeline = unroll(parse(f"| {symbols} |\n"))
        assert timeline.key.name == key
        assert f"no key is written: the chords are read in {key}" in timeline.notes


@each("semitones", range(-11, 12))
def test_transposing_keeps_every_chord_and_spells_it_sanely(semitones: int) -> None:
    """Pitch classes move by the interval; a root never needs more than one accidental, a key never more than six."""
    text = "key: Db\n| Dbmaj7 | Gb7 | Bbm7b5/Fb | Eb7alt | Abm(maj7) | Bbbmaj7#11 | Ab7 | Db6/9 |\n"
    plain = unroll(parse(text))
    moved = unroll(parse(text), Form(transpose=semitones))
    assert abs(moved.key.fifths) <= 6
    for before, after in zip(plain.chords, moved.chords, strict=True):
        assert before.chord is not None
        assert after.chord is not None
        assert after.chord.root.pc == (before.chord.root.pc + semitones) % 12
        assert after.chord.lowest.pc == (before.chord.lowest.pc + semitones) % 12
        assert after.chord.pitch_classes == tuple(
            (pc + semitones) % 12 for pc in before.chord.pitch_classes
        )
        if semitones:
            assert abs(after.chord.root.alter) <= 1
            assert all(abs(n.alter) <= 2 for n in after.chord.notes)
        assert after.written == before.written


def test_two_runs_give_equal_timelines() -> None:
    song = parse((DEMOS[0]).read_text("utf-8"))
    assert unroll(song) == unroll(song)


def test_a_minor_key_for_a_major_tune_moves_it_and_says_so() -> None:
    timeline = unroll(parse("key: C\n| C | F |\n"), Form(key=Key.parse("E minor")))
    assert timeline.key.name == "E major"
    assert (
        "E minor was asked for, and the chart is in major: it is moved to E major" in timeline.notes
    )


def test_a_plain_key_for_a_minor_tune_means_minor() -> None:
    timeline = unroll(parse("key: Am\n| Am | E7 |\n"), Form(key=Key.parse("C")))
    assert timeline.key.name == "C minor"
    assert [c.symbol for c in timeline.chords][:2] == ["Cm", "G7"]


def test_the_key_of_the_first_section_is_the_charts_where_the_header_has_none() -> None:
    timeline = unroll(parse("[A]\nkey: Eb\n| Eb | Ab |\n[B]\n| Bb7 | Eb |\n"))
    assert {b.key.name for b in timeline.bars} == {"Eb major"}
    assert not any("no key" in note for note in timeline.notes)


def test_a_fade_is_never_longer_than_the_tune() -> None:
    assert unroll(parse("key: C\nending: fade 8\n| C | F |\n")).fade_bars == 2


def test_a_chart_without_chords_is_in_c() -> None:
    timeline = unroll(parse("| N.C. | % |\n"))
    assert timeline.key.name == "C major"
    assert len(timeline.bars) == 2


def test_a_tune_that_never_plays_its_tonic_ends_on_a_plain_triad() -> None:
    for key, symbol in (("Bb", "Bb"), ("Fm", "Fm")):
        timeline = unroll(parse(f"key: {key}\n" + "| Gm7 | Eb | Dm7b5 | C7 |\n" * 2))
        assert timeline.chords[-1].symbol == symbol
        assert timeline.bars[-1].line == 0


def test_directions_that_lead_nowhere_are_errors_whatever_is_asked_for() -> None:
    with pytest.raises(ChartError):
        unroll(chart(bar(1, "C"), bar(2, "F", "D.S.")), Form(choruses=2))


@pytest.mark.parametrize(
    "path", [p for p in CASES if p.stem.startswith("every-construct")], ids=lambda p: p.stem
)
def test_check_prints_the_bars_in_the_order_written_by_hand(
    path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each row begins with the number of its first bar; the numbers go on by one inside a row."""
    text, _, facts = path.read_text("utf-8").partition("-----\n")
    order = next(line.split()[1:] for line in facts.splitlines() if line.startswith("order:"))
    tune = tmp_path / "tune.txt"
    tune.write_text(text, "utf-8")
    assert run(["check", str(tune)]) == 0
    printed: list[str] = []
    for line in capsys.readouterr().out.splitlines():
        row = re.match(r" *([0-9]+)  \| (.*) \|$", line)
        if row:
            printed += [str(int(row[1]) + i) for i in range(len(row[2].split(" | ")))]
    assert printed == order
