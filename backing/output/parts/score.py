"""What players play in an arrangement, as a MusicXML 4.0 score: a part, several, or all of them.

Conventions: the exact grid of the arrangement, swing as even eighths with the word; measures carry the bar numbers of the
sheet, repeats are written out; pitches are those that sound, and the clefs of guitar and bass say that they read an
octave up. Tab has strings and frets (`technical`), string 1 the highest.
Source: MusicXML 4.0 (W3C Community Group report).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from math import lcm
from xml.etree import ElementTree as ET

from backing.band.model import Arrangement, Note, Player
from backing.ground.roles import pitched
from backing.ground.tunings import open_strings
from backing.ground.version import VERSION
from backing.output.files import MARK
from backing.output.musicxml import DOCTYPE
from backing.output.musicxml_marks import add
from backing.output.parts.measures import Measures, Part, Stave
from backing.output.parts.staves import TAB, Layout, layout_of
from backing.output.parts.written import bars, fingered, struck, voices
from backing.timeline.model import Timeline

TITLES = {"solo": "Solo guitar"}  # of players who are not called by their instrument


def text(
    music: Arrangement, players: Sequence[str], *, tab: str = "on", printed: bool = False
) -> str:
    """The score of some players as XML; `printed` has all of a chord in its text, as it is to be drawn."""
    root = score(music, players, tab=tab, printed=printed)
    ET.indent(root, " ")
    return f"{DOCTYPE}<!-- {MARK} -->\n{ET.tostring(root, encoding='unicode')}\n"


def score(
    music: Arrangement, players: Sequence[str], *, tab: str = "on", printed: bool = False
) -> ET.Element:
    """The score as elements; `tab` is `on`, `off` or `only`."""
    timeline = music.timeline
    root = ET.Element("score-partwise", version="4.0")
    if timeline.title:
        add(add(root, "work"), "work-title", timeline.title)
    head = add(root, "identification")
    if timeline.by:
        add(head, "creator", timeline.by, type="composer")
    add(add(head, "encoding"), "software", f"backing {VERSION}")
    parts = [part_of(music, player, tab) for player in music.players if player.role in players]
    names = add(root, "part-list")
    for number, part in enumerate(parts, 1):
        shown = {"print-object": "no"} if printed and len(parts) == 1 else {}
        add(add(names, "score-part", id=f"P{number}"), "part-name", part.name, **shown)
    for number, part in enumerate(parts, 1):
        own = Measures(part, music, leads=number == 1, printed=printed)
        own.write(add(root, "part", id=f"P{number}"))
    return root


def title_of(player: Player) -> str:
    """What a part is called: by its instrument, a drummer by the role."""
    instrument = player.parts[0].part.instrument.name if player.parts else player.role
    name = TITLES.get(player.role, instrument if pitched(player.role) else player.role)
    number = player.role.split()[1:]  # of a second guitar
    return " ".join([name[:1].upper() + name[1:], *number])


def part_of(music: Arrangement, player: Player, tab: str) -> Part:
    """A player on staves; `tab` as in `score`."""
    timeline = music.timeline
    notes = [n for n in player.notes if n.start_q >= 0]
    strings = tuple(s + timeline.tuned for s in open_strings(timeline.tuning))
    layout = layout_of(player.role, [n.pitch for n in notes], strings, tab)
    staves = tuple(_staves(player.role, notes, layout, timeline))
    places = {Fraction(1, 4), *(b.length_q for b in timeline.bars)}
    places |= {s.start_q - timeline.bars[s.bar - 1].start_q for s in timeline.chords}
    rows = (w for stave in staves for _, rows in stave.voices for row in rows for w in row)
    places |= {q for w in rows for q in (w.figure.start_q, w.figure.length_q)}
    divisions = lcm(*(q.denominator for q in places))
    return Part(title_of(player), player.role, layout, staves, divisions)


def _staves(
    player: str, notes: Sequence[Note], layout: Layout, timeline: Timeline
) -> Iterator[Stave]:
    drums = not pitched(player)
    held = {id(n): (n.string, n.fret) for n in notes if n.string}
    if layout.strings and not held:
        held = {id(notes[i]): at for i, at in fingered(notes, layout.strings).items()}
    for number, clef in enumerate(layout.staves, 1):
        own = list(notes)
        if layout.split:
            own = [n for n in notes if (n.pitch >= layout.split) == (number == 1)]
        if clef == TAB:
            own = [n for n in own if id(n) in held]
        pair = voices(own, player) if layout.voices and clef != TAB else (own, [])
        rows = [
            bars(struck(row, timeline.bars, drums), timeline.bars)
            for row in pair
            if row or row is pair[0]
        ]
        yield Stave(number, clef, tuple(enumerate(rows, 4 * number - 3)), held)
