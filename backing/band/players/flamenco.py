"""Two strokes of the right hand alone: the rasgueado, and the golpe on the body of the guitar.

Conventions: strings count from 1 (highest) to 6. A rasgueado fills its cell with strokes of one finger after another,
as fast in any tempo, the last the loudest. General MIDI has no tap on wood for a guitar: a golpe is the thud of damped
low strings, too short to have a pitch.
Source: four or five fingers a beat, some twelve strokes a second (common practice).
"""

from __future__ import annotations

from fractions import Fraction

from backing.band.model import Kind, Note, Why
from backing.band.players.rhythm import Event
from backing.band.players.strings import on_string, strings_over
from backing.band.players.touch import sounding_end, velocity
from backing.harmony.grip import Grip

RASGUEADO, GOLPE = "r", "k"
FINGER_S = 0.083  # from finger to finger
FEWEST, MOST = 3, 16
FINGER_MS = 4.0  # from string to string of one finger
FIRST = 0.72  # force of the first finger
GOLPE_Q = Fraction(1, 24)  # what is heard of the thud
LOW_STRINGS = 2


def flamenco(event: Event, grip: Grip, words: str, bass: int, qpm: float) -> list[Note]:
    """The notes of a rasgueado or a golpe; strings under `bass` rest where others sound."""
    strings = strings_over(grip, bass, LOW_STRINGS)
    if event.mark == GOLPE:
        return _golpe(event, grip, strings[:LOW_STRINGS])
    length = event.end_q - event.start_q
    count = min(MOST, max(FEWEST, round(float(length) * 60 / qpm / FINGER_S)))
    why = event.why.also(f", rasgueado of {count} fingers; {words}")
    made = []
    for finger in range(count):
        start = event.start_q + length * finger / count
        last = finger == count - 1
        force = FIRST + (1 - FIRST) * finger / (count - 1)
        for order, string in enumerate(strings):
            pitch, degree, fret = on_string(grip, string)
            end = sounding_end(event, pitch) if last else start + length / count
            if end > start:
                made.append(
                    Note(
                        start, end, pitch, max(10, round(velocity(event) * force) - order), why, degree,
                        event.change.index, order, FINGER_MS, event.strict, string, fret,
                    )
                )  # fmt: skip
    return made


def _golpe(event: Event, grip: Grip, strings: list[int]) -> list[Note]:
    why = Why(Kind.DEAD, f"{event.why.words}, golpe on the body")
    made = []
    for string in strings:
        pitch, _, fret = on_string(grip, string)
        made.append(
            Note(
                event.start_q, event.start_q + GOLPE_Q, pitch, max(10, velocity(event) - 18), why, "",
                event.change.index, strict=event.strict, string=string, fret=fret,
            )
        )  # fmt: skip
    return made
