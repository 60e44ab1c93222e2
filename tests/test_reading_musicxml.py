"""MusicXML in and out: elements as the standard describes them, the schema, and the way there and back.

*Source* of what elements mean: MusicXML 4.0 (W3C Community Group report). Scores are made up here, or come with the
packages music21, partitura and musicxml.
"""

from __future__ import annotations

import io
import re
import zipfile
from importlib.util import find_spec
from pathlib import Path
from xml.etree import ElementTree

import pytest

from backing.chart.ast import Chart
from backing.chart.parse import parse
from backing.chart.write import write
from backing.ground.errors import ChartError
from backing.ground.pitch import NoteName
from backing.harmony.symbol import read as read_symbol
from backing.output import musicxml
from backing.output.sheet.write import layout
from backing.reading.musicxml_kinds import KINDS, Change, degrees_of, kind_of, symbol_of
from backing.timeline.model import Timeline
from backing.timeline.unroll import unroll
from tests.chord_tables import rows, symbols
from tests.each import each
from tests.foreign import codes, cut_out, music, read, settings
from tests.generated import tunes

HERE = Path(__file__).parent
DEMOS = sorted((HERE.parent / "demo").glob("*.txt"))
CHORD = "<harmony><root><root-step>{}</root-step></root><kind>{}</kind></harmony>"
C = CHORD.format("C", "major")
G7 = CHORD.format("G", "dominant")
TIME = "<attributes><divisions>2</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"


def note(pitch: str = "C4", units: int = 8, more: str = "", before: str = "") -> str:
    if pitch == "r":
        return f"<note>{before}<rest/><duration>{units}</duration>{more}</note>"
    step, alter, octave = pitch[0], pitch.count("#") - pitch[1:].count("b"), pitch[-1]
    sign = f"<alter>{alter}</alter>" if alter else ""
    return f"<note>{before}<pitch><step>{step}</step>{sign}<octave>{octave}</octave></pitch><duration>{units}</duration>{more}</note>"


def score(*measures: str, head: str = "") -> Chart:
    return read(xml(*measures, head=head), "own.musicxml")


def xml(*measures: str, head: str = "") -> str:
    body = "\n".join(f'<measure number="{i}">{m}</measure>' for i, m in enumerate(measures, 1))
    body = re.sub(r'<measure number="\d+">@(\w+)', r'<measure number="X\1" implicit="yes">', body)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0">'
        f'{head}<part-list><score-part id="P1"><part-name>Lead</part-name></score-part></part-list><part id="P1">\n{body}\n'
        "</part></score-partwise>\n"
    )


def words(text: str, sound: str = "", offset: int = 0) -> str:
    shown = f"<words>{text}</words>" if text else "<coda/>"
    moved = f"<offset>{offset}</offset>" if offset else ""
    sounds = f"<sound {sound}/>" if sound else ""
    return f"<direction><direction-type>{shown}</direction-type>{moved}{sounds}</direction>"


