"""Piano and other keys: comping from the style's patterns, held pads, broken chords.

Voicings come from a search over the section (`chordal.voice`), rhythm from the patterns (`rhythm.strokes`).

Conventions: pitches are MIDI notes. With a bass player the left hand stays at 50 and above and the roots are left to
the bass; the right hand reaches 76 (common practice; rootless voicings sound best within a sixth of middle C,
jazzpiano.net.au tutorial 9).
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import groupby

from backing.band.model import Kind, Note, Why, note_order
from backing.band.players.chordal import NARROWEST, Voiced, families, voice
from backing.band.players.common import Brief
from backing.band.players.fourths import planed
from backing.band.players.listening import struck, undoubled, with_chords
from backing.band.players.lowline import asked, degree_of
from backing.band.players.melodic import line_notes
from backing.band.players.patterns.pools import FOLLOWS
from backing.band.players.quick import quick_chords
from backing.band.players.rhythm import Event, strokes
from backing.band.players.touch import broken, moved, sounding_end, unheard, unrepeated, velocity
from backing.ground.pitch import Key
from backing.styles.marks import LINES, voices

LOW, HIGH = 50, 76
WHOLE, ABOVE = 4, 2  # notes of another's chord that is full, and of one over it
RIGHT_HAND = (60, 84)  # where a line by degree lies
ABOVE_GUITAR = (54, 76)  # where a guitar comps below
SPREAD = (48, 79)  # two hands apart, which span nearly two octaves
LOW_ALONE = 43  # the lowest note of the chord when nobody plays bass
LOW_ROOT = 36  # from where on a style's own bass notes have their root
LEFT_HAND_SPAN = 19  # semitones up to which they go, but for figures that are wider
LOWEST_ALONE, MIDDLE_C = 28, 60  # between which these lie


def register(brief: Brief, low: int = LOW, high: int = HIGH) -> tuple[int, int]:
    """Lowest and highest note of the chords: the usual ones, or the style's where it narrows its instrument."""
    part = brief.part
    if part.low > max(part.instrument.low, 0):
        low = part.low
    if 0 < part.high < part.instrument.high:
        high = part.high
    high = min(high, part.instrument.high)
    return max(min(low, high - NARROWEST), part.instrument.low), high


def _room(brief: Brief, with_bass: bool) -> tuple[int, int]:
    """The usual register, higher where a guitar comps in the middle as well."""
    if with_bass and brief.part.word("voicing") == "spread" and not brief.melody:
        return SPREAD
    middle = any(p.word("voicing") != "power" for p in brief.style.fretted)
    if with_bass and middle and not brief.melody:
        return ABOVE_GUITAR
    return LOW if with_bass else LOW_ALONE, HIGH


def play(brief: Brief) -> list[Note]:
    """The keys' notes of one section."""
    with_bass = bool(brief.heard.get("bass"))
    up = brief.led.keys_up
    low, high = register(brief, *(edge + up for edge in _room(brief, with_bass)))
    octaves, pedal = brief.part.flag("octaves"), brief.part.flag("pedal")
    events = strokes(brief, ("chord", "bass", *LINES))
    chords = struck(brief)
    whole = [(e.start_q, e.change.index) for e in events if e.line == "chord" and not e.shift]
    voicings = voice(
        brief,
        _families(brief),
        low,
        high,
        int(brief.part.number("voices")),
        fuller=not octaves,
        beside=with_chords(whole, chords),
        rows=quick_chords(brief),
    )
    planes = planed(brief, events, low, high)
    singles, roots = broken(events), _left_roots(brief, events, with_bass)
    notes: list[Note] = []
    for event in events:
        index = event.change.index
        voiced = voicings.get(index)
        if voiced is None or event.line in LINES:
            continue
        if event.line == "bass":
            root = roots.get(event.start_q)
            notes += _left_hand(event, brief.bars[event.bar].key, with_bass, root)
        elif voices(event.mark):
            bar_end = brief.bars[event.bar].end_q
            notes += _broken(
                event, voiced, octaves, bar_end if pedal else None, singles.pop(index, None)
            )
        else:
            voiced = planes.stacks.get(event.start_q, voiced)
            event = event._replace(shift=planes.aside.get(event.start_q, event.shift))
            chord = _above(
                brief, event, _chord(event, voiced), chords.get(event.start_q, frozenset())
            )
            notes += moved(event, chord, brief.part)
    notes += line_notes(brief, events, *register(brief, *RIGHT_HAND), octaves)
    notes.sort(key=note_order)
    return undoubled(unrepeated(notes), chords)


def _families(brief: Brief) -> dict[str, str]:
    """Families of voicings by level; soft comping without a word from the style is in shells (common practice)."""
    found = families(brief.part)
    if found["p"] == "rootless" and brief.part.word("voicing_soft") == "same":
        found["p"] = "shells"
    return found


