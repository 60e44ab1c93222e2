"""Piano and other keys: comping from the style's patterns, held pads, broken chords.

Voicings come from a search over the section (`chordal.voice`), rhythm from the patterns (`rhythm.strokes`).

Conventions: pitches are MIDI notes. With a bass player the left hand stays at 50 and above and the roots are left to
the bass; the right hand reaches 76 (common practice; rootless voicings sound best within a sixth of middle C,
jazzpiano.net.au tutorial 9).
"""

from __future__ import annotations

from backing.arrangement import Note
from backing.players.chordal import Voiced, families, voice
from backing.players.common import Brief
from backing.players.rhythm import Event, held, sounding_end, strokes, velocity

LOW, HIGH = 50, 76
LOW_ALONE = 43  # the lowest note of the chord when nobody plays bass
LOW_ROOT, HIGH_ROOT = 36, 50  # of a style's own bass notes


def register(brief: Brief, low: int = LOW, high: int = HIGH) -> tuple[int, int]:
    """Lowest and highest note of the chords: the usual ones, or the style's where it narrows its instrument."""
    part = brief.part
    if part.low > max(part.instrument.low, 0):
        low = part.low
    if 0 < part.high < part.instrument.high:
        high = part.high
    low, high = max(low, part.instrument.low), min(high, part.instrument.high)
    return low, max(high, low + 12)


def play(brief: Brief) -> list[Note]:
    """The keys' notes of one section."""
    with_bass = bool(brief.heard.get("bass"))
    low, high = register(brief, LOW if with_bass else LOW_ALONE)
    count = brief.part.settings.get("voices", 0)
    voicings = voice(
        brief, families(brief, "voicing", "rootless"), low, high, count if type(count) is int else 0
    )
    pads = {level for level, name in brief.part.plays.items() if name == "pad"}
    if pads and all(brief.algorithm(plan) == "pad" for plan in brief.plans):
        events = held(brief)
    else:
        events = strokes(brief, ("chord", "bass"))
    octaves = brief.part.settings.get("octaves") is True
    notes: list[Note] = []
    broken: set[int] = set()
    for event in events:
        voiced = voicings.get(event.change.index)
        if voiced is None:
            continue
        if event.line == "bass":
            notes.append(_root(event, with_bass))
        elif event.mark.isdigit():
            notes += _broken(event, voiced, octaves, event.change.index not in broken)
            broken.add(event.change.index)
        else:
            notes += _chord(event, voiced)
    notes.sort(key=lambda n: (n.start_q, n.pitch))
    return notes


def _chord(event: Event, voiced: Voiced) -> list[Note]:
    """The whole voicing; the top note a little louder, since the ear follows it."""
    loud = velocity(event)
    why = f"{event.why}; {voiced.words}"
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


def _broken(event: Event, voiced: Voiced, octaves: bool, first: bool) -> list[Note]:
    """One voice of the chord, counted from the bottom; beyond the top the count goes on an octave higher."""
    pitches, degrees = voiced.voicing.pitches, voiced.voicing.degrees
    turn, at = divmod(int(event.mark) - 1, len(pitches))
    loud = velocity(event) - 4 + (5 if first else 0)
    why = f"{event.why}, broken chord; {voiced.words}"
    pitch = pitches[at] + 12 * turn
    made = [
        Note(
            event.start_q, sounding_end(event, pitch), pitch, loud, why, degrees[at], event.change.index,
            strict=event.strict,
        )
    ]  # fmt: skip
    if octaves:
        made.append(
            Note(
                event.start_q, sounding_end(event, pitch), pitch + 12, loud, f"{why}, in octaves", degrees[at],
                event.change.index, strict=event.strict,
            )
        )  # fmt: skip
    return made


def _root(event: Event, with_bass: bool) -> Note:
    """A bass note of the left hand: below the chords, in the tenor register while a bass plays."""
    chord = event.chord
    low = LOW_ROOT + 7 if with_bass else LOW_ROOT
    pitch = low + (chord.lowest.pc - low) % 12
    interval = (chord.lowest.pc - chord.root.pc) % 12
    degree = next((d.name for d in chord.degrees if d.semitones % 12 == interval), "bass")
    return Note(
        event.start_q, sounding_end(event, pitch), pitch, velocity(event), f"{event.why}, left hand", degree,
        event.change.index, strict=event.strict,
    )  # fmt: skip
