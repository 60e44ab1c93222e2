"""ABC tunes in and out: against the standard, against music21, and through the writer and back.

*Source* of what the signs mean: the abc music standard 2.1.
"""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from backing.chart.ast import Chart
from backing.chart.parse import parse
from backing.ground.errors import ChartError, RequestError
from backing.ground.source import Source
from backing.output import abc as abc_out
from backing.reading.abc import lead_of
from backing.reading.asked import Reading
from backing.reading.findings import Findings
from backing.reading.lead import Measure
from tests.each import each
from tests.foreign import again, codes, cut_out, music, read, settings

DEMOS = sorted((Path(__file__).parent.parent / "demo").glob("*.txt"))
HEAD = "X:1\nT:Own tune\nM:{meter}\nL:1/8\nK:{key}\n"


def tune(body: str, meter: str = "4/4", key: str = "C") -> Chart:
    return read(HEAD.format(meter=meter, key=key) + body + "\n", "own.abc")


# body; the lines of the chart
BODIES = (
    # lengths, octaves, rests
    ('"C"C2 E2 G2 c2|', "| C |\nmelody: | C4 E4 G4 C5 |"),
    ('"C"C,4 c\'4|', "| C |\nmelody: | C3 C6 |"),
    ('"C"C/2D/2 E3/2F/ G//A//B//z// z4|z4 x4|', '| C | C |\nmelody: | (C4 D4 E4 /) (/ / F4 / G4 A4 B4 r) / / | r |'),
    # accidentals hold for their letter in every octave until the bar line (4.2, 11.3)
    ('"G"^F2 F2 f2 =F2|F8|', "| G | G |\nmelody: | F#4 F#4 F#5 F4 | F4 |"),
    # ties join, across bar lines too
    ('"C"C4-C2D2-|D8|', "| C | C |\nmelody: | C4 / / D4 | / / / / |"),
    # broken rhythm and tuplets (4.4, 4.13)
    ('"C"C>D E<F G>>A B2|', "| C |\nmelody: | (C4 / / D4) (E4 F4 / /) (G4 (/ / / A4)) B4 |"),
    ('"C"(3CDE (3:2:2F2G (5CDEFGA3|', None),
    # chords before their notes, and where none is written
    ('"C"C2 D2 "G7"E4|F8|"F"G8|', "| C G7 | G7 | F |\nmelody: | C4 D4 E4 / | F4 | G4 |"),
    ('C8|"C#m7"C8|', "| N.C. | C#m7 |\nmelody: | C4 | C4 |"),
    ('"(Am)"A8|"N.C."A8|"B♭"A8|', "| Am | N.C. | Bb |\nmelody: | A4 | A4 | A4 |"),
    # repeats and endings (4.8, 4.9)
    ('|:"C"C8|"G"G8:|', "|: C | G :|\nmelody: | C4 | G4 |"),
    ('"C"C8::"G"G8:|', "| C :|: G :|\nmelody: | C4 | G4 |"),
    ('|:"C"C8|1"G"G8:|2"F"F8|]', "|: C |1. G :|2. F |]\nmelody: | C4 | G4 | F4 |"),
    ('|:"C"C8|[1-3 "G"G8:|[4 "F"F8||"C"C8|', "|: C |1-3. G :|4. F || C |\nmelody: | C4 | G4 | F4 | C4 |"),
    ('|::"C"C8::|', "|: C :| x3\nmelody: | C4 |"),
    # upbeats: a pickup at the start, joined bars at a repeat
    ('G2|"C"c6 G2|"C"c6:|G2|"F"f6 c2|"C"c6|', "| N.C. | C | C :| F |\nmelody: | G4 | C5 / / G4 | C5 / / G4 | F5 / / C5 |\n| C |\nmelody: | C5 / / r |"),
    # words over the music, and signs that steer
    ('!segno!"C"C8|"G"G4 "^softly"G4|"F"F8!D.S.!|', '| "Segno" C | G "softly" | "D.S." F |\nmelody: | C4 | G4 G4 | F4 |'),
    ('"C"C8|"Fine"C8|"^D.C. al Fine""G"G8|', None),
    # grace notes, slurs, ornaments, spacers and comments are no notes
    ('"C"({ab}C2 ~D2) y .E2 uF2 % done|', "| C |\nmelody: | C4 D4 E4 F4 |"),
    # notes at once: the top one
    ('"C"[CEG]4 [ce]2[GB]2|', "| C |\nmelody: | G4 / E5 B4 |"),
    # inline fields
    ('"C"C8|[M:3/4]"G"G6|[L:1/4]"C"C3|', "| C | 3/4 G | C |\nmelody: | C4 | G4 | C4 |"),
    # rests of several bars
    ('"C"C8|Z2|"G"G8|', "| C | C | C | G |\nmelody: | C4 | r | r | G4 |"),
    # words (5): hyphens, held notes, skipped notes, blanks inside
    ('"C"C2D2E2F2|"G"G4A4|\nw:o-ver the_|~sea\\-side *', None),
)  # fmt: skip


