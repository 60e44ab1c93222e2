"""Parts as players read them: dynamics, grips over slashes, shapes of a capo, dots and crosses, lines and pages.

Sources: MusicXML 4.0 for what the signs are; slashes with grips for strummed guitars, four bars a line, crosses for damped
strings, an eighth with a dot for a short stroke: common practice of engraving.
"""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

import pytest

from backing.band.model import Arrangement
from backing.ground.instruments import STANDARD_TUNING
from backing.output.asked import CONCERT
from backing.output.parts.as_fingered import as_fingered
from backing.output.parts.diagrams import held
from backing.output.parts.engraved import begins, engraved, players_of
from backing.output.parts.score import score, text, title_of
from backing.output.parts.staves import layout_of
from tests.band import arranged, player
from tests.each import each

STRUMMED = "title: Lane\nkey: G\nstyle: folk strum\n{head}\n[Verse]\n| G | G/B | C | D |\n| Em | C | Am7 | D7 |\n[Chorus]\n| G | D/F# | Em | C |\n| G | D7 | G | G |\n"
HEIGHT = 750.0


def music(head: str = "") -> Arrangement:
    return arranged(STRUMMED.format(head=head), None)


def levels(one: Arrangement, role: str) -> list[tuple[str, str]]:
    """Number of the bar and sign of every dynamic and hairpin."""
    return [
        (measure.get("number", ""), sign.get("type") or sign[0].tag)
        for measure in score(one, [role]).iter("measure")
        for sign in measure.findall("direction/direction-type/*")
        if sign.tag in ("dynamics", "wedge")
    ]


def test_dynamics_are_those_of_the_chart() -> None:
    text = "style: pop ballad\n{}\n[A]\n| C | F | G | C |\n[B]\ndynamics: f\n| C | F | G | C |\n"
    assert levels(arranged(text.format("dynamics: p"), None), "bass")[:2] == [
        ("1", "p"),
        ("5", "f"),
    ]
    grows = levels(arranged(text.format("dynamics: p -> f"), None), "bass")
    assert grows[:3] == [("1", "p"), ("1", "crescendo"), ("5", "stop")]


def test_dynamics_are_those_of_the_plan_where_the_chart_has_none() -> None:
    rows = "\n".join(f"[{name}]\n| C | F | G | C |" for name in ("Verse", "Chorus"))
    text = f"style: pop ballad\nchoruses: 3\nplan: {{}}\n{rows}\n"
    one = arranged(text.format("full"), None)
    signs = levels(one, "bass")
    assert len(signs) > 1
    begin = [one.timeline.bars[s.first - 1].number for s in one.timeline.sections]
    assert {int(bar) for bar, _ in signs} <= set(begin)
    assert levels(arranged(text.format("flat"), None), "bass") == []


def test_grips_of_a_strummed_part_are_those_that_are_played() -> None:
    one = music()
    grips = held(one.timeline, player(one, "guitar").notes)
    symbols = [s.symbol for s in one.timeline.chords if not s.held]
    known: dict[str, tuple[int, ...]] = {}
    for symbol, grip in zip(symbols, grips, strict=True):
        known.setdefault(symbol, grip)
    assert known["G"] == (3, 2, 0, 0, 0, 3)
    assert known["C"] == (-1, 3, 2, 0, 1, 0)
    assert known["Em"] == (0, 2, 2, 0, 0, 0)
    drawn = "".join(engraved(text(one, ["guitar"], printed=True), 595.0, HEIGHT, 1, grips=grips))
    dots = [d.count("<circle") for d in re.findall(r'class="diagram".*?</g>', drawn, re.S)]
    assert len(dots) >= len(set(symbols))
    assert dots[0] == 6, "three open strings, three under fingers"
    plain = "".join(engraved(text(one, ["guitar"], printed=True), 595.0, HEIGHT, 1))
    assert plain.count('class="diagram"') == 0


