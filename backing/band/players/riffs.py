"""Bass figures and riffs written out: degrees become notes of the chord that sounds.

Conventions: the first note under a new chord is its root or written bass; a chord that comes early takes the note of
its beat along; a chord that begins where the figure has no note gets one. `n` in front of a degree takes the next
chord, which counts as stated then. Source: common practice.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache

from backing.band.model import Kind, Note, Why
from backing.band.players import figures
from backing.band.players.anchors import Contour, Stretch
from backing.band.players.bassline import Line, anchor_why, approach_why, step_name
from backing.band.players.patterns.lay import Beat, laid
from backing.band.players.pulses import shift_q
from backing.band.players.tones import Tones, tones
from backing.styles.model import Pattern

ACCENT, DEAD = 1.12, 0.45
DEAD_Q = Fraction(1, 8)
UNDER_STRINGS = 45  # A2, where a strummed guitar leaves the bass its room
LOW_STRING = 40  # E2, where a guitar begins
_OCTAVES = "-'"  # signs of octaves around a degree
_FIGURE = frozenset((Kind.PATTERN, Kind.OCTAVES, Kind.HELD))
Event = tuple[Fraction, Fraction, str]  # start, end, mark


def riff(line: Line, index: int, early: bool) -> tuple[list[Note], bool]:
    """The notes of one stretch, and whether the next stretch's chord has been played already.

    `early` says so of this one.
    """
    stretch = line.stretches[index]
    early = early and stretch.fresh
    made: list[Note] = []
    told = not stretch.fresh or early  # whether the chord's bass has been heard
    ahead = below = False  # whether a degree lay too high, so that the figure goes on below
    for event in _with_kicks(line, stretch, _placed(line, index, early)):
        note, anticipates = _note(line, index, event, told)
        mark = event[2].rstrip("!")
        if mark == "1" or mark[0] in "naxs":
            below = below and mark != "1"
        elif line.anchors[index] + stretch.tones.above_bass(mark) > line.high:
            below = True
            note = _turned(made, note) if mark != "8" else note
        elif below and line.anchors[index] < note.pitch >= line.low + 12:
            note = note._replace(pitch=note.pitch - 12)
        told = told or "x" not in event[2]
        ahead = ahead or anticipates
        made.append(note)
    if stretch.begun and made and made[0].start_q == stretch.start_q:
        return made[1:], ahead
    if made and index + 1 == len(line.stretches):
        made[-1] = line.over_border(index, made[-1])
    return made, ahead


def _turned(made: Sequence[Note], note: Note) -> Note:
    """The top of a climb that does not fit: the figure turns back to the note that it came through (1 3 5 3)."""
    if made and made[-1].degree and made[-1].why.kind in _FIGURE:
        last = made[-1]
        pitches = [n for n in made if n.degree and n.pitch != last.pitch]
        climbs = pitches and pitches[-1].pitch < last.pitch
        if climbs and note.pitch < last.pitch:
            return note._replace(pitch=pitches[-1].pitch, degree=pitches[-1].degree)
    return note


def contours(line: Line) -> list[Contour | None]:
    """The contour of every stretch that a figure fills, before its anchor is settled; None for the others."""
    found: list[Contour | None] = []
    for index, stretch in enumerate(line.stretches):
        if stretch.walks or stretch.way == "struck":
            found.append(None)
            continue
        told, rels = not stretch.fresh, []
        for _, _, mark in _placed(line, index, False):
            degree = mark.rstrip("!")
            if degree[0] in "naxs":
                continue
            if not told and degree.strip(_OCTAVES) not in ("1", "8"):
                degree = "1"
            told = True
            rels.append(stretch.tones.above_bass(degree))
        octaves = _figure(line, stretch).kind is Kind.OCTAVES
        found.append(Contour(min(0, *rels), max(0, *rels), rels[-1], octaves) if rels else None)
    return found


def _events(line: Line, index: int) -> Sequence[Beat]:
    """What the bar of a stretch holds, in quarters from the start of its full length."""
    brief, stretch = line.brief, line.stretches[index]
    bar, plan = brief.bars[stretch.bar], brief.plans[stretch.bar]
    if stretch.way == "root-fifth":
        return figures.root_fifth(bar.meter, plan.phrase_bar % 2 == 1 and not stretch.fresh)
    if stretch.way == "walk-up":
        return figures.walk_up(bar.meter)
    if stretch.way == "octaves":
        return figures.octaves(bar.meter)
    if stretch.way == "pedal":
        rhythm = brief.led.pedal.rhythm if brief.led.pedal else brief.part.word("rhythm")
        return figures.pedal(bar.meter, rhythm)
    if stretch.way == "tumbao":
        inside = [s for s in line.stretches[index : index + 8] if s.bar == stretch.bar]
        return figures.tumbao(bar.meter, shift_q(bar), inside)
    chosen = line.chosen[stretch.bar]
    if chosen is None:
        return figures.pedal(bar.meter, "bar")
    return laid(chosen, bar).get("bass", ())


def _placed(line: Line, index: int, early: bool) -> list[Event]:
    """The events of a stretch, in quarters of the piece.

    Where the sixth gives way to the seventh, the seventh behind it goes on to the octave. An approach that the figure
    goes on behind (one written for a shorter bar) leads nowhere yet and is the fifth.
    """
    stretch, found = line.stretches[index], _timed(line, index, early)
    marks = [mark.rstrip("!") for _, _, mark in found]
    if "a" in marks:
        last = max((i for i, mark in enumerate(marks) if mark[0] not in "anx"), default=-1)
        found = [
            (s, e, "5" if marks[i] == "a" and i < last else m) for i, (s, e, m) in enumerate(found)
        ]
    if stretch.tones.degrees[6] != stretch.tones.degrees[7] or "6" not in marks:
        return found
    return [(at, end, m.replace("b7", "8")) for at, end, m in found]


def _timed(line: Line, index: int, early: bool) -> list[Event]:
    """The events of a stretch as the figure has them."""
    stretch = line.stretches[index]
    bar = line.brief.bars[stretch.bar]
    shift = shift_q(bar)
    begins = max(stretch.start_q, stretch.change.span.start_q)
    inside: list[Event] = []
    for event in _events(line, index):
        at = shift + event.at_q
        if begins <= at < stretch.end_q:
            inside.append((at, at + event.length_q, event.mark))
    on_time = bool(inside) and inside[0][0] == begins
    if (
        begins > stretch.start_q and early
    ):  # played ahead already, it is not struck where it comes early
        return inside[1:] if on_time else inside
    if begins > stretch.start_q:  # the chord comes early
        mark = inside[0][2] if on_time else "1"
        rest = inside[1:] if on_time else inside
        until = inside[0][1] if on_time else rest[0][0] if rest else stretch.end_q
        return [(stretch.start_q, until, mark), *rest]
    if stretch.fresh and not early and not on_time and not _shared(line, stretch):
        opens = index == 0 and stretch.way == "tumbao"
        if begins != bar.start_q or opens or not inside:
            until = inside[0][0] if inside else stretch.end_q
            return [(begins, until, "1"), *inside]
    return inside


def _shared(line: Line, stretch: Stretch) -> bool:
    """Whether the whole band's idea is played, as it is written."""
    chosen = line.chosen[stretch.bar] if stretch.way == "pattern" else None
    return chosen is not None and bool(chosen.pattern.idea)


