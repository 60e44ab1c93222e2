"""Parts on paper: engraved by verovio, set on pages by typst.

Conventions: lengths in points; verovio counts its page in tenths of a millimetre of a staff of its own, so what it is told
is scaled (`UNIT`). The same arrangement gives the same bytes: identifiers come from a fixed seed, and no font of the system
serves.
Source: staff of 6 to 7 mm for a part, 5 mm for a score (common practice of engraving).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from math import ceil
from pathlib import Path
from typing import Any, cast
from xml.etree import ElementTree as ET

from backing.band.model import Arrangement, Player
from backing.ground.errors import OutputError
from backing.ground.instruments import STANDARD_TUNING
from backing.ground.roles import pitched, role_of
from backing.ground.tunings import open_strings
from backing.output.asked import CONCERT, Paper
from backing.output.files import MARK, claim
from backing.output.hand import said
from backing.output.parts.as_fingered import as_fingered
from backing.output.parts.diagrams import ROOM, Frets, draw, held
from backing.output.parts.measures import DEAD, strums
from backing.output.parts.score import part_of, text, title_of
from backing.output.sheet.compiled import KINDS, Kind, compiled, marked
from backing.output.sheet.compiled import language as language_of
from backing.output.sheet.faces import families
from backing.output.sheet.page import PAPERS
from backing.output.sheet.write import write_pages
from backing.timeline.model import Timeline

TEMPLATE = Path(__file__).parent / "part.typ"
SIDE, HEAD, FOOT = 38.0, 30.0, 30.0
FIRST, OTHER = 86.0, 48.0  # where the music begins on the first page and on the others
STAFF_PT, SCORE_PT = 18.5, 13.5  # height of a staff of a part, and of a score of many
TITLE, TUNING, LETTER = (
    20.5,
    12.0,
    9.9,
)  # height of a line of the title and of that of strings; width of a letter
LEFT = 14.0  # for bar numbers, outside the lines of text
SPACING, SIGNS, WIDEST = (
    0.25,
    9,
    2.8,
)  # what verovio spaces by, and how many signs over a bar want more of it
SIZES, LITTLE = (
    (1.0, 0.95, 0.9),
    0.34,
)  # sizes that are tried to save a last page with so little of a full one
FULL = 0.36  # of its width, from which on a line may end behind four bars
PADDING = 50  # beside the name of a section in its box
CHORD, WORDS = 360, 405  # sizes of a chord's name and of words over a staff, in verovio's units
UNIT = 10.0  # of verovio's units in a point of ours, before it is scaled
_UNITS = 90  # of its drawing, in a unit in which verovio is told of space
_SPACES = 4 * 18  # of verovio's units in a staff at full scale
_STRINGS = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
_SVG = "{http://www.w3.org/2000/svg}"
# Notes of a metronome mark and accidentals of chord names: in the music font of verovio, and in ours.
_NOTES = str.maketrans({"\ueca2": "𝅝", "\ueca3": "𝅗𝅥", "\ueca5": "♩", "\ueca7": "♪", "\uecb7": "."})
_SIGNS = str.maketrans(
    {"\uea64": "♭", "\uea65": "♮", "\uea66": "♯", "\ue260": "♭", "\ue261": "♮", "\ue262": "♯"}
)
OPTIONS: dict[str, Any] = {
    "header": "none", "footer": "none", "breaks": "smart", "pageMarginRight": 0, "pageMarginTop": 70,
    "pageMarginBottom": 0, "xmlIdSeed": 1, "svgViewBox": True, "adjustPageHeight": True, "condense": "none",
    "spacingSystem": 7, "spacingBraceGroup": 5, "minLastJustification": 0.6,
}  # fmt: skip


def write(
    music: Arrangement,
    path: Path,
    *,
    paper: Paper = CONCERT,
    language: str = "",
    force: bool = False,
) -> list[Path]:
    """Write the parts that `paper` names; an SVG or PNG of several pages becomes `NAME-1.png`, `NAME-2.png` ….

    Raises `OutputError`.
    """
    kind = KINDS[path.suffix.lower()]
    claim(path, force=force)
    made = pages(music, players_of(music, paper), paper=paper, language=language, kind=kind)
    return write_pages(made, path, force=force)


def players_of(music: Arrangement, paper: Paper) -> tuple[str, ...]:
    """Who is in the score, in score order. Raises `OutputError` for a player who has no notes here."""
    there = [p for p in music.players if p.role != "click" and p.notes]
    if "all" in paper.parts:
        return tuple(p.role for p in there)
    wanted = {p.role for p in there if p.role in paper.parts}
    for name in paper.parts:
        if name not in wanted:
            names = ", ".join(p.role for p in there)
            more = "; --chord-melody lets one guitar play tune and chords" if name == "solo" else ""
            raise OutputError(f"--part {name}: nobody plays {name} here; there are {names}{more}")
    return tuple(p.role for p in there if p.role in wanted)


def pages(
    music: Arrangement,
    players: Sequence[str],
    *,
    paper: Paper = CONCERT,
    language: str = "",
    kind: str = "pdf",
) -> list[bytes]:
    """The parts as bytes, one item a page (a PDF is one item whatever its pages)."""
    wide, high = PAPERS[paper.size]
    own = [p for p in music.players if p.role in players]
    line = music.timeline
    tuning = _tuning(line) if any(role_of(p).strings for p in players) else ""
    first = begins(line.title, tuning, wide - 2 * SIDE)
    shown = as_fingered(music, players)
    drawn = engraved(
        text(shown, players, tab=paper.tab, printed=True), wide, high - first, len(players),
        _signs(shown) if any(pitched(p) for p in players) else 0, grips=_grips(shown, own, paper.tab),
    )  # fmt: skip
    name = title_of(own[0]) if len(own) == 1 else "Score"
    data = {
        "title": line.title or "Untitled", "part": name, "author": line.by, "keywords": [MARK],
        "language": language_of(language), "width": wide, "height": high,
        "side": SIDE, "left": LEFT, "head": HEAD, "first": first, "other": OTHER, "tuning": tuning,
        "families": families(f"{line.title}{line.by}{name}"), "pages": drawn,
    }  # fmt: skip
    made = compiled(TEMPLATE, data, cast(Kind, kind))
    return [marked(page, cast(Kind, kind), f"{data['title']} – {name}") for page in made]


def engraved(
    xml: str, wide: float, room: float, players: int, chords: int = 0, grips: Sequence[Frets] = ()
) -> list[str]:
    """The music of every page as SVG, as wide as the page without its sides, with so much room above the foot.

    `chords` are the most signs over a bar, `grips` stand over the names of chords in their order. Raises `OutputError`.
    """
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    kit = verovio.toolkit()
    drawn: list[str] = []
    for size in SIZES:
        kit.setOptions(_options(wide, room, players, chords, size, bool(grips)))
        if not kit.loadData(xml):
            raise OutputError(
                "the part cannot be engraved; write it as .musicxml for a notation program"
            )
        made = [kit.renderToSVG(n) for n in range(1, kit.getPageCount() + 1)]
        drawn = drawn or made
        if len(made) < len(drawn) or not _leaves_little(made):
            drawn = made
            break
    pages, at = [], 0
    for svg in drawn:
        page = _with_our_faces(svg)
        at += draw(page, grips[at:])
        waiting: list[ET.Element] = []
        for measure in _of(page, "measure"):
            waiting = _raise(measure, waiting)
        text = ET.tostring(page, encoding="unicode").translate(_NOTES)
        pages.append(text.replace("Leipzig", "Inter").replace("Times, serif", "Inter"))
    return pages


def _options(
    wide: float, room: float, players: int, chords: int, size: float, grips: bool
) -> dict[str, Any]:
    """What verovio is told of the page."""
    scale = (SCORE_PT if players > 2 else STAFF_PT) * size / _SPACES * 100 * UNIT
    more = round(ROOM / _UNITS) if grips else 0
    return {
        **OPTIONS,
        "pageWidth": round((wide - 2 * SIDE + LEFT) * UNIT * 100 / scale),
        "pageHeight": round((room - FOOT) * UNIT * 100 / scale),
        "pageMarginLeft": round(LEFT * UNIT * 100 / scale),
        "scale": round(scale),
        "pageMarginTop": OPTIONS["pageMarginTop"] + more * _UNITS // 10,
        "spacingSystem": OPTIONS["spacingSystem"] + more,
        "breaksSmartSb": FULL,
        "spacingLinear": SPACING * min(WIDEST, max(1.0, chords / SIGNS)),
    }


def _leaves_little(pages: Sequence[str]) -> bool:
    """Whether a last page has so few lines that nobody wants to turn for them."""
    lines = [page.count('class="system"') for page in pages]
    return len(pages) > 1 and lines[-1] <= max(1, LITTLE * lines[0])


def _with_our_faces(svg: str) -> ET.Element:
    """The same with the faces that ship with this program, and chord names in one piece."""
    ET.register_namespace("", _SVG[1:-1])
    ET.register_namespace("xlink", "http://www.w3.org/1999/xlink")
    root = ET.fromstring(svg)
    for style in [e for e in root.iter(f"{_SVG}style") if "@font-face" in (e.text or "")]:
        style.text = ""
    for note in [g for g in root.iter(f"{_SVG}g") if g.get("id", "").startswith(DEAD)]:
        for figure in note.iter(f"{_SVG}tspan"):
            figure.text = "×"
    for group in _of(root, "harm"):
        for name in group.findall(f"{_SVG}text"):
            _one_piece(name)
    return root


def _one_piece(text: ET.Element) -> None:
    """A chord's name over the staff as one line in our own letters."""
    name = "".join(part.strip() for part in text.itertext()).translate(_SIGNS)
    name = re.sub(r"b(?=\d)", "♭", name).replace("#", "♯")
    text[:] = []
    text.text = name
    text.set("font-size", f"{CHORD}px")
    text.set("font-weight", "600")


