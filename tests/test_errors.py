"""Charts that are wrong: each case file holds a chart, what is said of it, and the chart mended as the hint says."""

from __future__ import annotations

import io
import re
import zipfile
from pathlib import Path

import pytest

from backing.chart.codes import CODES, MOST_MISTAKES, SYMBOL_CODES, SYMBOL_WARNINGS
from backing.chart.parse import decode, parse_all
from backing.commands.preparing import prepare
from backing.ground.errors import ChartError
from backing.ground.source import Diagnostic, Severity
from backing.harmony import grammar, letters, reader, stack
from backing.output.asked import CONCERT
from backing.output.sheet.unseen import unseen
from tests.charts import case_parts, cases
from tests.each import each

ERRORS = cases("errors")

# Charts that are too big for a file: the chart, and the code that it is answered with.
BIG = {
    "E901": "# " + "x" * 1_000_000 + "\n| C |\n",
    "E902": "| C | F | G | C |\n" * 501,
    "E906": "| X |\n" * (MOST_MISTAKES + 1),
}
BYTES = {"E903"}


def said(text: str) -> tuple[Diagnostic, ...]:
    return parse_all(text, "tune.txt")[1]


def late(text: str) -> tuple[Diagnostic, ...]:
    """What is said of a chart that reads well when its styles and its order of play are looked for."""
    chart, found = parse_all(text, "tune.txt")
    assert chart is not None, [d.render() for d in found]
    try:
        return prepare(chart).warnings
    except ChartError as wrong:
        return wrong.diagnostics


def answer_to(text: str, code: str) -> tuple[Diagnostic, ...]:
    if code == "W901":
        chart, _ = parse_all(text, "tune.txt")
        assert chart is not None
        return unseen(chart, CONCERT)
    return late(text) if code in ("E230", "W202", "W204") or code.startswith("E6") else said(text)


def codes(text: str) -> list[str]:
    return [d.code for d in said(text)]


@pytest.mark.parametrize("path", ERRORS, ids=lambda p: p.stem)
def test_a_mistake_is_answered_as_its_case_says(path: Path) -> None:
    bad, answer, _ = case_parts(path)
    found = answer_to(bad, path.stem[:4])
    assert "\n".join(d.render() for d in found) + "\n" == answer
    assert path.stem[:4] in [d.code for d in found]


@each("path", ERRORS, ids=lambda p: p.stem)
def test_doing_what_the_hint_says_mends_the_chart(path: Path) -> None:
    _, answer, mended = case_parts(path)
    chart, found = parse_all(mended, "tune.txt")
    assert chart is not None, [d.render() for d in found]
    assert path.stem[:4] not in [d.code for d in found]
    assert path.stem[:4] not in [d.code for d in answer_to(mended, path.stem[:4])]
    hints = [line for line in answer.splitlines() if line.startswith("  hint: ")]
    assert hints or path.stem[:4].startswith("W5")


@each("path", ERRORS, ids=lambda p: p.stem)
def test_a_chart_with_mistakes_is_no_chart_and_one_with_warnings_is(path: Path) -> None:
    bad = case_parts(path)[0]
    chart, found = parse_all(bad, "tune.txt")
    wrong = any(d.severity is Severity.ERROR for d in found)
    assert (chart is None) == wrong or path.stem[:4] in ("E230", "E601", "E602")
    assert all((d.severity is Severity.WARNING) == d.code.startswith("W") for d in found)


@each("code", sorted(CODES))
def test_every_code_has_a_case(code: str) -> None:
    assert code in BYTES or code in BIG or any(p.stem.startswith(f"{code}-") for p in ERRORS)


@each("code", sorted(BIG))
def test_limits_are_answered_with_their_own_code(code: str) -> None:
    found = said(BIG[code])
    assert found[-1].code == code
    assert found[-1].hint


