"""Players' parts: what is written is what is played, in the file, in the drawing, and for other programs.

Sources: MusicXML 4.0 and its schema (in the package `musicxml`); music21 and verovio as readers; places of drums, the octave
of guitar and bass from any handbook of notation (common practice).
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest

import backing
from backing.band.arrange import arrange
from backing.band.model import Arrangement, Note
from backing.commands.cli import run
from backing.commands.preparing import prepare
from backing.ground.errors import OutputError
from backing.ground.pitch import Pitch
from backing.ground.roles import pitched
from backing.output.asked import CONCERT
from backing.output.parts.engraved import engraved, pages, players_of
from backing.output.parts.score import part_of, score, text
from backing.output.parts.staves import drum_of
from backing.output.parts.written import fingered, struck
from tests.each import each

TUNE = """\
title: Left Stair
key: Eb
style: {style}
{head}
[A]
        | Ebmaj7   | C7b9 Fm7    | Bb7 / Bb7#5 / | Ebmaj7 Ab7  |
melody: | G4 Bb4 / C5 | Db5 E4 F4 Ab4 | D5 / F#4 Bb4 | G4 / Eb4 / |
[B]
        | Gm7      | C7          | Fm7         | Bb7        |
melody: | D5 / / C5 | Bb4 (G4 E4) C5 / | (Ab4 C5 Eb5) F5 / / | D5 / Bb4 / |
"""
CHARTS = {
    "waltz": ("jazz waltz", "meter: 3/4"), "swing": ("straight-ahead swing", ""), "bossa": ("bossa nova", ""),
    "funk": ("funk", ""), "six": ("six-eight ballad", "meter: 6/8"), "folk": ("folk strum", "capo: 2"),
    "tuned": ("folk strum", "tuning: D A D G A D"), "seven": ("seven-eight 2+2+3", "meter: 7/8 (2+2+3)"),
}  # fmt: skip
PLAIN = "title: Nine Bars\nkey: A minor\n{head}\nstyle: {style}\n[A]\n| Am | F7 | Dm7 | E7 |\n| Am | C/E | Bm7b5 | E7 |\n"


@lru_cache(maxsize=32)
def music(name: str, more: str = "") -> Arrangement:
    style, head = CHARTS[name]
    form = TUNE if "meter" not in head else PLAIN
    made = prepare(backing.parse(form.format(style=style, head=f"{head}\n{more}".strip())))
    return arrange(made.timeline, made.style, styles=made.styles)


def players(one: Arrangement) -> list[str]:
    return [p.role for p in one.players if p.role != "click" and p.notes]


def read_back(root: ET.Element) -> list[dict[str, Any]]:
    """Every note of a score: part, staff, place and length in quarters, pitch or drum, string and fret."""
    found = []
    for part in root.findall("part"):
        at, divisions = Fraction(0), 1
        for measure in part.findall("measure"):
            here = longest = at
            last = at
            for child in measure:
                given = child.findtext("attributes/divisions") or child.findtext("divisions")
                divisions = int(given) if given else divisions
                length = Fraction(int(child.findtext("duration") or 0), divisions)
                if child.tag == "backup":
                    here -= length
                elif child.tag == "forward":
                    here += length
                elif child.tag == "note":
                    start = last if child.find("chord") is not None else here
                    if child.find("rest") is None:
                        found.append(_told(part.get("id"), child, start, length))
                    if child.find("chord") is None:
                        last, here = here, here + length
                longest = max(longest, here)
            assert here == longest, "every voice fills its measure"
            at = longest
    return found


def _told(part: str | None, note: ET.Element, start: Fraction, length: Fraction) -> dict[str, Any]:
    pitch = note.find("pitch")
    drum = note.find("unpitched")
    midi = 0
    if pitch is not None:
        name = pitch.findtext("step", "") + "#" * int(pitch.findtext("alter") or 0)
        name += "b" * -int(pitch.findtext("alter") or 0)
        midi = Pitch.parse(name + pitch.findtext("octave", "")).midi
    return {
        "part": part, "staff": note.findtext("staff") or "1", "start": start, "length": length, "midi": midi,
        "drum": None if drum is None else drum.findtext("display-step", "") + drum.findtext("display-octave", ""),
        "stop": any(t.get("type") == "stop" for t in note.findall("tie")), "grace": note.find("grace") is not None,
        "string": note.findtext("notations/technical/string"), "fret": note.findtext("notations/technical/fret"),
    }  # fmt: skip


def begun(notes: tuple[Note, ...]) -> list[tuple[Fraction, int]]:
    """What is struck on the grid, as it is written."""
    rows = struck([n for n in notes if n.start_q >= 0], ())
    return sorted((row.start_q, note.pitch) for row in rows for note in row.notes)


@each("name", CHARTS)
def test_every_note_that_is_played_is_written_once(name: str) -> None:
    one = music(name)
    for player in one.players:
        if player.role == "click" or not player.notes or not pitched(player.role):
            continue
        told = read_back(score(one, [player.role], tab="off"))
        first = [n for n in told if not n["stop"] and not n["grace"]]
        assert sorted((n["start"], n["midi"]) for n in first) == begun(player.notes), player.role
        assert all(n["length"] > 0 for n in told if not n["grace"])


@each("name", CHARTS)
def test_tab_sounds_what_the_staff_says(name: str) -> None:
    one = music(name, "chord-melody: full" if "meter" not in CHARTS[name][1] else "")
    for role in ("solo", "guitar", "bass"):
        if role not in players(one):
            continue
        told = read_back(score(one, [role]))
        root = score(one, [role])
        open_ = [
            Pitch.parse(
                t.findtext("tuning-step", "")
                + "#" * int(t.findtext("tuning-alter") or 0)
                + t.findtext("tuning-octave", "")
            ).midi
            for t in root.iter("staff-tuning")
        ]
        capo = int(root.findtext(".//capo") or 0)
        tab = [n for n in told if n["string"]]
        assert tab, role
        for note in tab:
            assert (
                open_[len(open_) - int(note["string"])] + capo + int(note["fret"]) == note["midi"]
            ), (role, note)
        upper = sorted((n["start"], n["midi"]) for n in told if n["staff"] == "1" and not n["stop"])
        lower = sorted((n["start"], n["midi"]) for n in tab if not n["stop"])
        assert upper == lower, role


def test_hands_and_feet_of_the_drums_stand_apart() -> None:
    told = read_back(score(music("swing"), ["drums"]))
    assert {n["drum"] for n in told} >= {"F4", "F5"}, (
        "kick in the lowest space, ride on the top line"
    )
    root = score(music("swing"), ["drums"])
    for note in root.iter("note"):
        place = note.findtext("unpitched/display-step", "") + note.findtext(
            "unpitched/display-octave", ""
        )
        if place and note.find("chord") is None:
            assert note.findtext("stem") == ("down" if place in ("F4", "D4") else "up")
            assert (note.findtext("notehead") == "x") == (
                place in ("F5", "G5", "D4", "A5")
            ) or place in ("C5", "B5")


def test_accidentals_hold_to_the_bar_line() -> None:
    """By the signs that are written and the key, every note reads as its pitch."""
    for name in ("swing", "bossa"):
        root = score(music(name, "chord-melody: full"), ["solo", "keys"], tab="off")
        usual = {"B": -1, "E": -1, "A": -1}
        signs = {"flat-flat": -2, "flat": -1, "natural": 0, "sharp": 1, "double-sharp": 2}
        checked = 0
        for measure in root.iter("measure"):
            by_staff: dict[str, dict[tuple[str, str], int]] = {}
            rows = _in_time(measure)
            for _, note in rows:
                held = by_staff.setdefault(note.findtext("staff") or "1", {})
                place = note.findtext("pitch/step", ""), note.findtext("pitch/octave", "")
                sign = note.findtext("accidental")
                if sign:
                    held[place] = signs[sign]
                over = any(t.get("type") == "stop" for t in note.findall("tie"))
                if not over:
                    own = int(note.findtext("pitch/alter") or 0)
                    assert held.get(place, usual.get(place[0], 0)) == own, (
                        name,
                        measure.get("number"),
                        place,
                    )
                    checked += 1
        assert checked > 60


def _in_time(measure: ET.Element) -> list[tuple[int, ET.Element]]:
    at, last, found = 0, 0, []
    for child in measure:
        length = int(child.findtext("duration") or 0)
        if child.tag == "backup":
            at -= length
        elif child.tag == "forward":
            at += length
        elif child.tag == "note":
            if child.find("chord") is None:
                last, at = at, at + length
            if child.find("pitch") is not None:
                found.append((last, child))
    return sorted(found, key=lambda f: f[0])


@each("name", ("swing", "bossa", "six", "seven", "tuned"))
def test_every_note_is_drawn(name: str) -> None:
    """verovio draws a head for every note of the file, and a figure for every note of the tab."""
    one = music(name, "chord-melody: full" if "meter" not in CHARTS[name][1] else "")
    for role in players(one):
        xml = text(one, [role])
        drawn = "".join(engraved(xml, 595.0, 842.0, 1))
        written = len(re.findall(r"<note>", xml)) - len(re.findall(r"<rest", xml))
        heads = (
            len(re.findall(r'class="note"', drawn)) + len(re.findall(r'class="tabGrp', drawn)) * 0
        )
        assert heads == written, (role, heads, written)


def test_chords_stand_in_one_piece_in_our_letters() -> None:
    drawn = "".join(engraved(text(music("swing"), ["bass"], printed=True), 595.0, 842.0, 1))
    names = re.findall(r'font-weight="600">([^<]+)<', drawn)
    assert names[:4] == ["E♭maj7", "C7♭9", "Fm7", "B♭7"]
    assert "Leipzig" not in drawn
    assert "Times" not in drawn
    assert not re.search("[\ue000-\uf8ff]", drawn), "no sign of a font that is not here"


def test_the_same_part_gives_the_same_bytes() -> None:
    for kind in ("pdf", "svg"):
        assert pages(music("swing"), ["bass"], kind=kind) == pages(
            music("swing"), ["bass"], kind=kind
        )


def test_a_bassist_stays_in_place() -> None:
    notes = [
        n
        for n in next(p for p in music("swing").players if p.role == "bass").notes
        if n.start_q >= 0
    ]
    held = fingered(notes, (28, 33, 38, 43))
    assert len(held) == len(notes)
    frets = [fret for _, fret in (held[i] for i in range(len(notes))) if fret]
    assert max(frets) <= 9
    assert sum(abs(a - b) for a, b in pairwise(frets)) / len(frets) <= 2.0


def test_who_is_in_the_score() -> None:
    one = music("swing")
    assert players_of(one, CONCERT._replace(parts=("all",))) == tuple(players(one))
    assert players_of(one, CONCERT._replace(parts=("bass", "keys"))) == ("keys", "bass")
    with pytest.raises(
        OutputError, match=r"--part horns: nobody plays horns here; there are melody, "
    ):
        players_of(one, CONCERT._replace(parts=("horns",)))
    with pytest.raises(OutputError, match=r"; --chord-melody lets one guitar play tune and chords"):
        players_of(one, CONCERT._replace(parts=("solo",)))


def test_parts_from_the_command_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("t.txt").write_text(TUNE.format(style="jazz ballad", head=""), "utf-8")
    for ending in ("pdf", "svg", "png", "musicxml", "mxl"):
        assert run(["make", "t.txt", "--part", "bass", "-o", f"bass.{ending}"]) == 0
    assert "<sign>TAB</sign>" in Path("bass.musicxml").read_text("utf-8")
    assert run(["make", "t.txt", "--part", "bass", "--tab", "off", "-o", "bass.musicxml"]) == 0
    assert "<sign>TAB</sign>" not in Path("bass.musicxml").read_text("utf-8")
    assert run(["make", "t.txt", "--part", "all", "-o", "score.musicxml", "-o", "t.pdf"]) == 0
    assert Path("score.musicxml").read_text("utf-8").count("<score-part ") >= 4


def test_a_lesson_holds_the_parts_that_are_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("t.txt").write_text(TUNE.format(style="jazz ballad", head="chord-melody: easy"), "utf-8")
    none = "stems = false\nwithout = false\npage = false\nladder = false\nclick = false\nloops = false\nspeeds = [60]\n"
    Path("c.toml").write_text(f"[lesson]\nbass_and_drums = false\n{none}", "utf-8")
    few = ["--bars", "1-2", "--choices", "c.toml", "--part", "solo", "--part", "bass"]
    assert run(["lesson", "t.txt", "-o", "L", *few]) == 0
    made = sorted(p.name for p in Path("L/parts").iterdir())
    assert [m.split("-")[-1] for m in made] == [
        "bass.musicxml",
        "bass.pdf",
        "solo.musicxml",
        "solo.pdf",
    ]
    page = Path("L/index.html").read_text("utf-8")
    assert "The part of the solo" in page
    assert run(["rehearse", "t.txt", "-o", "r.mid", "--part", "bass"]) == 2


@pytest.mark.libraries
def test_parts_fit_the_schema() -> None:
    import musicxml as package
    import xmlschema

    schema = xmlschema.XMLSchema(
        Path(package.__file__).parent / "generate_classes" / "musicxml_4_0.xsd", allow="local"
    )
    for name in CHARTS:
        one = music(name, "chord-melody: full" if "meter" not in CHARTS[name][1] else "")
        faults = [
            f"{name}: {e.path} {e.reason}" for e in schema.iter_errors(text(one, players(one)))
        ]
        assert faults == []


@pytest.mark.libraries
@each("name", ("swing", "bossa", "six", "seven"))
def test_music21_reads_the_same_notes(name: str) -> None:
    """Places, lengths (ties joined) and pitches of every part alone, and of all of them as a score."""
    import music21

    one = music(name, "chord-melody: full" if "meter" not in CHARTS[name][1] else "")
    everyone = players(one)
    for roles in (*([role] for role in everyone), everyone):
        read = music21.converter.parseData(text(one, roles, tab="off"), format="musicxml")
        meant = sorted(note for role in roles for note in _meant(one, role))
        assert sorted(note for part in read.parts for note in _heard(part)) == meant, roles


def _meant(one: Arrangement, role: str) -> list[tuple[Fraction, Fraction, str]]:
    """Where each note begins and ends on paper, and its pitch or its drum's place on the staff."""
    own = part_of(one, next(p for p in one.players if p.role == role), "off")
    rows = [w for stave in own.staves for _, bars in stave.voices for row in bars for w in row]
    drums = not pitched(role)
    return [
        (w.struck.start_q, w.struck.end_q, _name(note.pitch, drums))
        for w in rows
        if w.struck is not None and w.first
        for note in w.struck.notes
    ]


def _name(pitch: int, drums: bool) -> str:
    return f"{drum_of(pitch).step}{drum_of(pitch).octave}" if drums else str(pitch)


def _heard(part: Any) -> list[tuple[Fraction, Fraction, str]]:
    """The same of a part that music21 has read."""
    found: list[tuple[Fraction, Fraction, str]] = []
    for element in part.flatten().notes:
        if "ChordSymbol" in element.classes or element.duration.isGrace:
            continue
        start = Fraction(element.offset).limit_denominator(96)
        end = start + Fraction(element.quarterLength).limit_denominator(96)
        for own in getattr(element, "notes", [element]):
            name = own.displayName if "Unpitched" in own.classes else str(own.pitch.midi)
            if own.tie is not None and own.tie.type != "start":
                at = next(i for i, n in enumerate(found) if n[1:] == (start, name))
                found[at] = found[at][0], end, name
            else:
                found.append((start, end, name))
    return found