def _of(root: ET.Element, kind: str) -> list[ET.Element]:
    """The groups of a kind."""
    return [g for g in root.iter(f"{_SVG}g") if g.get("class") == kind]


def _raise(measure: ET.Element, waiting: Sequence[ET.Element] = ()) -> list[ET.Element]:
    """Set the name of a section over the chords of its first bar, and the tempo beside it.

    `waiting` is the tempo of a pickup before it; that of a pickup is what comes back.
    """
    boxes, names = _of(measure, "reh"), _of(measure, "harm")
    tempos = [*waiting, *_of(measure, "tempo")]
    if not boxes and tempos and not waiting:
        return tempos
    over = ROOM if _of(measure, "diagram") else 0
    line = min([_y(g) for g in (*names, *boxes, *tempos)], default=0) - over - CHORD - 130
    at = _x(names[0]) if names else None
    left = next((float(e.get("d", "M0")[1:].split()[0]) for e in measure.iter(f"{_SVG}path")), 0.0)
    for box in boxes:
        for rect in box.iter(f"{_SVG}rect"):
            x, width = float(rect.get("x", 0)) - PADDING, float(rect.get("width", 0)) + 2 * PADDING
            rect.set("x", f"{x:.0f}")
            rect.set("width", f"{width:.0f}")
            at = max(x, left) if at is None else at
            at += _set(box, x, at, line) * width + 100
    for tempo in tempos:
        _set(tempo, _x(tempo), _x(tempo) if at is None else at, line)
    return []