WHOLE = note()
# measures; the lines of the chart
READ: tuple[tuple[tuple[str, ...], str], ...] = (
    # chords before notes, between them by their offset, also a negative one
    ((TIME + C + note("E4", 4) + G7 + note("D4", 4),), "| C G7 |\nmelody: | E4 D4 |"),
    ((TIME + C + G7.replace("</harmony>", "<offset>6</offset></harmony>") + WHOLE,), "| C / / G7 |\nmelody: | C4 |"),
    ((TIME + C + WHOLE + G7.replace("</harmony>", "<offset>-2</offset></harmony>"),), "| C / / G7 |\nmelody: | C4 |"),
    # the unit of lengths changes inside a measure
    ((TIME + C + note("C4", 4) + "<attributes><divisions>4</divisions></attributes>" + note("D4", 8),), "| C |\nmelody: | C4 D4 |"),
    # ties and notes at once
    ((TIME + C + note("C4", 8, '<tie type="start"/>'), note("C4", 4, '<tie type="stop"/>') + note("D4", 4)), "| C | C |\nmelody: | C4 | / / D4 / |"),
    ((TIME + C + note("C4", 8) + note("G4", 8, before="<chord/>"),), "| C |\nmelody: | G4 |"),
    # a second voice behind a backup; grace notes take no time
    ((TIME + C + note("C5", 8, "<voice>1</voice>") + "<backup><duration>8</duration></backup>" + note("C4", 8, "<voice>2</voice>"),), "| C |\nmelody: | C5 |"),
    ((TIME + C + "<note><grace/><pitch><step>B</step><octave>4</octave></pitch></note>" + WHOLE,), "| C |\nmelody: | C4 |"),
    # pickup, and a measure that a repeat sign cuts in two
    (("@1" + TIME + note("G4", 2), C + WHOLE), "| N.C. | C |\nmelody: | G4 | C4 |"),
    ((TIME + C + WHOLE, G7 + note("G4", 6) + '<barline location="right"><repeat direction="backward"/></barline>', "@2" + note("C5", 2), C + WHOLE), "| C | G7 :| C |\nmelody: | C4 | G4 / / C5 | C4 |"),
    # repeats and endings
    ((TIME + '<barline location="left"><repeat direction="forward"/></barline>' + C + WHOLE,
      '<barline location="left"><ending number="1, 2" type="start"/></barline>' + G7 + WHOLE + '<barline location="right"><ending number="1, 2" type="stop"/><repeat direction="backward" times="3"/></barline>',
      '<barline location="left"><ending number="3" type="start"/></barline>' + C + WHOLE),
     "|: C |1-2. G7 :| x3 |3. C |\nmelody: | C4 | C4 | C4 |"),
    # meters in groups
    (("<attributes><divisions>2</divisions><time><beats>3+2+2</beats><beat-type>8</beat-type></time></attributes>" + C + note("C4", 7),), "| C |\nmelody: | C4 |"),
    # a transposing instrument is read as it sounds
    ((TIME.replace("</time>", "</time><transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>") + CHORD.format("D", "minor") + note("D4"),), "| Cm |\nmelody: | C4 |"),
    # jumps from <sound> alone, and in both ways at once
    ((TIME + words("", 'segno="1"') + C + WHOLE, words("", 'tocoda="1"') + G7 + WHOLE, words("", 'dalsegno="1"') + C + WHOLE, words("", 'coda="1"') + G7 + WHOLE),
     '| "Segno" C | "To Coda" G7 | "D.S. al Coda" C | "Coda" G7 |\nmelody: | C4 | C4 | C4 | C4 |'),
    ((TIME + C + WHOLE, words("Fine", 'fine="yes"') + G7 + WHOLE, C + WHOLE + words("D.C. al Fine", 'dacapo="yes"')),
     '| C | "Fine" G7 | C "D.C. al Fine" |\nmelody: | C4 | C4 | C4 |'),
    # coda signs of which nobody says what they are
    ((TIME + C + WHOLE, words("") + G7 + WHOLE, words("D.C. al Coda") + C + WHOLE, words("") + G7 + WHOLE),
     '| C | "To Coda" G7 | "D.C. al Coda" C | "Coda" G7 |\nmelody: | C4 | C4 | C4 | C4 |'),
    # words that are sung
    ((TIME + C + note("C4", 4, "<lyric><syllabic>begin</syllabic><text>o</text></lyric>") + note("D4", 4, "<lyric><syllabic>end</syllabic><text>ver</text><extend/></lyric>"),
      G7 + note("E4", 4, "<lyric><extend/></lyric>") + note("F4", 4, "<lyric><text>sea</text></lyric>")),
     "| C | G7 |\nmelody: | C4 D4 | E4 F4 |\nwords: | o-ver | _ sea |"),
    # slashes are no melody
    ((TIME + C + note("B4", 8, "<notehead>slash</notehead>"),), "| C |"),
    # no chord, and a chord without a kind by its text
    ((TIME + '<harmony><root><root-step text="">C</root-step></root><kind text="N.C.">none</kind></harmony>' + WHOLE, C.replace("<kind>major</kind>", '<kind text="m7"/>') + WHOLE), "| N.C. | Cm7 |\nmelody: | C4 | C4 |"),
)  # fmt: skip