def _chord(event: Event, voiced: Voiced) -> list[Note]:
    """The whole voicing; the top note a little louder, since the ear follows it."""
    loud = velocity(event)
    why = event.why.also(f"; {voiced.words}")
    last = len(voiced.voicing.pitches) - 1
    return [
        Note(
            event.start_q,
            sounding_end(event, pitch),
            pitch,
            min(127, loud + 5) if i == last else loud - (3 if i > 0 else 0),
            why,
            degree,
            event.change.index,
            strict=event.strict,
        )
        for i, (pitch, degree) in enumerate(
            zip(voiced.voicing.pitches, voiced.voicing.degrees, strict=True)
        )
    ]


def _above(brief: Brief, event: Event, chord: list[Note], other: frozenset[int]) -> list[Note]:
    """What who follows plays of a chord that another strikes in full: the upper notes, the lower ones are heard there."""
    style = brief.style
    whole = len(other) >= WHOLE and event.plan.busy < FOLLOWS and not event.strict
    if not whole or style.repeats or style.clave is not None:
        return chord
    heard = {pitch % 12 for pitch in other}
    lower = [note for note in chord[:-ABOVE] if note.pitch % 12 not in heard]
    if len(lower) == len(chord[:-ABOVE]):
        return chord
    return [n._replace(why=n.why.also(", its upper notes")) for n in (*lower, *chord[-ABOVE:])]


def _broken(
    event: Event,
    voiced: Voiced,
    octaves: bool,
    pedal_q: Fraction | None,
    marks: frozenset[str] | None,
) -> list[Note]:
    """Some voices of the chord, counted from the bottom; beyond the top the count goes on an octave higher.

    With `pedal_q` it rings until then unless the harmony changes. `marks`, given with the first stroke of a chord, are
    all the voices that will be heard of it: what must be heard and would not is played along.
    """
    pitches, degrees = voiced.voicing.pitches, voiced.voicing.degrees
    count = len(pitches)
    chosen = []
    for voice_ in voices(event.mark):
        turn, at = divmod(voice_ - 1, count)
        chosen.append((pitches[at] + 12 * turn, degrees[at]))
    how = "broken chord"
    if marks is not None:
        missing = unheard(event.chord, {degrees[(int(m) - 1) % count] for m in marks})
        along = [(p, d) for p, d in zip(pitches, degrees, strict=True) if d in missing]
        chosen += along
        how = "begun together, so that the chord is heard" if along else how
    if octaves:
        chosen += [(pitch + 12, degree) for pitch, degree in chosen[: len(voices(event.mark))]]
        how += ", in octaves"
    why = event.why.also(f", {how}; {voiced.words}")
    loud = velocity(event) - (0 if marks is not None else 4)
    made = []
    for pitch, degree in chosen:
        end = sounding_end(event, pitch)
        if pedal_q is not None:
            end = max(end, min(pedal_q, event.harmony_q, event.limit_q))
        made.append(
            Note(
                event.start_q, end, pitch, loud, why, degree, event.change.index, strict=event.strict
            )
        )  # fmt: skip
    return made


def _left_roots(brief: Brief, events: Sequence[Event], with_bass: bool) -> dict[Fraction, int]:
    """By the place of a left hand's note: the root under a figure that would not fit where the hand usually lies."""
    low = LOW_ROOT + 7 if with_bass else LOW_ROOT
    floor = LOW_ROOT if with_bass else LOWEST_ALONE
    found: dict[Fraction, int] = {}
    line = [event for event in events if event.line == "bass"]
    for pc, run in groupby(line, key=lambda e: e.chord.lowest.pc):
        figure = list(run)
        rels = [rel for e in figure for rel in asked(e, brief.bars[e.bar].key)]
        root = low + (pc - low) % 12
        if root + max(rels) > low + LEFT_HAND_SPAN:
            high, fits = root + max(rels) > MIDDLE_C, root - 12 + min(0, *rels) >= floor
            root -= 12 if high and fits else 0
            found |= {event.start_q: root for event in figure}
    return found


def _left_hand(event: Event, key: Key, with_bass: bool, root: int | None) -> list[Note]:
    """The left hand's notes: below the chords, in the tenor register while a bass plays, or over the `root` of a figure."""
    low = LOW_ROOT + 7 if with_bass else LOW_ROOT
    floor = low if with_bass else low - 12
    made = []
    for rel in asked(event, key):
        pitch = low + (event.chord.lowest.pc - low) % 12 + rel if root is None else root + rel
        while pitch < floor and root is None:
            pitch += 12
        while pitch > low + LEFT_HAND_SPAN and root is None:
            pitch -= 12
        made.append(
            Note(
                event.start_q, sounding_end(event, pitch), pitch, velocity(event),
                Why(Kind.THUMB, f"{event.why.words}, left hand"), degree_of(event, key, pitch),
                event.change.index, strict=event.strict,
            )
        )  # fmt: skip
    return made