@each("body, lines", [b for b in BODIES if b[1] is not None], ids=str)
def test_music_is_read_as_the_standard_says(body: str, lines: str) -> None:
    assert music(tune(body)) == lines


def test_tuplets_last_as_long_as_the_standard_says() -> None:
    chart = tune('"C"(3CDE (3:2:2F2G (5CDEFGA z|')
    notes = chart.sections[0].bars[0].melody or ()
    third, fifth = Fraction(1, 3), Fraction(1, 5)
    lengths = [n.length_q for n in notes if n.pitch]
    assert lengths == [third, third, third, 2 * third, third, *[fifth] * 5, Fraction(1, 2)]


def test_syllables_stand_under_their_notes() -> None:
    chart = tune('"C"C2D2E2F2|"G"G4A4|"C"C8|\nw:o-ver the_|sea *|home\nw:a-gain we|sail\n')
    assert [bar.words for bar in chart.sections[0].bars] == [
        ("o-ver the_", "a-gain we"), ("sea", "sail"), ("home", ""),
    ]  # fmt: skip


def test_the_head_becomes_settings() -> None:
    chart = read(
        "X:4\nT:Kettle Lane\nT:also The Lane\nC:Demo songbook\nR:jig\nM:6/8\nL:1/8\nQ:3/8=112\nP:A2B\nK:Ador\n"
        'P:A\n"Am"A3 A3|\nP:B\n"G"G3 G3|\n',
        "own.abc",
    )
    assert settings(chart) == {
        "title": "Kettle Lane", "by": "Demo songbook", "notes": "also The Lane", "key": "A dorian",
        "tempo": "dotted quarter = 112", "form": "A A B", "meter": "6/8",
    }  # fmt: skip
    assert [item.section for item in chart.header.form or ()] == ["A", "A", "B"]
    assert codes(chart) == ["W710"]


@each("field, key, alters", (
    ("G", "G major", {"F": 1}), ("Em", "E minor", {"F": 1}), ("E dor", "E dorian", {"F": 1, "C": 1}),
    ("Amix", "A mixolydian", {"F": 1, "C": 1}), ("F#m", "F# minor", {"F": 1, "C": 1, "G": 1}),
    ("Bb", "Bb major", {"B": -1, "E": -1}), ("D =c", "D major", {"F": 1, "C": 0}), ("HP", None, {"F": 1, "C": 1}),
    ("none", None, {}), ("C clef=bass", "C major", {}),
))  # fmt: skip
def test_keys(field: str, key: str | None, alters: dict[str, int]) -> None:
    """Section 3.1.14 of the standard."""
    from backing.reading.abc_fields import signature

    found = signature(field)
    assert (found.key.name if found.key else None, found.alters) == (key, alters)


@each("field, unit, tempo", (
    ("1/4=120", "1/2", "quarter = 120"), ("3/8=60", "1/2", "dotted quarter = 60"), ("120", "1/2", "eighth = 120"),
    ('"Lively" 1/2=90', "1/2", "half = 90"), ("1/4 3/8 1/4=40", "1/2", "quarter = 140"), ("C=100", "1/2", "eighth = 100"),
    ('"Slow"', "1/2", ""),
))  # fmt: skip
def test_tempos(field: str, unit: str, tempo: str) -> None:
    """Section 3.1.8 of the standard."""
    from backing.reading.abc_fields import tempo as read_tempo

    assert read_tempo(field, Fraction(unit))[0] == tempo


@each("field, order", (
    ("ABA", "ABA"), ("A2B", "AAB"), ("((AB)3C)2", "ABABABCABABABC"), ("A.B", "AB"), ("A)", None), ("", None),
))  # fmt: skip
def test_orders_of_parts(field: str, order: str | None) -> None:
    """Section 3.1.9 of the standard."""
    from backing.reading.abc_fields import part_order

    found = part_order(field)
    assert (None if found is None else "".join(found)) == order