@each("measures, lines", READ, ids=str)
def test_measures_are_read_as_the_standard_says(measures: tuple[str, ...], lines: str) -> None:
    assert music(score(*measures)) == lines


HARMONIES = (  # kind, text, degrees, bass; the symbol
    ("dominant", None, "9 -1 add", None, "C7b9"),
    ("dominant", "7(b9)", "9 -1 add", None, "C7(b9)"),
    ("dominant", "7", "9 -1 add", None, "C7b9"),  # the text says less than the degrees: these count
    ("dominant-13th", None, "", "E", "C13/E"),
    ("major", None, "9 0 add", None, "Cadd9"),
    ("major", "sus", "4 0 add, 3 0 subtract", None, "Csus"),
    ("major-seventh", None, "5 1 alter", None, "Cmaj7#5"),
    ("minor-seventh", "-7", "", "G", "C-7/G"),
    ("half-diminished", "ø", "", None, "Cø"),
    ("minor", None, "7 1 add", None, "CmMaj7"),
    ("major-minor", None, "", None, "CmMaj7"),
    ("suspended-fourth", None, "7 0 add", None, "C7sus4"),
    ("power", None, "", None, "C5"),
    ("dominant", None, "9 -1 add, 9 1 add", None, "C7b9#9"),
    ("other", "add9", "", None, "Cadd9"),
)  # fmt: skip


@each("kind, text, degrees, bass, symbol", HARMONIES)
def test_harmony_elements(
    kind: str, text: str | None, degrees: str, bass: str | None, symbol: str
) -> None:
    parts = [d.split() for d in degrees.split(", ") if d]
    changes = tuple(Change(int(n), int(a), w) for n, a, w in parts)
    found = symbol_of(NoteName("C"), kind, text, changes, NoteName.parse(bass) if bass else None)
    assert read_symbol(found.symbol) == read_symbol(symbol)
    assert text is None or found.symbol == symbol
    assert bool(found.assumed) == (kind == "other")


def kinds() -> list[tuple[str, str]]:
    """Those that have degrees of their own."""
    return [(r["kind"], r["degrees"]) for r in rows("musicxml-kinds.tsv") if r["semitones"]]


@each("kind, degrees", kinds())
def test_every_kind_has_the_degrees_of_the_standard(kind: str, degrees: str) -> None:
    assert KINDS[kind] == degrees
    found = read_symbol(symbol_of(NoteName("C"), kind, None, (), None).symbol)
    assert found is not None
    assert [d.name for d in found.degrees] == degrees.split()


@each("symbol", symbols())
def test_every_symbol_goes_out_and_comes_back(symbol: str) -> None:
    """Without its text, from kind, degrees and bass alone."""
    chord = read_symbol(symbol)
    if chord is None:
        return
    kind, changes = kind_of(chord.degrees)
    assert degrees_of(KINDS[kind].split(), changes) == frozenset(d.name for d in chord.degrees)
    back = read_symbol(symbol_of(chord.root, kind, None, tuple(changes), chord.bass).symbol)
    assert back is not None
    assert (back.root, back.bass, set(back.degrees)) == (chord.root, chord.bass, set(chord.degrees))


def test_an_unknown_kind_is_assumed_and_said() -> None:
    chart = score(TIME + CHORD.format("C", "Tristan") + WHOLE)
    assert [s.text for s in chart.sections[0].bars[0].slots] == ["C"]
    told = next(d for d in chart.warnings if d.code == "W701" and "Tristan" in d.message)
    assert told.message == "the kind 'Tristan' names no notes, so a major triad, C is assumed"
    assert (told.line, told.column) == (3, 1 + len('<measure number="1">' + TIME))


