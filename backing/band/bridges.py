"""A bridge on other ground: in two, or over a pedal.

A pedal is one note that the bass holds or repeats while the chords above it move: the fifth of the key of what comes
back, which leads home. It stands under the last bars of a bridge as far as the harmony allows it: under no written
bass, and under no chord of which a note lies a half step above it.

Conventions: bars of a section count from 0. Source: the dominant pedal before a return (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from backing.band.course import SOFT
from backing.band.led import Move, Pedal, Reason, SectionPlan
from backing.band.track import Track
from backing.ground.pitch import Degree, NoteName
from backing.ground.timebase import EIGHTH
from backing.harmony.symbol import Chord
from backing.styles.model import Style
from backing.timeline.model import ChordSpan, Strike

TWO = 0.4  # chance that a bridge goes in two, where the bass walks
# below it, and not in two, a bridge stands on a pedal: under a walking bass, under figures
WALKED_PEDAL, PEDAL = 0.7, 0.5
DRIVES = 96  # beats a minute from which eighths drive on
PHRASE, MOST = 4, 8  # bars of a pedal: whole phrases
FIFTH = Degree.parse("5")
# ways of a bass that a pedal can take the place of
FIGURES = {"pattern", "octaves", "root-fifth", "pedal"}


def on_other_ground(track: Track, number: int, plan: SectionPlan, roll: float) -> SectionPlan:
    """The plan of a bridge, in two or over a pedal where chance (`roll`) and the style have it so."""
    style = track.styles[number]
    bass = style.part("bass")
    bound = style.clave is not None or style.repeats or style.ideas
    if bass is None or bound or "bass" not in track.players[number]:
        return plan
    ways = set(bass.plays.values())
    walks = "walking" in ways
    if walks and roll < TWO and not plan.first_of_many:
        return plan._replace(two=True).and_so(Move.TWO, ("bass",), Reason.OTHER_GROUND)
    if (walks and roll < WALKED_PEDAL) or (ways <= FIGURES and roll < PEDAL):
        pedal = pedal_of(track, number, plan)
        if pedal is not None:
            plan = plan._replace(pedal=pedal)
            return plan.and_so(Move.PEDAL, ("bass",), Reason.LEADS_HOME, pedal.told)
    return plan


def pedal_of(track: Track, number: int, plan: SectionPlan) -> Pedal | None:
    """The pedal under the last whole phrases of a section, None where the harmony has no room for one."""
    timeline, section = track.timeline, track.sections[number]
    bars = timeline.bars[section.first - 1 : section.last]
    home = timeline.bars[min(section.last, len(timeline.bars) - 1)].key
    note = FIFTH.of(home.tonic)
    inside = [
        [s for s in timeline.chords if s.start_q < bar.end_q and s.end_q > bar.start_q]
        for bar in bars
    ]
    count = 0
    while count < min(MOST, len(bars)) and stands_over(note, inside[-1 - count]):
        count += 1
    count -= count % PHRASE
    over = [span.chord for row in inside[len(bars) - count :] for span in row]
    if count == 0 or not any(a != b for a, b in pairwise(over)):
        return None
    return Pedal(note, len(bars) - count, len(bars) - 1, _rhythm(track.styles[number], plan))


def _rhythm(style: Style, plan: SectionPlan) -> str:
    """How often a pedal is struck: held where it is soft, in eighths where the style drives on them."""
    bass = style.part("bass")
    walks = bass is not None and "walking" in bass.plays.values()
    drives = style.grid_q == EIGHTH and style.usual_bpm >= DRIVES and not walks
    return "bar" if plan.opens < SOFT else "eighths" if drives else "strong"


def stands_over(note: NoteName, spans: Sequence[ChordSpan]) -> bool:
    """Whether all chords of a bar may stand over a note in the bass."""
    return bool(spans) and all(
        span.chord is not None
        and span.chord.bass is None
        and span.strike is Strike.NORMAL
        and not span.fermata
        and bears(span.chord, note)
        for span in spans
    )


def bears(chord: Chord, note: NoteName) -> bool:
    """Whether no note of a chord lies a half step above a pedal."""
    return all((pc - note.pc) % 12 != 1 for pc in chord.pitch_classes)
