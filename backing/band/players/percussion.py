"""The percussionist: patterns of congas, shaker, claves and the like.

Conventions: as for the drums; there are no fills. A two-bar pattern follows the clave of the piece, which runs on
unbroken through sections of odd length; the side (2-3 or 3-2) is the chart's, or else the style's. Where the whole band
strikes, one stroke of the pattern's first drum goes with it. Source: common practice.
"""

from __future__ import annotations

from bisect import bisect_right
from fractions import Fraction

from backing.band.model import Kind, Note, Why, note_order
from backing.band.players.common import Brief, ZoneKind, with_the_band
from backing.band.players.listening import room
from backing.band.players.ornaments import WORDS, lasting, ornament, softer
from backing.band.players.patterns.choose import PERCUSSION, choose
from backing.band.players.patterns.lay import Chosen, laid, soft_ones, vary_of
from backing.band.players.patterns.traits import unbroken
from backing.band.players.pulses import beats, loudness, shift_q, velocity
from backing.ground.instruments import DRUM_KEYS

_ACCENT, _GHOST = 1.16, 0.45
SHAKEN = (
    "maracas",
    "shaker",
    "cabasa",
    "tambourine",
)  # the arm goes on, so none of their strokes is left out


def chosen(brief: Brief) -> list[Chosen | None]:
    """The percussionist's patterns, bar by bar."""
    return choose(brief, PERCUSSION)


def play(brief: Brief) -> list[Note]:
    """The percussion of one playing of a section, in order of start."""
    opens = [z.start_q for z in brief.zones]
    timed = [z.kind in (ZoneKind.TIME, ZoneKind.KICKS) for z in brief.zones]
    notes: list[Note] = []
    first = ""
    for index, (bar, plan, found) in enumerate(
        zip(brief.bars, brief.plans, chosen(brief), strict=True)
    ):
        if found is None or bar.rubato:
            continue
        shift, base = shift_q(bar), loudness(plan.level)
        on_beat = {p for p, _ in beats(bar.meter)}
        place = brief.place.at(index)
        why = Why(Kind.PATTERN, f"pattern '{found.pattern.name}'")
        vary = min(1.0, vary_of(brief, found, loops=False) / room(brief, index))
        soft = soft_ones(brief, index, found)
        for name, line in laid(found, bar).items():
            first = first or name
            may = not brief.style.clave and not unbroken([b.at_q for b in line], bar.length_q)
            for number_, beat in enumerate(line):
                at = shift + beat.at_q
                if not timed[max(0, bisect_right(opens, at) - 1)]:
                    continue
                ghost = beat.mark == "g"
                if ghost and not soft:
                    continue
                loose = ghost and may and name not in SHAKEN
                if loose and place.chance(vary, name, number_):
                    continue  # the soft strokes come and go, and leave room
                force = _GHOST if ghost else _ACCENT if beat.mark == "X" else 1.0
                force *= softer(beat.mark, brushes=False)
                if beat.mark == "x" and beat.at_q not in on_beat:
                    force *= 0.93
                notes.append(
                    Note(at, at + min(beat.length_q, Fraction(1, 2)), DRUM_KEYS[name], velocity(base * force), why)
                )  # fmt: skip
                notes[-1] = lasting(notes[-1], beat.mark, beat.length_q, brushes=False)
                for early, share in ornament(beat.mark, at, beat.length_q, brief.qpm):
                    if early >= brief.start_q:
                        told = why.also(f", {WORDS[beat.mark]}")
                        notes.append(
                            Note(early, early + Fraction(1, 8), DRUM_KEYS[name], velocity(base * force * share), told)
                        )  # fmt: skip
    for zone in brief.zones:
        if zone.kind is ZoneKind.STRUCK and first:
            for stroke in zone.strokes:
                at_bar = bisect_right(brief.bars, stroke.start_q, key=lambda b: b.start_q) - 1
                level = brief.plans[max(0, at_bar)].level
                notes.append(
                    Note(
                        stroke.start_q, stroke.end_q, DRUM_KEYS[first], velocity(loudness(level)),
                        with_the_band(stroke), strict=True,
                    )
                )  # fmt: skip
    notes.sort(key=note_order)
    return notes
