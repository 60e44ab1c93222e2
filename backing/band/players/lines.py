"""The players who play lines: the melody, strings, horns.

    melody       the written melody
    pad          held chords, voice by voice; a note that the next chord has too is held on
    guide tones  one voice that goes from third to seventh and on to the nearest guide tone
    pattern      riffs and backgrounds by degree, in one part or two, and chords where they accent (`section`)

Conventions: pitches are MIDI notes. Source: guide tones as the third and seventh that define a chord (common
practice); spread voicings keep a fifth or more between the lowest voices.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from fractions import Fraction

from backing.band.led import Backing
from backing.band.model import Kind, Note, Why, note_order
from backing.band.players.chordal import NARROWEST, TOP_HELD, Voiced, families, steps, voice
from backing.band.players.common import Brief, ZoneKind
from backing.band.players.listening import dense
from backing.band.players.melodic import line_notes
from backing.band.players.rhythm import Event, held, strokes
from backing.band.players.section import background, guide_tones, in_two_parts, written
from backing.band.players.touch import moved, sounding_end, unrepeated, velocity
from backing.harmony.search import best_path
from backing.harmony.symbol import Chord
from backing.styles.marks import LINES, voices
from backing.styles.model import Part

FEW = 3  # notes of a section's chord where others are busy
REGISTERS = {"horns": (55, 79), "strings": (48, 79), "melody": (60, 84)}


def play(brief: Brief) -> list[Note]:
    """The notes of one section for melody, horns or strings."""
    if brief.part.kind.tune:
        return _melody(brief)
    names = {brief.algorithm(plan) for plan in brief.plans}
    low, high = _register(brief)
    if names == {"guide tones"}:
        if brief.led.backing is Backing.BACKGROUND and brief.part.number("voices") != 1:
            return _pad(background(brief), in_two_parts(brief, low, high))
        return _guide_tones(brief)
    family = families(brief.part)
    if names == {"pad"}:
        rise, lead = _turn(brief)
        low = min(low + max(0, rise), max(low, high - NARROWEST))
        high = max(high + 2 * min(0, rise), low + NARROWEST)
        return _pad(held(brief), _voiced(brief, family, low, high, lead))
    voicings = _voiced(brief, family, low, high, TOP_HELD)
    events = written(brief, strokes(brief, ("chord", *LINES), owes=not _comped(brief)))
    octaves = brief.part.flag("octaves")
    stabs = _stabs(brief.part, [e for e in events if e.line == "chord"], voicings, octaves)
    told = line_notes(brief, events, low, high, octaves)
    return unrepeated(sorted([*stabs, *told], key=note_order)) if told else stabs


def _voiced(
    brief: Brief, family: Mapping[str, str], low: int, high: int, lead: float
) -> dict[int, Voiced]:
    """The voicings of a section; where the style says how many play, no more than the highest so many notes.

    What is left of a voicing that is fuller than the section keeps its lead.
    """
    players = int(brief.part.number("voices")) or (FEW if _crowded(brief) else 0)
    found = voice(brief, family, low, high, players, held=lead)
    if not players:
        return found
    return {index: _highest(voiced, players) for index, voiced in found.items()}


def _crowded(brief: Brief) -> bool:
    """Whether those who comp are busy in most bars of a section, so that long chords are thinner."""
    busy = sum(dense(brief, number) for number in range(len(brief.bars)))
    return 2 * busy > len(brief.bars)


def _highest(voiced: Voiced, count: int) -> Voiced:
    full = voiced.voicing
    if len(full.pitches) <= count:
        return voiced
    kept = full._replace(pitches=full.pitches[-count:], degrees=full.degrees[-count:])
    return Voiced(kept, f"{voiced.words}, the highest {count} of it")


def _turn(brief: Brief) -> tuple[int, float]:
    """How a long line is played this time: semitones higher or lower, and what its top note pays for staying.

    A section writer gives the strings another place at each turn of a tune, and now and then a moving lead.
    """
    rise = brief.place.pick((-4, 0, 4), (1.0, 1.0, 1.0), "register")
    return rise, brief.place.pick((0.0, TOP_HELD), (1.0, 1.0), "lead")


def _comped(brief: Brief) -> bool:
    """Whether keys or a guitar play the chords, so that a section may rest."""
    return bool(brief.style.comping)


def _register(brief: Brief) -> tuple[int, int]:
    """The register of the role within the instrument's, or the style's own where it is narrower."""
    low, high = REGISTERS.get(brief.part.kind.name, (48, 79))
    part = brief.part
    if part.low > part.instrument.low:
        low = part.low
    if part.high < part.instrument.high:
        high = part.high
    high = min(high, part.instrument.high)
    return max(min(low, high - NARROWEST), part.instrument.low), high


def _melody(brief: Brief) -> list[Note]:
    """The written melody, silent where the band is, an octave away where the instrument ends."""
    made = []
    for note in brief.melody:
        zone = brief.zone_at(note.start_q)
        if zone.kind is ZoneKind.SILENT and brief.bars[_bar(brief, note.start_q)].breaks:
            continue
        pitch = note.pitch.midi
        octaves = 0
        while pitch < brief.part.instrument.low:
            pitch, octaves = pitch + 12, octaves + 1
        while pitch > brief.part.instrument.high:
            pitch, octaves = pitch - 12, octaves - 1
        change = brief.change_at(note.start_q)
        plan = brief.plans[_bar(brief, note.start_q)]
        why = "the written melody"
        if octaves:
            why += f", {abs(octaves)} octave{'s' if abs(octaves) > 1 else ''} {'up' if octaves > 0 else 'down'} to stay in range"
        made.append(
            Note(
                note.start_q,
                min(note.end_q, brief.end_q),
                pitch,
                max(1, min(127, round(48 + 11 * plan.level))),
                Why(Kind.MELODY, why),
                _degree(change.span.chord, pitch),
                change.index,
            )
        )
    return made


def _bar(brief: Brief, at_q: Fraction) -> int:
    for i, bar in enumerate(brief.bars):
        if at_q < bar.end_q:
            return i
    return len(brief.bars) - 1


def _degree(chord: Chord | None, pitch: int) -> str:
    """What a note is in the chord, "" where it is none of its degrees."""
    if chord is None:
        return ""
    for degree, pc in zip(chord.degrees, chord.pitch_classes, strict=True):
        if pc == pitch % 12:
            return degree.name
    return ""


def _pad(events: tuple[Event, ...], voicings: dict[int, Voiced]) -> list[Note]:
    """Long notes; a pitch that goes on in the next chord is held and not struck again."""
    made: list[Note] = []
    open_: dict[int, int] = {}  # pitch -> index of the note that still sounds
    for event in events:
        voiced = voicings.get(event.change.index)
        if voiced is None:
            continue
        end = min(event.end_q, event.harmony_q) if not event.strict else event.end_q
        why = event.why.also(f"; {voiced.words}")
        now: dict[int, int] = {}
        for pitch, degree in zip(voiced.voicing.pitches, voiced.voicing.degrees, strict=True):
            before = open_.get(pitch)
            if before is not None and not event.strict and made[before].end_q == event.start_q:
                made[before] = made[before]._replace(end_q=end)
                now[pitch] = before
                continue
            now[pitch] = len(made)
            made.append(
                Note(
                    event.start_q, end, pitch, velocity(event, 30, 11), why, degree, event.change.index,
                    strict=event.strict,
                )
            )  # fmt: skip
        open_ = now
    made.sort(key=note_order)
    return made


def _stabs(
    part: Part, events: Sequence[Event], voicings: dict[int, Voiced], octaves: bool
) -> list[Note]:
    """Section work: everyone on the same rhythm, the lead on top a little louder; single voices may be in `octaves`."""
    made = []
    for event in events:
        voiced = voicings.get(event.change.index)
        if voiced is None:
            continue
        pitches, degrees = voiced.voicing.pitches, voiced.voicing.degrees
        chosen = list(zip(pitches, degrees, strict=True))
        if named := voices(event.mark):
            chosen = [chosen[i] for i in sorted({min(v, len(chosen)) - 1 for v in named})]
            chosen += [(pitch + 12, degree) for pitch, degree in chosen if octaves]
        struck = []
        for pitch, degree in chosen:
            loud = velocity(event) + (4 if pitch == pitches[-1] else 0)
            struck.append(
                Note(
                    event.start_q, sounding_end(event, pitch), pitch, min(127, loud),
                    event.why.also(f"; {voiced.words}"), degree, event.change.index, strict=event.strict,
                )
            )  # fmt: skip
        made += moved(event, struck, part)
    made.sort(key=note_order)
    return made


def _guide_tones(brief: Brief) -> list[Note]:
    """One long note a chord, always a guide tone, by the shortest way."""
    low, high = _register(brief)
    rise, _ = _turn(brief)
    centre = (low + high) / 2 + 1.5 * rise
    found = steps(brief)
    if not found:
        return []
    options: list[list[tuple[int, str]]] = []
    for step in found:
        here = []
        for degree in guide_tones(step.chord):
            pc = (step.chord.root.pc + degree.semitones) % 12
            here += [(p, degree.name) for p in range(low + (pc - low) % 12, high + 1, 12)]
        options.append(sorted(here))
    nodes = [[0.1 * abs(p - centre) for p, _ in here] for here in options]
    edges = [
        [[float(abs(p - q)) + (0.5 if p == q else 0) for q, _ in a] for p, _ in b]
        for a, b in itertools.pairwise(options)
    ]
    path = best_path(nodes, edges)
    line: dict[int, tuple[int, str, str]] = {}
    before: int | None = None
    for step, here, at in zip(found, options, path, strict=True):
        pitch, name = here[at]
        move = (
            ""
            if before is None
            else ", held"
            if pitch == before
            else ", by step"
            if abs(pitch - before) <= 2
            else ""
        )
        line[step.change.index] = (pitch, name, move)
        before = pitch
    made: list[Note] = []
    for event in held(brief):
        pitch, name, move = line[event.change.index]
        end = min(event.end_q, event.harmony_q)
        if (
            made
            and made[-1].pitch == pitch
            and made[-1].end_q == event.start_q
            and not event.strict
        ):
            made[-1] = made[-1]._replace(end_q=end)
            continue
        made.append(
            Note(
                event.start_q, end, pitch, velocity(event, 32, 11), Why(Kind.GUIDE_TONE, f"guide tone{move}"), name,
                event.change.index, strict=event.strict,
            )
        )  # fmt: skip
    return made