def _with_kicks(line: Line, stretch: Stretch, events: list[Event]) -> list[Event]:
    """A note under every stroke that the band marks."""
    places = [e[0] for e in events]
    first = bisect_left(line.kicks, stretch.start_q)
    for kick in line.kicks[first : bisect_left(line.kicks, stretch.end_q)]:
        if kick in places:
            continue
        after = bisect_right(places, kick)
        until = places[after] if after < len(places) else stretch.end_q
        if after:
            at, end, mark = events[after - 1]
            events[after - 1] = (at, min(end, kick), mark)
        events.insert(after, (kick, until, "1"))
        places.insert(after, kick)
    return events


def _note(line: Line, index: int, event: Event, told: bool) -> tuple[Note, bool]:
    """One event as a note, and whether it plays the next chord already."""
    at, until, mark = event
    stretch = line.stretches[index]
    anchor, t, chord = line.anchors[index], stretch.tones, stretch.change.index
    degree, force = mark.rstrip("!"), ACCENT if mark.endswith("!") else 1.0
    limit, why = stretch.end_q, _figure(line, stretch)
    early = False
    if degree == "x":
        until, force = min(until, at + DEAD_Q), DEAD
        why = Why(Kind.DEAD, f"dead note, {why.words}")
        return _made(line, stretch, at, min(until, limit), anchor, force, why, "", chord), False
    if not told and degree[0] in "nas":
        degree = "1"  # nothing leads on before the chord itself is heard
    if degree == "a":
        goal = line.anchors[index + 1]
        pitch = _approach(line, stretch, anchor, goal)
        if goal >= 0:
            why = approach_why(stretch, pitch, goal, line.target(index))
    elif degree.startswith("s"):
        pitch = _step(line, stretch, anchor, line.anchors[index + 1], int(degree[1:]))
        why = _step_why(line, index, pitch)
    elif degree.startswith("n"):
        degree = degree[1:]
        found = _next(line, index)
        if found is not None:
            anchor, t, chord, limit, symbol, fresh = found
            early = fresh
            told_ahead = f"{why.words}: already {step_name(degree.strip(_OCTAVES))} of {symbol}"
            why = Why(Kind.NEXT, told_ahead)
        pitch = degree_pitch(anchor, t, degree, line.low, line.high)
    else:
        if not told:
            degree = degree if degree.strip(_OCTAVES) in ("1", "8") else "1"
            why = anchor_why(stretch, anchor).also(f", {why.words}")
        pitch = degree_pitch(anchor, t, degree, line.low, line.high)
        if degree == "8" and pitch == anchor and _figure(line, stretch).kind is Kind.OCTAVES:
            pitch = _instead_of_octave(line, t, anchor)
        strummed = line.brief.style.strummed and degree in ("3", "5")
        if strummed and pitch > UNDER_STRINGS and pitch - 12 >= line.low:
            pitch -= 12  # below the strings that are strummed
    until = max(min(until, limit), at + DEAD_Q / 2)
    return _made(line, stretch, at, until, pitch, force, why, t.name(pitch), chord), early