def test_chords_point_at_where_they_stand() -> None:
    chart = tune('"C"C4 "G7"E4|"F"F8|\n"Am"A8|')
    assert cut_out(chart) == ['"C"', '"G7"', '"F"', '"Am"']


def test_a_mistake_in_a_symbol_is_shown_in_the_file() -> None:
    chart = tune('"C"C8|"H%"C8|')
    wrong = next(d for d in chart.warnings if d.code == "W702")
    assert (wrong.line, wrong.column) == (6, 7)
    assert wrong.source.line_text(6) == '"C"C8|"H%"C8|'


def test_a_tune_is_chosen_by_its_number() -> None:
    text = "X:3\nT:One\nK:C\nC8|\n\nX:7\nT:Two\nK:C\nD8|\n"
    assert settings(read(text, "own.abc"))["title"] == "One"
    assert codes(read(text, "own.abc")) == ["W707"]
    assert settings(read(text, "own.abc", Reading(tune_number=7)))["title"] == "Two"
    with pytest.raises(RequestError, match=r"own\.abc has the tunes 3, 7"):
        read(text, "own.abc", Reading(tune_number=4))


def test_of_several_voices_the_first_is_read() -> None:
    chart = read(
        'X:1\nM:4/4\nL:1/4\nK:C\nV:1\n"C"CDEF|\nV:2\nCCCC|\nV:1\n"G"GABc|\n[V:2]DDDD|\n', "own.abc"
    )
    assert music(chart) == "| C |\nmelody: | C4 D4 E4 F4 |\n| G |\nmelody: | G4 A4 B4 C5 |"
    assert "W707" in codes(chart)


@each("text, code", (
    ("not a tune\n", "E701"),
    ("X:1\nT:Empty\nK:C\n", "E702"),
    ("X:1\nK:C\n" + "C" * 1_000_001, "E704"),
))  # fmt: skip
def test_what_cannot_be_read_is_said(text: str, code: str) -> None:
    with pytest.raises(ChartError) as wrong:
        read(text, "own.abc")
    assert [d.code for d in wrong.value.diagnostics if d.severity.value == "error"] == [code]


@each("body, code", (
    ("C8|[M:5/x]C8|", "W701"), ('"swing"C8|', "W702"), ("C8|C6|C8|", "W703"), ("C8|C10|C8|", "W703"),
    ("|:C8|C8|", "W705"), ("|:C8|[1,3 C8:|[2 C8|", "W706"), ("[CE]8|", "W707"), ("|:C8|[K:D]C8:|", "W708"),
    ("C4[K:D]C4|", "W709"), ("{c}C8|", "W710"), ("C8|!D.S.!C8|", "W710"),
))  # fmt: skip
def test_what_was_assumed_or_left_out_is_said(body: str, code: str) -> None:
    assert code in codes(tune(body))


@each("path", DEMOS, ids=lambda p: p.stem)
def test_a_chart_written_as_abc_reads_as_the_same_music(path: Path) -> None:
    """Chords, melody, repeats and endings; what the format lacks is named in it."""
    chart = parse(path.read_text("utf-8"), path.name)
    text = abc_out.text(chart)
    back = read(text, "own.abc")
    assert _sounds(back) == _sounds(chart)
    assert "made by backing" in text
    assert _sounds(again(back)) == _sounds(back)


def _sounds(chart: Chart) -> list[object]:
    found: list[object] = []
    for bar in (b for name in dict.fromkeys(chart.order) for b in chart.section(name).bars):
        slots = [(s.start_q, s.chord) for s in bar.slots if not s.held]
        notes = [(n.start_q, n.length_q, n.pitch) for n in bar.melody or () if n.pitch]
        found.append((bar.meter, slots, notes, bar.repeat_start, bar.times, bar.ending))
    return found


def test_what_abc_cannot_say_is_named_in_the_file() -> None:
    chart = parse("style: bossa nova\n| <C! | G= |\n  hits: | x / / / | r |\n")
    assert "% not in this format: style bossa nova; pushes; stops; hits" in abc_out.text(chart)