def test_every_fault_of_the_symbol_reader_has_a_code() -> None:
    """The names in the sources of the reader and those of the table are the same."""
    raised: set[str] = set()
    warned: set[str] = set()
    for module in (reader, letters, grammar, stack):
        text = Path(str(module.__file__)).read_text("utf-8")
        raised.update(
            re.findall(r'(?:SymbolError|fault|fail|error)\(\s*"([a-z]+(?:-[a-z]+)*)"', text)
        )
        warned.update(re.findall(r'(?:SymbolWarning|warn)\(\s*"([a-z]+(?:-[a-z]+)+)"', text))
    known = {*SYMBOL_CODES, "space-inside", "too-long", "empty"}
    assert raised
    assert raised <= known, raised - known
    assert warned <= set(SYMBOL_WARNINGS), warned - set(SYMBOL_WARNINGS)


TWENTY = """\
tmepo: 120
key: bb minor
meter: 4/4
feel: swnig
push: 32
ending: rign
capo: 30
form: A Bridge

[A]
dynamcis: p
| Am7 D7 G | H7 | | Fis7 |
| C (G7) | C) F | % % | C // |
| C maj7 | C7(b9 F | "rit. to slow" C |
melody: | D5 | E | x5 |
kicks: | x y | x | x |

[B
| C | F
tempo: 96
|: G | am |
"""


def test_twenty_mistakes_are_named_in_one_run_in_text_order() -> None:
    found = [d for d in said(TWENTY) if d.severity is Severity.ERROR]
    assert [d.code for d in found] == [
        "E201", "E210", "E213", "E214", "E218", "E217", "E310", "E201", "E104", "E505", "E103", "E507",
        "E106", "E110", "E111", "E121", "E504", "E514", "E337", "E407", "E404", "E405",
        "E302", "E102", "E205", "E320", "E506",
    ]  # fmt: skip
    places = [(d.line, d.column) for d in found]
    assert places == sorted(places)


def test_the_message_has_the_form_of_the_language_page() -> None:
    """The worked example of the chart language, to the letter: headline, marked line, hint."""
    text = "\n" * 6 + "| Am7 D7 Gmaj7 | Cmaj7 |\n"
    assert said(text)[0].render() == (
        "tune.txt:7:3: E104 this bar holds 3 chords, which do not divide 4 beats\n"
        "  7 | | Am7 D7 Gmaj7 | Cmaj7 |\n"
        "    |   ^^^^^^^^^^^^\n"
        "  hint: write the beats with '/', for example  Am7 / D7 Gmaj7"
    )


@each(
    ("line", "hint"),
    [
        ("tmepo: 120", "did you mean tempo:?"),
        ("tempi: 120", "did you mean tempo:?"),
        ("colr: none", "did you mean colour:?"),
        ("color: none", "type  colour:"),
        ("count in: 2", "type  count-in:"),
        ("note names: german", "type  note-names:"),
        ("medoly: x", "did you mean melody:?"),
        ("time signature: 3/4", "type  meter:"),
    ],
)
def test_near_names_of_settings(line: str, hint: str) -> None:
    assert said(f"{line}\n| C |\n")[0].hint == hint


@each(
    ("value", "hint"),
    [
        ("gutiar", "did you mean guitar?"),
        ("all but bas", "did you mean bass?"),
        ("percusion, drums", "did you mean percussion?"),
        (
            "xylophone",
            "write some of melody, solo, horns, strings, guitar, keys, bass, drums, percussion, click",
        ),
    ],
)
def test_near_names_of_players(value: str, hint: str) -> None:
    assert said(f"players: {value}\n| C |\n")[0].hint == hint


@each(
    ("typed", "name"),
    [("fermatta", "fermata"), ("D.S al Cdoa", "D.S. al Coda"), ("half tme", "half time"), ("rubatto", "rubato"),
     ("To Codda", "To Coda"), ("braek", "break")],
)  # fmt: skip
def test_near_names_of_directions_are_warned_of(typed: str, name: str) -> None:
    found = said(f'| "{typed}" C |\n')
    assert [(d.code, d.hint) for d in found] == [("W303", f'type  "{name}"')]