def _made(
    line: Line, stretch: Stretch, at: Fraction, until: Fraction, pitch: int, force: float, why: Why,
    degree: str, chord: int,
) -> Note:  # fmt: skip
    return Note(at, until, pitch, line.velocity(stretch, at, force), why, degree, chord)


def _next(line: Line, index: int) -> tuple[int, Tones, int, Fraction, str, bool] | None:
    """Anchor, chord, its number, its end, its symbol and whether it is new, of what may be played ahead; else None."""
    stretch, after = line.stretches[index], line.following(index)
    goal, ahead = line.anchors[index + 1], line.brief.ahead
    if after is not None:
        if after.start_q != stretch.end_q or after.way != stretch.way:
            return None
        change = after.change
        chord = change.index if after.fresh else stretch.change.index
        return goal, after.tones, chord, after.end_q, change.span.symbol, after.fresh
    if goal < 0 or ahead is None or ahead.span.chord is None or stretch.end_q != line.brief.end_q:
        return None
    colours = line.brief.colours.get(ahead.index, ())
    t = tones(ahead.span.chord, line.brief.bars[-1].key, None, colours)
    return goal, t, ahead.index, stretch.end_q, ahead.span.symbol, True


def degree_pitch(anchor: int, t: Tones, degree: str, low: int, high: int) -> int:
    """The note for a degree of a riff, counted from the anchor's register and folded into the range."""
    pitch = anchor + t.above_bass(degree)
    while pitch > high:
        pitch -= 12
    while pitch < low:
        pitch += 12
    return pitch


def _instead_of_octave(line: Line, t: Tones, anchor: int) -> int:
    """The fifth, above or below, where the range has no room for an octave, so that the figure still moves."""
    above = degree_pitch(anchor, t, "5", line.low, line.high)
    return above if above > anchor else degree_pitch(anchor, t, "-5", line.low, line.high)


