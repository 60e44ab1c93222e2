"""What a drummer answers to the band while time is kept: snare and kick that talk, kicks that follow the bass.

Conventions: as in `variations`, whose strokes these are. Source: kick and bass agree, a sparse snare between the beats
in swing (Sabatella, A Jazz Improvisation Primer; common practice).
"""

from __future__ import annotations

from bisect import bisect_left
from fractions import Fraction

from backing.band.model import Kind, Note, Why
from backing.band.players.common import BarPlan, Brief
from backing.band.players.listening import room, strokes_in
from backing.band.players.pulses import beats, off_beats, shift_q
from backing.band.players.variations import Strokes
from backing.timeline.model import PlayedBar

PUSHES, PUSHED = 0.5, 1.1  # chance and force of an accent with a chord that comes ahead of the bar
MOST_ADDED = 2  # kicks a bar that follow the bass where none was
_EIGHTH = Fraction(1, 2)
_NONE = (0.0, Why(Kind.PATTERN, ""))

# Comping over two bars: (bar, on or off the beat, which beat; from the end where negative), question and answer.
_TALK: tuple[tuple[tuple[int, bool, int], ...], ...] = (
    ((0, False, 1),),
    ((1, False, -1),),
    ((0, False, 1), (1, False, -1)),
    ((0, False, -1), (1, False, 1)),
    ((0, True, -1), (1, False, 0)),
    ((0, False, 0), (0, False, -1)),
    ((1, False, 1), (1, True, -1)),
    ((0, False, 1), (0, True, -1), (1, False, 0)),
    ((0, True, -1), (1, True, 0), (1, False, 1)),
)


def talk(
    brief: Brief, index: int, bar: PlayedBar, plan: BarPlan, strokes: Strokes, base: float
) -> Strokes:
    """Snare and kick between the beats: one idea of two bars, asked and answered where those who comp leave room.

    What they strike ahead of the next bar is marked with them now and then.
    """
    amount = brief.part.number("comping") * (0.5 + plan.busy)
    if amount == 0:
        return strokes
    chords = strokes_in(brief, bar)
    amount *= room(brief, index)
    half = plan.phrase_bar % 2
    phrase = brief.place.at(index - half, "talk")
    if not phrase.chance(amount, "speaks"):
        return strokes
    idea = phrase.pick(_TALK, [1.0] * len(_TALK), "idea")
    on, off = [p for p, _ in beats(bar.meter)], off_beats(bar.meter)
    made = dict(strokes)
    for number_, (which, on_beat, count) in enumerate(idea):
        places = on if on_beat else off
        if which != half or not -len(places) <= count < len(places):
            continue
        at = shift_q(bar) + places[count]
        drum = "kick" if phrase.chance(0.25, "drum", number_) else "snare"
        force = 0.5 + 0.25 * phrase.roll("force", number_)
        if at in chords:
            continue  # the chord has said it
        if at >= bar.start_q and made.get((at, drum), _NONE)[0] < base * force:
            words = "comping: answers" if half else "comping: asks"
            made[at, drum] = (base * force, Why(Kind.COMPING, words))
    push = shift_q(bar) + off[-1]
    if half and push in chords and phrase.chance(PUSHES, "push"):
        made[push, "snare"] = (base * PUSHED, Why(Kind.COMPING, "comping: with the chord ahead"))
    return made


def with_bass(brief: Brief, bar: PlayedBar, strokes: Strokes, base: float) -> Strokes:
    """Kicks under the notes that the bass plays off the beat: moved there from near by, or added.

    A row of eighths and dead notes ask for nothing.
    """
    amount = brief.part.number("kick_with_bass")
    if amount == 0:
        return strokes
    heard = brief.heard.get("bass", ())
    first = bisect_left(heard, bar.start_q, key=_start)
    notes = heard[first : bisect_left(heard, bar.end_q, key=_start)]
    bass = {n.start_q for n in notes if n.why.kind is not Kind.DEAD}
    shift = shift_q(bar)
    if bass.issuperset(shift + p for p in off_beats(bar.meter)):
        return strokes
    on = {shift + p for p, _ in beats(bar.meter)}
    alone = sorted(at for at, drum in strokes if drum == "kick" and at not in on | bass)
    made, added = dict(strokes), 0
    for at in sorted(bass - on):
        free = (at, "kick") not in made and made.get((at, "snare"), _NONE)[0] < base * 0.6
        if not free or not brief.groove.chance(amount, "with the bass", str(at - shift)):
            continue
        near = min(alone, key=lambda k: abs(k - at), default=None)
        force = base * 0.86
        if near is not None and abs(near - at) <= _EIGHTH:
            alone.remove(near)
            force = made.pop((near, "kick"))[0]
        elif added == MOST_ADDED:
            continue
        else:
            added += 1
        made[at, "kick"] = (force, Why(Kind.WITH_BASS, "kick with the bass"))
    return made


def _start(note: Note) -> Fraction:
    return note.start_q