def _set(group: ET.Element, x: float, at: float, line: float) -> float:
    """Move what begins at `x` to a place on a line, in the size of words over a staff; by how much it is scaled."""
    sizes = (t.get("font-size", "") for t in group.iter(f"{_SVG}tspan"))
    size = min((float(s[:-2]) for s in sizes if s.endswith("px")), default=WORDS)
    by = WORDS / size
    move = f"translate({at - by * x:.0f},{line - by * _y(group):.0f})"
    group.set("transform", move if by == 1 else f"{move} scale({by:.3f})")
    return by


def _x(group: ET.Element) -> float:
    """Where the text of a group begins."""
    return next((float(t.get("x", 0)) for t in group.iter(f"{_SVG}text")), 0.0)


def _y(group: ET.Element) -> int:
    """Where the text of a group stands."""
    return next((int(float(t.get("y", 0))) for t in group.iter(f"{_SVG}text")), 0)


def _signs(music: Arrangement) -> int:
    """The most signs of chord names over one bar."""
    found: dict[int, int] = {}
    for span in music.timeline.chords:
        if not span.held:
            found[span.bar] = found.get(span.bar, 0) + len(span.symbol) + 2
    return max(found.values(), default=0)


def _grips(shown: Arrangement, own: Sequence[Player], tab: str) -> Sequence[Frets]:
    """What is held at every chord of a part that strums."""
    if len(own) != 1 or tab == "only" or not role_of(own[0].role).strings:
        return ()
    player = next(p for p in shown.players if p.role == own[0].role)
    strummed = player.role != "solo" and strums(part_of(shown, player, tab))
    return held(shown.timeline, player.notes) if strummed else ()


def begins(title: str, tuning: str, room: float) -> float:
    """Where the music of the first page begins, under a title that takes some lines of so much room."""
    lines = max(1, ceil(len(title) * LETTER / room))
    return FIRST + TITLE * (lines - 1) + (TUNING if tuning else 0.0)


def _tuning(line: Timeline) -> str:
    """Capo and open strings in words, where they are not as usual."""
    strings = open_strings(line.tuning)
    words = [said(line)] if said(line) else []
    if strings != STANDARD_TUNING:
        words.append("strings " + " ".join(_STRINGS[s % 12] for s in strings))
    return ", ".join(words)