def test_chords_point_at_their_elements_after_letters_of_other_alphabets() -> None:
    head = "<work><work-title>Größe 水 🎵</work-title></work>"
    chart = score(TIME + C + WHOLE, G7 + WHOLE, head=head)
    assert cut_out(chart) == [C.removesuffix("</harmony>"), G7.removesuffix("</harmony>")]
    assert settings(chart)["title"] == "Größe 水 🎵"


def test_the_head_and_changes_on_the_way_become_settings() -> None:
    tempo = "<direction><direction-type><metronome><beat-unit>quarter</beat-unit><beat-unit-dot/><per-minute>60</per-minute></metronome></direction-type></direction>"
    key = "<attributes><key><fifths>{}</fifths><mode>{}</mode></key></attributes>"
    swing = "<sound><swing><first>3</first><second>2</second><swing-type>eighth</swing-type></swing></sound>"
    box = "<direction><direction-type><rehearsal>B</rehearsal></direction-type></direction>"
    chart = score(
        TIME + key.format(2, "dorian") + tempo + swing + C + WHOLE, key.format(-3, "minor") + box + C + WHOLE,
        head='<work><work-title>Own</work-title></work><identification><creator type="composer">Demo</creator></identification>',
    )  # fmt: skip
    assert settings(chart) == {
        "title": "Own", "by": "Demo", "key": "E dorian", "tempo": "dotted quarter = 60", "feel": "swing 3:2", "meter": "4/4",
    }  # fmt: skip
    assert [(s.name, {w.name: w.value for w in s.written}) for s in chart.sections] == [
        ("Intro", {}),
        ("B", {"key": "C minor"}),
    ]


def packed(inner: bytes, container: str = "") -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr(
            "META-INF/container.xml",
            container
            or '<container><rootfiles><rootfile full-path="a/score.xml"/></rootfiles></container>',
        )
        file.writestr("a/score.xml", inner)
    return made.getvalue()


def test_a_packed_file_is_read() -> None:
    chart = read(packed(xml(TIME + C + WHOLE).encode()), "own.mxl")
    assert music(chart) == "| C |\nmelody: | C4 |"
    assert chart.source.name == "own.mxl/a/score.xml"


ENTITY = xml(C).replace(
    "<score-partwise", '<!DOCTYPE score-partwise [<!ENTITY a "b">]>\n<score-partwise', 1
)


@each("data, code, words", (
    (b"<score-partwise><part>", "E701", "no element found"),
    (b"<html><body/></html>", "E701", "it is no MusicXML score"),
    (b"<score-timewise></score-timewise>", "E701", "parts stand inside of its measures"),
    (ENTITY.encode(), "E701", "it declares an entity of its own"),
    (b"<a>" * 70, "E701", "more than sixty times"),
    (b"PK\x03\x04 no zip", "E701", "it is damaged"),
    (packed(b"\xff\xfe\x00"), "E701", "no text in utf-16"),
    (packed(b"x" * 30_000_001), "E704", "larger than 30 MB"),
    (xml().encode(), "E702", "no music"),
), ids=lambda cell: cell if isinstance(cell, str) else "")  # fmt: skip
def test_what_cannot_be_read_is_said(data: bytes, code: str, words: str) -> None:
    with pytest.raises(ChartError) as wrong:
        read(data, "own.xml")
    told = [d for d in wrong.value.diagnostics if d.severity.value == "error"]
    assert [d.code for d in told] == [code]
    assert words in told[0].message