def test_a_capo_shows_the_shapes_that_the_hand_holds() -> None:
    """The key and the chords as typed, every note where string and fret have it; other players read what sounds."""
    plain, capo = music(), music("capo: 3")
    shown = as_fingered(capo, ["guitar"])
    assert [b.key for b in shown.timeline.bars] == [b.key for b in plain.timeline.bars]
    assert [s.symbol for s in shown.timeline.chords] == [s.symbol for s in plain.timeline.chords]
    for note in player(shown, "guitar").notes:
        assert note.pitch == STANDARD_TUNING[6 - note.string] + note.fret
    assert as_fingered(capo, ["bass"]) is capo
    assert as_fingered(capo, ["guitar", "bass"]) is capo


@each("style, mark", (("funk", "x"), ("folk strum", "slash")))
def test_damped_strings_are_crosses_and_strums_are_slashes(style: str, mark: str) -> None:
    one = arranged("key: E minor\n| Em9 | A13 | Em9 | A13 |\n| Cmaj7 | B7#9 | Em9 | D9 |", style)
    xml = text(one, ["guitar"], printed=True)
    assert f"<notehead>{mark}</notehead>" in xml
    if mark == "x":
        drawn = "".join(engraved(xml, 595.0, HEIGHT, 1))
        assert drawn.count("×") == len(re.findall('id="dead-', xml)) > 20


def test_a_short_stroke_on_an_eighth_has_a_dot() -> None:
    one = arranged("key: Eb\n| Ebmaj7 C7 | Fm7 Bb7 | Gm7 C7b9 | Fm7 Bb7 |", "four-beat soul")
    root = score(one, ["horns"])
    short = [n for n in root.iter("note") if n.find("notations/articulations/staccato") is not None]
    assert short
    assert {n.findtext("type") for n in short} == {"eighth"}


def test_a_drummer_reads_the_form_and_no_chords() -> None:
    one = music()
    root = ET.fromstring(text(one, ["drums"], printed=True).split("-->", 1)[1])
    assert [r.text for r in root.iter("rehearsal")][:2] == ["Verse", "Chorus"]
    assert root.find(".//harmony") is None


def test_lines_have_four_bars_and_leave_none_alone() -> None:
    rows = "| C | F | G | C | Am |"
    root = score(arranged(f"[A]\n{rows}\n[B]\n{rows}", "pop ballad"), ["bass"], printed=True)
    begin = [m.get("number") for m in root.iter("measure") if m.find("print") is not None]
    assert begin[0] == "6", "at the section, and not behind the fourth of its five bars"
    assert not {"5", "10"} & set(begin)


@pytest.mark.parametrize("bars", [68])
def test_nobody_turns_the_page_for_a_line(bars: int) -> None:
    rows = "".join("| Cmaj7 A7 | Dm7 G7 | Em7 A7 | Dm7 G7 |\n" for _ in range(bars // 4))
    drawn = engraved(
        text(arranged(f"ending: as written\n{rows}", "pop ballad"), ["keys"], printed=True),
        595.0, HEIGHT, 1, 8,
    )  # fmt: skip
    lines = [page.count('class="system"') for page in drawn]
    assert len(lines) == 1 or lines[-1] > 1, lines


def test_the_music_begins_under_all_lines_of_the_title() -> None:
    """A line of 17 points holds some fifty letters on the width of a page."""
    short, long, longest = (begins("Lane " * n, "", 519.0) for n in (3, 14, 26))
    assert short < long < longest
    assert begins("Lane", "capo 3", 519.0) > short


def test_each_of_two_guitars_has_a_part_with_its_number() -> None:
    one = arranged("key: A minor\n| Am | F | C | G |", "surf rock")
    assert players_of(one, CONCERT._replace(parts=("guitar",))) == ("guitar",)
    assert players_of(one, CONCERT._replace(parts=("guitar 2",))) == ("guitar 2",)
    assert title_of(player(one, "guitar 2")) == f"{title_of(player(one, 'guitar'))} 2"


@each("pitches, staves", (([48, 52, 64, 67], 2), ([57, 60, 72], 1), ([36, 40, 48], 1)), ids=str)
def test_two_hands_have_two_staves_and_one_has_one(pitches: list[int], staves: int) -> None:
    assert len(layout_of("keys", pitches, (), "on").staves) == staves