@each(
    "typed", ["softly", "2x only", "solo", "with feeling", "filled with joy", "Codetta of the tune"]
)
def test_free_text_is_not_warned_of(typed: str) -> None:
    assert said(f'| "{typed}" C |\n') == ()


def test_near_names_of_sections() -> None:
    text = "form: Vers Chorsu Solo\n[Verse]\n| C |\n[Chorus]\n| F |\n"
    assert [d.hint for d in said(text)] == [
        "did you mean Verse?", "did you mean Chorus?", "the sections are [Verse], [Chorus]",
    ]  # fmt: skip
    assert said("[Verse]\n| C |\n[Vesre]\n")[0].hint == "did you mean [Verse]?"


@each(
    ("words", "marked"),
    [
        (("| Slow-ly | tide__ |",), ""),  # a note for each, and a syllable less than notes
        (("| Slow the tide | came in at last |",), ""),  # free text, in which no sign is
        (("| Slow the tide | came in - |",), ""),  # a dash between blanks is none
        (("| Slow-ly | came_ in at |",), " came_ in at "),
        (("| Slow-ly the | tide came in at |",), " Slow-ly the "),
        (("| Slow tide | came in |", "| Slow-ly | a-long the sea |"), " a-long the sea "),
    ],
)
def test_syllables_have_their_notes(words: tuple[str, ...], marked: str) -> None:
    """The bars begin two and three notes; the last rests, and any words may stand there."""
    verses = "".join(f"words: {line} spoken freely |\n" for line in words)
    text = f"| C | F | C |\nmelody: | C5 D5 | C5 / D5 E5 | r |\n{verses}"
    found = said(text)
    assert [d.code for d in found] == ["W401"] * bool(marked)
    assert "".join(text[slice(*d.span)] for d in found) == marked


def test_a_verse_with_many_bars_of_syllables_too_many_is_warned_of_once() -> None:
    (only,) = said("| C | F |\nmelody: | C5 | D5 |\nwords: | slow-ly | falling-ly |\n")
    assert only.hint.endswith("; the same in 1 more bar")