def test_syllables_go_out_and_come_back() -> None:
    chart = parse("| C | G |\n  melody: | C4 D4 E4 F4 | G4 |\n  words: | o-ver the_ | sea |\n")
    assert "w: o- ver the _ | sea |" in abc_out.text(chart)
    assert [b.words for b in read(abc_out.text(chart), "own.abc").sections[0].bars] == [
        ("o-ver the_",),
        ("sea",),
    ]


# --- music21


@pytest.mark.libraries
@pytest.mark.filterwarnings("ignore")  # theirs
def test_a_hundred_tunes_are_read_as_music21_reads_them() -> None:
    """Pitches, lengths, chords and repeats of every 80th tune of its corpus.

    Left out are tunes with what it is known to lose (`LOST`, `BROKEN`).
    """
    from music21 import converter

    checked, faults = 0, []
    for text in _corpus()[::80]:
        lines = [x for x in text.split("\n") if not re.match(r"[A-Za-z]:", x)]
        if LOST.search("\n".join(lines)) or any(BROKEN.search(x) for x in lines):
            continue
        notes, chords, repeats = _as_music21(converter.parse("%abc-2.1\n" + text, format="abc"))
        measures = _lead(text)
        own = sum(m.repeat_start for m in measures), sum(m.times > 0 for m in measures)
        found = _notes(measures), sum(len(m.symbols) for m in measures), own
        if found != (notes, chords, repeats):
            faults.append(text)
        checked += 1
    assert faults == []
    assert checked >= 100


# What music21 is known to lose: a note behind the decoration `H` or before `::`, the second half of `:|:`, a tuplet that begins inside a slur; the
# encoding of a mailed file (`=20`) is a natural sign to it.
LOST = re.compile(r"H|\(\(|V:|::|:\|:|=20|=$", re.M)
# and broken rhythm across a slur, a decoration, a grace note or a quoted text
BROKEN = re.compile(r"""(?=.*[<>]).*[(){}~Tuvk"]""")


def _corpus() -> list[str]:
    """The tunes of music21's corpus, each alone."""
    import music21

    found = []
    for path in sorted((Path(music21.__file__).parent / "corpus").rglob("*.abc")):
        data = path.read_bytes()
        try:
            text = data.decode("utf-8")
        except UnicodeDecodeError:
            text = data.decode("latin-1")
        parts = re.split(r"(?m)^(?=X:)", text.replace("\r\n", "\n"))
        found += [p for p in parts if p.startswith("X:") and "K:" in p]
    return found


def _lead(text: str) -> list[Measure]:
    return lead_of(None, Findings(Source("tune.abc", text, foreign=True))).measures


def _notes(measures: list[Measure]) -> list[tuple[int, Fraction]]:
    """Pitch and length of every note, tied ones as one."""
    found: list[tuple[int, Fraction]] = []
    for note in (n for m in measures for n in m.notes):
        if note.held and found:
            found[-1] = (found[-1][0], found[-1][1] + note.length_q)
        else:
            found.append((note.pitch.midi, note.length_q))
    return found


def _as_music21(score: Any) -> tuple[list[tuple[int, Fraction]], int, tuple[int, int]]:
    from music21 import bar, harmony

    part = score.parts[0] if score.parts else score
    notes: list[tuple[int, Fraction]] = []
    chords = 0
    for one in part.recurse().notes:
        if isinstance(one, harmony.ChordSymbol):
            chords += 1
        elif not one.duration.isGrace:
            pitch = max(p.midi for p in one.pitches)
            length = Fraction(one.quarterLength).limit_denominator(96)
            if one.tie and one.tie.type != "start" and notes and notes[-1][0] == pitch:
                notes[-1] = (pitch, notes[-1][1] + length)
            else:
                notes.append((pitch, length))
    signs = [r.direction for r in part.recurse().getElementsByClass(bar.Repeat)]
    return notes, chords, (signs.count("start"), signs.count("end"))


def test_bars_before_the_first_chord_are_silent_and_that_is_said() -> None:
    chart = tune('D2|G2A2B4|c2B2 "G"A4|"D7"A8|')
    assert music(chart).splitlines()[0] == "| N.C. | N.C. | N.C. G | D7 |"
    told = [w for w in chart.warnings if w.code == "W701"]
    assert [w.message for w in told] == [
        "no chord stands here or before, so N.C. is assumed (2 times)"
    ]
    assert "backing harmonise" in told[0].hint
    assert codes(tune('D2|"G"G2A2B4|"D7"A8|')) == codes(tune('"G"D8|'))  # a pickup has none
