"""Chords as numbers and numerals: read in a key, written in one, moved with it.

*Source* of the rows: `tests/data/numerals.tsv`, which names its own.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from backing.chart.ast import Chart
from backing.chart.notation import written_as
from backing.chart.numbers import in_notation, read_in_key
from backing.chart.parse import parse
from backing.chart.transpose import transpose_chart
from backing.chart.write import write
from backing.commands.cli import run
from backing.commands.options import Options
from backing.commands.preparing import band, prepare
from backing.ground.errors import RequestError
from backing.ground.pitch import Key
from backing.harmony.spelling import interval_to_key
from backing.harmony.symbol import read
from backing.output.page.data import page_data
from backing.output.sheet.write import layout
from backing.reading.asked import Reading
from backing.reading.opened import opened
from backing.timeline.unroll import unroll
from tests.chord_tables import symbols
from tests.each import each
from tests.generated import KEYS

HERE = Path(__file__).parent
ROWS = [
    tuple(x.split("\t"))
    for x in (HERE / "data" / "numerals.tsv").read_text("utf-8").splitlines()[2:]
]


def test_the_table_is_whole() -> None:
    assert len(ROWS) == 40


@each("text, key, kind, chord, note", ROWS, ids=lambda cell: cell[:24])
def test_a_row_of_the_table_is_read_with_its_doubts(
    text: str, key: str, kind: str, chord: str, note: str
) -> None:
    found = read_in_key(text, Key.parse(key), "numbers" if kind == "number" else "numerals")
    assert found.chord is not None
    if chord == "AMBIGUOUS":
        assert found.doubt is not None
        assert found.doubt.hint.startswith("type  ")
    else:
        assert found.chord == read(chord)
        assert bool(found.doubt) == ("AMBIGUOUS" in note and "there" not in note)


@each("text, key, symbol", (
    ("vi", "A minor", "F#m"), ("III", "A minor", "C"), ("bVI", "C minor", "Ab"), ("vii°7/V", "C major", "F#dim7"), ("subV7/ii", "C major", "Eb7"),
    ("V7/vi", "G major", "B7"), ("ii65", "C major", "Dm7/F"), ("I42", "C major", "Cmaj7/B"), ("viiø65", "C major", "Bm7b5/D"), ("IV/5", "C major", "F/G"),
    ("V7b9", "C major", "G7b9"), ("Isus4", "C major", "Csus4"), ("I(6)", "C major", "C6"), ("N", "E major", "F"), ("iadd9", "A minor", "Amadd9"), ("V+", "C major", "Gaug"),
))  # fmt: skip
def test_numerals(text: str, key: str, symbol: str) -> None:
    """Common practice."""
    assert read_in_key(text, Key.parse(key), "numerals").chord == read(symbol)


@each(
    "text, notation",
    (
        ("8", "numbers"),
        ("H", "numbers"),
        ("4/9", "numbers"),
        ("VIII", "numerals"),
        ("Vx", "numerals"),
        ("V/x", "numerals"),
        ("subI", "numerals"),
        ("", "numerals"),
    ),
)
def test_what_is_neither(text: str, notation: str) -> None:
    assert read_in_key(text, Key.parse("C"), notation).chord is None


@each(
    "notation, key",
    [(n, k) for n in ("numbers", "numerals") for k in ("C", "Eb", "F#", "Am", "F minor")],
)
def test_every_symbol_goes_into_a_notation_and_back(notation: str, key: str) -> None:
    home = Key.parse(key)
    lost = []
    for symbol in symbols():
        chord = read(symbol)
        if chord is None:
            continue
        text = in_notation(chord, home, notation)
        if not text:
            lost.append(symbol)
        else:
            assert read_in_key(text, home, notation).chord == chord
    assert len(lost) < len(symbols()) / 10, lost


LETTERS = """\
key: {key}
style: straight-ahead swing
[A]
| I | vi7 | ii7 | V7 | I / I/3 / | IV #ivo7 | I64 (V7/ii VI7) | ii7 V7 |
[B]
| iii7 | V7/ii | ii7 | V7/V | <V7 | subV7 | bVII7 | IV! |
[A]
[C]
| 3/4 I | bIII | bVI | V7sus4 | viiø7 | V7b9/vi | vi | N.C. |
"""


def numerals(key: str) -> Chart:
    return parse(
        LETTERS.format(key=key).replace("style", "chords: numerals\nstyle", 1).replace("I/3", "I/3")
    )


@each("key", KEYS)
def test_a_chart_in_numbers_sounds_as_its_twin_in_letters(key: str) -> None:
    """Three tunes of the same 32 bars: in numerals, and from there in numbers and letters."""
    first = numerals(key)
    heard = unroll(first)
    for notation in ("numbers", "letters"):
        twin = parse(write(written_as(first, notation)))
        there = unroll(twin)
        assert [(c.start_q, c.end_q, c.chord, c.push_q) for c in there.chords] == [
            (c.start_q, c.end_q, c.chord, c.push_q) for c in heard.chords
        ]
    assert sum(len(s.bars) for s in first.sections) + 8 == 32


@each("key", KEYS)
def test_numbers_stay_where_the_key_moves(key: str) -> None:
    home = numerals("C")
    moved = transpose_chart(home, interval_to_key(Key.parse("C"), Key.parse(key)))
    assert write(moved) == write(numerals(key)).replace(
        f"key:    {key}\n",
        f"key:    {moved.settings.key.short_name if moved.settings.key else ''}\n",
    )
    assert [s.chord for s in moved.sections[0].bars[1].slots] == [
        s.chord
        for s in numerals(moved.settings.key.short_name if moved.settings.key else key)
        .sections[0]
        .bars[1]
        .slots
    ]


def test_a_slash_in_a_bar_of_numbers_is_a_bass_a_beat_or_a_meter() -> None:
    chart = parse("key: C\nchords: numbers\n| 1/3 | 1 / 4 / | 3/4 1 | 4/4 1/3 5^7 | 5/7 4/6 |\n")
    bars = chart.sections[0].bars
    assert [[s.chord.symbol for s in b.slots if s.chord] for b in bars] == [
        ["C/E"],
        ["C", "F"],
        ["C"],
        ["C/E", "G7"],
        ["G/B", "F/A"],
    ]
    assert [b.meter.name for b in bars] == ["4/4", "4/4", "3/4", "4/4", "4/4"]


def test_a_section_may_be_written_otherwise() -> None:
    chart = parse(
        "key: F\n[A]\n| F |\n[B]\nkey: G\nchords: numbers\n| 1 |\n[C]\nchords: numerals\n| I |\n"
    )
    assert [
        s.bars[0].slots[0].chord.symbol for s in chart.sections if s.bars[0].slots[0].chord
    ] == ["F", "G", "F"]


def test_the_sheet_shows_what_is_written() -> None:
    chart = parse("key: Bb\nchords: numbers\n| 1 | 2-7 | b7maj7 | 1/3 | 5! | N.C. |\n")
    texts = [getattr(m, "text", "") for page in layout(chart) for m in page]
    for sign in ("1", "2", "-", "7", "♭", "maj", "/", "3", "5"):
        assert sign in texts
    assert texts.count("B") == 1  # of the key
    assert "N.C." in texts


def test_without_a_key_nothing_is_written_in_numbers() -> None:
    with pytest.raises(RequestError, match="the chart has no key"):
        written_as(parse("| C |"), "numbers")


def test_what_is_asked_for_counts_where_the_chart_does_not_say() -> None:
    chart = opened(b"key: G\n| 1 | 4 |\n", "a.txt", Reading(read_as="numbers"))
    assert [s.chord.symbol for b in chart.sections[0].bars for s in b.slots if s.chord] == [
        "G",
        "C",
    ]


def test_the_command_writes_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source, made = tmp_path / "a.txt", tmp_path / "b.txt"
    source.write_text("key: G\n| G Em | C D7/F# |\n", "utf-8")
    assert run(["make", str(source), "-o", str(made), "--write-as", "numbers", "--key", "A"]) == 0
    assert made.read_text("utf-8") == "key:    A\nchords: numbers\n| 1 6- | 4 5^7/7 |\n"
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize("notation", ["numbers", "numerals"])
def test_a_sixth_and_ninth_is_written_without_a_slash(notation: str) -> None:
    """What follows a slash is the bass."""
    for symbol in ("G6/9", "Cm6/9"):
        chord = read(symbol)
        assert chord is not None
        text = in_notation(chord, Key.parse("G"), notation)
        assert "69" in text
        assert read_in_key(text, Key.parse("G"), notation).chord == chord


def test_the_page_shows_figures_in_every_key_and_says_the_chord() -> None:
    chart = parse("key: Bb\nchords: numbers\n| 1 | 2-7/5 | b7^13 | N.C. |\n")
    performance = band(prepare(chart, Options()), Options())
    data = page_data(performance, chart, {})
    for row, wanted in zip(data["symbols"], ("1", "2-7/5", "♭713"), strict=True):
        shown = [data["parts"][part] for part in row]
        figures = {
            p["root"] + p["quality"] + p["high"] + "/" * bool(p["bass"]) + p["bass"] for p in shown
        }
        assert figures == {wanted}
        assert len({p["said"] for p in shown}) == 12  # the outermost two are one


def test_a_chart_that_is_read_as_numbers_says_so_where_it_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("n.txt").write_text("key: G\nstyle: pop ballad\n| 1 | 4 | 5 | 1 |\n", "utf-8")
    assert run(["make", "n.txt", "--read-as", "numbers", "-o", "again.txt"]) == 0
    again = parse(Path("again.txt").read_text("utf-8"))
    assert again.settings.chords == "numbers"
    assert [s.chord.symbol for b in again.sections[0].bars for s in b.slots if s.chord] == [
        "G",
        "C",
        "D",
        "G",
    ]