@each("inside", (
    "<degree><degree-value>9</degree-value><degree-alter>-99999999</degree-alter><degree-type>add</degree-type></degree>",
    "<degree><degree-value>1e9</degree-value><degree-alter>0</degree-alter><degree-type>add</degree-type></degree>",
    "<degree><degree-value>99</degree-value><degree-alter>1</degree-alter><degree-type>add</degree-type></degree>",
), ids=lambda cell: cell[8:40])  # fmt: skip
def test_a_degree_that_no_chord_has_is_left_out(inside: str) -> None:
    """A hundred million flats would fill the memory, and so would a number with an exponent."""
    read_ = score(TIME + C.replace("</harmony>", f"{inside}</harmony>") + note())
    assert music(read_).startswith("| C |")
    assert [d.message for d in read_.warnings if d.code == "W710"] == [
        "a degree that no chord has is left out"
    ]


def test_an_exponent_is_no_number() -> None:
    huge = note().replace("<duration>8<", "<duration>1e99999999<")
    assert music(score(TIME + C + note(), C + huge)).startswith("| C |")


def test_a_measure_that_never_ends_is_cut_to_its_bar() -> None:
    """A slip of the pen in a duration does not become a million bars."""
    slip = score(TIME + C + note("C4", 16_000_000), C + note())
    assert music(slip) == "| C | C |\nmelody: | C4 | C4 |"
    assert "what is beyond the bar is left out" in slip.warnings[0].message


def test_a_file_without_chords_wants_them() -> None:
    from backing.reading.opened import opened

    data = xml(TIME + WHOLE, WHOLE).encode()
    assert music(read(data, "own.musicxml")) == "| ? | ? |\nmelody: | C4 | C4 |"
    with pytest.raises(ChartError) as wrong:
        opened(data, "own.musicxml")
    assert [d.code for d in wrong.value.diagnostics if d.severity.value == "error"] == ["E703"]


def test_of_several_parts_the_one_with_chords_is_read() -> None:
    text = xml(TIME + WHOLE).replace(
        "</part>",
        f'</part><part id="P2"><measure number="1">{TIME}{C}{note("E4")}</measure></part>',
    )
    text = text.replace(
        "</part-list>", '<score-part id="P2"><part-name>Tune</part-name></score-part></part-list>'
    )
    chart = read(text, "own.musicxml")
    assert music(chart) == "| C |\nmelody: | E4 |"
    assert "of 2 parts the part Tune is read" in [d.message for d in chart.warnings]


# --- there and back


def without_lines(timeline: Timeline) -> Timeline:
    """Which line of which file a bar stands in is another matter."""
    return timeline._replace(bars=tuple(b._replace(line=0) for b in timeline.bars))


def there_and_back(chart: Chart) -> Chart:
    return read(musicxml.text(chart), "own.musicxml")


def charts() -> list[tuple[str, str]]:
    made = [
        (f"generated {i}", f"style: {style}\n{text}")
        for i, (text, style) in enumerate(tunes(("straight-ahead swing", "bossa nova"), 200))
    ]
    return [*((p.stem, p.read_text("utf-8")) for p in DEMOS), *made]


@each("name, text", charts(), ids=lambda cell: cell[:16])
def test_a_chart_goes_out_and_comes_back_as_the_same_timeline(name: str, text: str) -> None:
    chart = parse(text, name)
    back = there_and_back(chart)
    assert without_lines(unroll(back)) == without_lines(unroll(chart))
    assert codes(back) == codes(chart)


@each("name, text", charts()[::9], ids=lambda cell: cell[:16])
def test_the_sheet_of_what_comes_back_is_the_same(name: str, text: str) -> None:
    chart = parse(text, name)
    assert layout(there_and_back(chart)) == layout(chart)