def zipped(name: str, mimetype: str = "") -> bytes:
    """A ZIP archive with one file, as Office Open XML and OpenDocument are."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as archive:
        archive.writestr("mimetype", mimetype)
        archive.writestr(name, "<x/>")
    return held.getvalue()


TEXT = "save it as plain text in UTF-8, with the ending .txt"
SAVED = "choose Save as, then plain text (UTF-8)"
TYPED = "type its chords into a text file"
OPENDOCUMENT = "application/vnd.oasis.opendocument.text"


@each(
    ("data", "what", "hint"),
    [
        ("| C |".encode("utf-16"), "text in UTF-16", TEXT),
        ("| C |".encode("utf-16-le"), "text in UTF-16", TEXT),
        (bytes(range(256)), "a binary file", TEXT),
        (zipped("song.xyz"), "a binary file", TEXT),
        (
            "title: Café\n| C |".encode("latin-1"),
            "text in another encoding (byte 11 is 0xe9)",
            TEXT,
        ),
        (zipped("word/document.xml"), "a word processor's document (.docx)", SAVED),
        (zipped("content.xml", OPENDOCUMENT), "a word processor's document (.odt)", SAVED),
        (
            bytes.fromhex("d0cf11e0a1b11ae1") + bytes(60),
            "a word processor's document (.doc)",
            SAVED,
        ),
        (b"{\\rtf1\\ansi | C |}", "a word processor's document (.rtf)", SAVED),
        (b"\x89PNG\r\n\x1a\n\0\0", "a picture", TYPED),
        (b"\xff\xd8\xff\xe0\0\x10JFIF", "a picture", TYPED),
        (b"\0\0\0\x18ftypheic", "a picture", TYPED),
        (b"%PDF-1.7", "a PDF", TYPED),
        (b"ID3\x03\0\0", "a sound or film", TYPED),
        (b"\xff\xfb\x90\x64\0", "a sound or film", TYPED),
        (b"\0\0\0\x20ftypisom", "a sound or film", TYPED),
        (b"MThd\0\0\0\6", "a MIDI file", "a name that ends in .mid"),
        (b"<!DOCTYPE html>\n<html>| C |", "a web page", "copy the chords from it"),
        (b"  <HTML><body>| C |", "a web page", "copy the chords from it"),
    ],
)
def test_a_file_that_is_no_utf8_text_is_named_for_what_it_is(
    data: bytes, what: str, hint: str
) -> None:
    with pytest.raises(ChartError) as caught:
        decode(data, "tune.txt")
    (only,) = caught.value.diagnostics
    assert only.code == "E903"
    assert only.message == f"this is {what}, not a chart in plain text"
    assert hint in only.hint
    assert only.render().startswith("tune.txt:1:1: E903 ")


def test_utf8_is_read_with_or_without_its_mark() -> None:
    assert decode(b"| C |") == "| C |"
    assert parse_all(decode("\ufeff| C |".encode()))[0] is not None


def test_binary_text_in_a_string_is_answered_too() -> None:
    assert codes("\0\1\2") == ["E903"]


def test_curly_quotes_are_quotes() -> None:
    assert codes('| “rit.” C | „Fine“ F | «fill» G | "D.C. al Fine" C |\n') == []


def test_every_open_end_is_found_behind_a_mistake_in_the_same_line() -> None:
    """The reader goes on at the next bar line, whatever the bar before held."""
    assert codes("| (F7 | C F G | ) | % % |") == ["E109", "E104", "E110", "E111"]


def test_a_mistake_in_one_line_does_not_spoil_what_hangs_on_it() -> None:
    """A bar that cannot be timed still counts, and its directions are still seen."""
    text = '| C | "Segno" C F G | "D.S." G7 |\nmelody: | C5 | E5 | G5 |\n'
    assert codes(text) == ["E104"]


def test_control_characters_are_not_printed() -> None:
    """A message must not carry what could steer a terminal."""
    shown = "\n".join(d.render() for d in said("title: a\x1b[31mb\n| \x1b[2J |\ncapo: \x07\n"))
    assert "\x1b" not in shown
    assert "\x07" not in shown


@pytest.mark.slow
@each(
    ("text", "code"),
    [
        ("| " + "C" * 100_000 + " |", "E501"),
        ("| " + "C " * 50_000 + " |", "E104"),
        ("| " + "(" * 100_000 + " |", "E108"),
        ("| C" + "(" * 100_000 + " |", "E501"),
        ("| " + ")" * 100_000 + " |", "E110"),
        ("| " + '"' * 100_001 + " |", "E120"),
        ("| " + "/" * 100_000 + " |", "E121"),
        ("| " + "% " * 50_000 + " |", "E111"),
        ("|" * 100_000, "E103"),
        ("[" * 100_000, "E302"),
        ("x" * 100_000, "E123"),
        ("x" * 60 + ": " * 50_000, "E201"),
        ("key: " + "G" * 100_000 + "\n| G |", "E908"),
        ("tempo: " + "1" * 100_000 + "\n| G |", "E908"),
        ("meter: 4/4 (" + "1+" * 50_000 + "1)\n| G |", "E908"),
        ("form: " + "A" * 100_000 + "\n[A]\n| C |", "E907"),
        ("form: " + "(" * 100_000 + "\n[A]\n| C |", "E311"),
        ("players: " + "bass," * 20_000 + "x\n| C |", "E908"),
        ("| C | x |\nmelody: | " + "C5 " * 30_000 + "|", "E104"),
        ("| C |\nwords: " + "|" * 100_000, "E402"),
        ("| C :| x" + "9" * 5000 + " |\n", "E501"),
        ("| " + "9" * 5000 + "/" + "9" * 5000 + " C |", "E501"),
        ("| C" + "!" * 100_000 + " |", "E119"),
        (("a" * 30 + "\n") * 30_000, "E123"),
        ("| C |\n" + ("a" * 30 + "\n") * 30_000, "E906"),
    ],
)
def test_monstrous_lines_are_answered_and_not_fallen_over(text: str, code: str) -> None:
    assert code in codes(text)