def _approach(line: Line, stretch: Stretch, anchor: int, goal: int) -> int:
    """A step into the next bass from a side that chance takes; the fifth where the bass stays.

    A half step that the chord has itself is never passed over for a whole step; a bass that lies there already stays.
    Under chords on low strings it comes from below, so that it lies under a guitar that is ahead with the next chord.
    A style that asks for the scale has the fifth where the scale has no step to offer.
    """
    t = stretch.tones
    fifth = degree_pitch(anchor, t, "-5" if anchor - 5 >= line.low else "5", line.low, line.high)
    if goal < 0 or (goal - anchor) % 12 == 0:
        return fifth
    below = line.brief.style.low_strings and goal - 2 >= line.low
    ways = (-1, -2) if below else (-1, 1, -2, 2)
    sides = [
        d for d in ways if line.low <= goal + d <= line.high and (goal + d != anchor or abs(d) == 1)
    ]
    if line.brief.style.in_fifths and anchor >= LOW_STRING:
        sides = [d for d in sides if goal + d <= anchor]  # no higher than the fifths that sound
    sides = _asked(line, t, goal, sides)
    if not sides:
        return fifth
    chromatic = 0.5 if line.brief.style.feel.straight else 1.2
    weights = []
    for d in sides:
        inside = t.is_scale_tone(goal + d)
        if abs(d) == 2 and t.is_chord_tone(goal + d // 2):
            inside = False  # the chord's own note is nearer: D#, not D, leads from B7 to E
        weights.append((3.0 if inside else chromatic) if abs(d) == 1 else (2.5 if inside else 0.02))
    return goal + line.brief.place.at(stretch.bar).pick(sides, weights, "approach")


def _asked(line: Line, t: Tones, goal: int, sides: list[int]) -> list[int]:
    """Those of the steps to a goal that the style asks for: of the scale alone, or half steps alone where there are such."""
    asked = line.brief.part.word("approach")
    if asked == "scale":
        return [d for d in sides if t.is_scale_tone(goal + d)]
    return [d for d in sides if abs(d) == 1] or sides if asked == "chromatic" else sides


def _step(line: Line, stretch: Stretch, anchor: int, goal: int, count: int) -> int:
    """So many steps of the scale from the next bass, on the side from which the line comes.

    From the other side where the range ends.
    """
    for way in (-1, 1) if anchor < goal else (1, -1):
        pitch = goal
        for _ in range(count):
            left = pitch
            pitch += way
            while not stretch.tones.is_scale_tone(pitch) and abs(pitch - left) < 2:
                pitch += way  # by whole step where the scale leaps one and a half
        if line.low <= pitch <= line.high:
            break
    return pitch


def _step_why(line: Line, index: int, pitch: int) -> Why:
    """What a step of a walk into the next chord is."""
    stretch, goal, target = line.stretches[index], line.anchors[index + 1], line.target(index)
    if abs(pitch - goal) <= 2:
        return approach_why(stretch, pitch, goal, target)
    way = "up" if pitch < goal else "down"
    step = f"scale step {stretch.tones.name(pitch)} of {stretch.change.span.symbol}"
    return Why(Kind.SCALE, f"{step}, walks {way} to {target}")


def _figure(line: Line, stretch: Stretch) -> Why:
    """What the figure of a stretch is."""
    if stretch.way != "pattern":
        kind = Kind.OCTAVES if stretch.way == "octaves" else Kind.PATTERN
        return Why(kind, {"root-fifth": "root and fifth"}.get(stretch.way, stretch.way))
    chosen = line.chosen[stretch.bar]
    if chosen is None:
        return Why(Kind.HELD, "held")
    kind = Kind.OCTAVES if _in_octaves(chosen.pattern) else Kind.PATTERN
    return Why(kind, f"pattern '{chosen.pattern.name}'")


@lru_cache(maxsize=4096)
def _in_octaves(pattern: Pattern) -> bool:
    """Whether about every other note of a figure leaps up to the octave."""
    marks = [
        c.mark.rstrip("!") for bar in pattern.lines["bass"] for pulse in bar for c in pulse.cells
    ]
    struck = len(marks) - marks.count("x")
    return 5 * (marks.count("8") + marks.count("1'")) >= 2 * struck > 4