def test_the_file_is_packed_and_the_same_bytes_each_time(tmp_path: Path) -> None:
    chart = parse("title: Own\n| C | G7 |\n")
    for name in ("a.mxl", "b.mxl", "a.musicxml"):
        musicxml.write(chart, tmp_path / name)
    assert (tmp_path / "a.mxl").read_bytes() == (tmp_path / "b.mxl").read_bytes()
    assert write(read((tmp_path / "a.mxl").read_bytes(), "a.mxl")) == write(
        read((tmp_path / "a.musicxml").read_bytes(), "a.musicxml")
    )
    musicxml.write(chart, tmp_path / "a.mxl")  # it is this program's own
    musicxml.write(chart, tmp_path / "a.musicxml")


def test_what_only_a_chart_says_comes_back() -> None:
    """Grips as chord diagrams, settings of chart and sections, marks, rhythms, and the beats as they were typed."""
    text = (
        "title:    Own\nkey:      G\ntuning:   D A D G B E\nlevels:   bass +3\nnotes:    once more\n\n[A]\nlevels: keys -2\n"
        '      | <G[320003]! | Gmaj7[x x 12 12 12 14] "at 5" D7= | C / / D | %2 |\n'
        "hits: | x / / /     | r                              | x / / x | r | r |\n\n[B]\n| C | D7 |\n\n[A]\n"
    )
    chart = parse(text)
    back = there_and_back(chart)
    assert back.sections == chart.sections
    assert back.order == chart.order
    assert settings(back) == settings(chart)


def test_a_part_for_a_transposing_instrument_sounds_the_same() -> None:
    chart = parse("key: F\n| F | Bb7 |\n  melody: | F4 | Ab4 |\n")
    text = musicxml.text(chart, "Bb")
    assert "<root-step>G</root-step>" in text
    back = read(text, "own.musicxml")
    assert back.settings.key == chart.settings.key
    assert music(back) == music(chart)


def test_what_was_changed_in_another_program_counts() -> None:
    """Key and tempo stand in elements and, as they were typed, in fields."""
    text = musicxml.text(parse("key: F\ntempo: 90\n| F |\n"))
    text = text.replace("<fifths>-1<", "<fifths>2<").replace("<per-minute>90<", "<per-minute>100<")
    assert settings(read(text, "own.musicxml")) == {"key": "D major", "tempo": "quarter = 100"}


# --- with libraries


@pytest.mark.libraries
def test_what_is_written_fits_the_schema() -> None:
    """The schema is the one of MusicXML 4.0 that the package `musicxml` carries."""
    import musicxml as package
    import xmlschema

    schema = xmlschema.XMLSchema(
        Path(package.__file__).parent / "generate_classes" / "musicxml_4_0.xsd", allow="local"
    )
    marked = 'key: F\ncapo: 2\nfeel: swing\n| <G[320003]! | % |1. (/ C) D7b9/A :|2. "D.C." N.C. |\n  melody: | r (C4 D4 E4) F4 / | / / r r | G4 | A4 |\n  words: | o-ver the_ | | sea | |\n'
    for name, text in (("marked", marked), *charts()[:60]):
        made = re.sub(r"<!DOCTYPE[^>]*>", "", musicxml.text(parse(text, name), "Bb"))
        faults = [f"{name}: {e.path} {e.reason}" for e in schema.iter_errors(made)]
        assert faults == []


@pytest.mark.libraries
@pytest.mark.filterwarnings("ignore")  # theirs
def test_files_of_other_programs_open_or_are_refused_with_a_sentence() -> None:
    refused = {}
    listed = (HERE / "data" / "musicxml-files.tsv").read_text("utf-8").splitlines()[1:]
    for line in listed:
        package, _, rest = line.partition("/")
        found = find_spec(package)  # not imported: one of them fetches a file when it is
        assert found is not None
        assert found.origin is not None
        path = Path(found.origin).parent / rest
        try:
            chart = read(path.read_bytes(), path.name)
        except ChartError as wrong:
            refused[path.name] = [d.code for d in wrong.diagnostics if d.severity.value == "error"]
        else:
            assert parse(write(chart), wanted=True).sections
    assert len(listed) == 108
    assert refused == {"45d-Repeats-Nested-Alternatives.xml": ["E324"]}


@pytest.mark.libraries
@pytest.mark.filterwarnings("ignore")  # theirs
@each("name, symbols_there", (
    ("testChordOffset.xml", [("Em7", 0), ("G", 2), ("Em7", 0), ("G", 2), ("Cdim7", 0), ("E7/B", 2)]),
    ("testNC.xml", [("C7+/G#", 0), ("N.C.", 2), ("C7+/G#", 0), ("N.C.", 1), ("C7+/G#", 2)]),
    ("lilypondTestSuite/71g-MultipleChordnames.xml", [("C", 0), ("Dm7", 2)]),
    ("lilypondTestSuite/46g-PickupMeasure-Chordnames-FiguredBass.xml", [("C", 0), ("C", 0)]),
))  # fmt: skip
def test_chords_of_other_programs_stand_where_their_files_say(
    name: str, symbols_there: list[tuple[str, int]]
) -> None:
    """Expected from the elements of the files."""
    import music21

    path = Path(music21.__file__).parent / "musicxml" / name
    chart = read(path.read_bytes(), path.name)
    bars = [b for s in chart.sections for b in s.bars]
    assert [(s.text, s.start_q) for b in bars for s in b.slots] == symbols_there


@pytest.mark.libraries
@pytest.mark.filterwarnings("ignore")  # theirs
def test_music21_hears_the_chords_that_are_written() -> None:
    """Pitch classes of root, bass and degrees; a chord whose degrees it drops is told by its kind."""
    from music21 import converter, harmony

    text = musicxml.text(parse("| Cmaj7 | F#m7b5 | Bb13 | G7b9/B | Asus4 | Ebdim7 | Dm6 | E+ |\n"))
    found = (
        converter.parse(text, format="musicxml").recurse().getElementsByClass(harmony.ChordSymbol)
    )
    heard = [{p.pitchClass for p in symbol.pitches} for symbol in found]
    chords = [
        read_symbol(s)
        for s in ("Cmaj7", "F#m7b5", "Bb13", "G7b9/B", "Asus4", "Ebdim7", "Dm6", "E+")
    ]
    assert heard == [set(c.pitch_classes) for c in chords if c]


SOUNDED = {
    "♭": "b",
    "♯": "#",
    "𝄫": "bb",
    "𝄪": "##",
    "\uea64": "b",
    "\uea66": "#",
}  # the last two are SMuFL's


def test_verovio_draws_every_chord_as_it_is_typed() -> None:
    """The text in its SVG, sign by sign: nothing doubled, nothing left out, and N.C. without a root."""
    import verovio

    names = [s for s in symbols() if not set(s) & set(' |"')]
    names += [f"{r}{a}7/E" for r in "CDEFGAB" for a in ("", "b", "#")] + ["N.C.", "C/Bb", "C/F#"]
    lines = "".join(f"| {' | '.join(names[i : i + 8])} |\n" for i in range(0, len(names), 8))
    chart = parse(lines)
    engraver = verovio.toolkit()
    engraver.setOptions({"pageWidth": 60000, "pageHeight": 60000, "footer": "none"})
    engraver.loadData(ElementTree.tostring(musicxml.score(chart, printed=True), "unicode"))
    pages = [engraver.renderToSVG(n) for n in range(1, engraver.getPageCount() + 1)]
    drawn = [
        "".join("".join(g.itertext()).split())
        for page in pages
        for g in ElementTree.fromstring(page).iter("{http://www.w3.org/2000/svg}g")
        if "harm" in g.get("class", "").split()
    ]
    typed = [s.text for section in chart.sections for bar in section.bars for s in bar.slots]
    assert [_in_letters(text) for text in drawn] == [_in_letters(text) for text in typed]


def _in_letters(text: str) -> str:
    return text.translate(str.maketrans(SOUNDED))
