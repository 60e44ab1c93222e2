"""The bass player: walking lines, two-feel, tumbao, root and fifth, octaves, pedal notes and riffs.

Conventions: the written bass of a slash chord is the bass; a chord that comes early takes the bass with it; where the
band strikes together the bass plays exactly those strokes; under N.C. it rests. A note's degree is counted in its own
chord, and a note that comes before its chord names the chord that it belongs to.
Sources: `anchors`, `walking` and `figures` name theirs.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from backing.arrangement import Note
from backing.players import figures
from backing.players.anchors import Stretch, route_key, settle, stretches
from backing.players.common import Brief, Zone, ZoneKind
from backing.players.grooves import Beat, choose, in_feel
from backing.players.pulses import beats, halves, loudness, off_beats, shift_q, velocity
from backing.players.tones import Tones
from backing.players.walking import Route, routes
from backing.style.settings import number, word
from backing.timeline import TimeFeel

LOW, HIGH = 28, 55  # E1 to G3, where a line walks (common practice)
_STEP_NAMES = {1: "root", 2: "second", 3: "third", 4: "fourth", 5: "fifth", 6: "sixth", 7: "seventh"}  # fmt: skip
_SHORT = Fraction(1, 8)

Slots = list[tuple[Fraction, bool]]


def play(brief: Brief) -> list[Note]:
    """The bass of one playing of a section, in order of start."""
    low, high = reach(brief)
    starts = [c.start_q for c in brief.changes]
    kicks = sorted(s.start_q for z in brief.zones if z.kind is ZoneKind.KICKS for s in z.strokes)
    ways = [_way(brief, i, starts) for i in range(len(brief.bars))]
    slots = [_slots(brief, i, way, kicks) for i, way in enumerate(ways)]
    line = stretches(brief, ways, slots)
    anchors, after = settle(brief, line, low, high)
    return _Line(
        brief, line, [*anchors, after if after is not None else -1], low, high, kicks
    ).notes()


def reach(brief: Brief) -> tuple[int, int]:
    """Lowest and highest note: the part's range within the instrument's, and where the style says none, E1 to G3."""
    part = brief.part
    low = max(part.low, part.instrument.low)
    high = min(part.high, part.instrument.high)
    return max(low, LOW) if part.low == 0 else low, min(high, HIGH)


def _way(brief: Brief, index: int, starts: Sequence[Fraction]) -> str:
    """The algorithm of a bar, as the plan and the time feel turn it."""
    bar, plan = brief.bars[index], brief.plans[index]
    way = brief.algorithm(plan)
    feel = bar.time_feel
    if way == "walking" and (plan.two or feel in (TimeFeel.IN_TWO, TimeFeel.HALF)):
        return "two-feel"
    if way == "two-feel" and feel in (TimeFeel.IN_FOUR, TimeFeel.DOUBLE):
        return "walking"
    if way == "pattern" and feel is TimeFeel.IN_TWO:
        return "root-fifth"
    if way == "root-fifth" and _walks_up(brief, index, starts):
        return "walking"
    return way


def _walks_up(brief: Brief, index: int, starts: Sequence[Fraction]) -> bool:
    """Whether root and fifth give way to a walk into the next chord."""
    bar, plan = brief.bars[index], brief.plans[index]
    here = brief.changes[max(0, bisect_right(starts, bar.start_q) - 1)].span
    there = brief.ahead.span if index + 1 == len(brief.bars) and brief.ahead else None
    if index + 1 < len(brief.bars):
        there = brief.changes[max(0, bisect_right(starts, bar.end_q) - 1)].span
    if there is None or there.chord is None or here.chord is None:
        return False
    if here.end_q < bar.end_q or there.chord.lowest == here.chord.lowest:
        return False
    walk_ups = number(brief.part, "root-fifth", "walk_ups")
    return brief.place.chance(walk_ups * (1.6 if plan.phrase_end else 1.0), index, "walk up")


def _slots(brief: Brief, index: int, way: str, kicks: Sequence[Fraction]) -> Slots:
    """Places of a line in a bar, in quarters of the piece, and whether they are strong."""
    if way not in ("walking", "two-feel"):
        return []
    bar, plan = brief.bars[index], brief.plans[index]
    shift = shift_q(bar)
    if way == "walking":
        places = dict(beats(bar.meter))
        if bar.time_feel is TimeFeel.DOUBLE:
            places.update((p, False) for p in off_beats(bar.meter))
    else:
        places = dict.fromkeys(halves(bar.meter), True)
        pickups = number(brief.part, "two-feel", "pickups")
        pickups = min(1.0, pickups + (0.35 if plan.phrase_end else 0.0))
        if brief.place.chance(pickups, index, "pickup"):
            places[beats(bar.meter)[-1][0]] = False
    found = {shift + p: strong for p, strong in places.items() if shift + p >= bar.start_q}
    # kicks inside the time-keeping are marked by the line
    for kick in kicks[bisect_left(kicks, bar.start_q) : bisect_left(kicks, bar.end_q)]:
        found.setdefault(kick, True)
    return sorted(found.items())


class _Line:
    """One section while it is being written down: stretches with their anchors."""

    def __init__(
        self,
        brief: Brief,
        line: Sequence[Stretch],
        anchors: Sequence[int],
        low: int,
        high: int,
        kicks: Sequence[Fraction],
    ) -> None:
        self.brief = brief
        self.line = line
        self.anchors = (
            anchors  # one more than stretches: the first note of the next section, -1 for none
        )
        self.low, self.high = low, high
        self.chosen = choose(brief) if any(s.way == "pattern" for s in line) else []
        self.kicks = kicks
        self.marked = frozenset(kicks)
        self.recent: list[
            tuple[object, ...]
        ] = []  # the last routes, to leave a shape after two bars
        self.early = False  # the chord of the next stretch has been played already

    def notes(self) -> list[Note]:
        found: list[Note] = []
        for index, stretch in enumerate(self.line):
            if stretch.way == "struck":
                made = self._struck(index, stretch)
            elif stretch.walks:
                made = self._walked(index, stretch)
            else:
                made = self._figured(index, stretch)
            found += made
        return found

    def _after(self, index: int) -> tuple[int, Stretch | None]:
        """The next anchor (-1 for none) and its stretch (None beyond the section)."""
        following = self.line[index + 1] if index + 1 < len(self.line) else None
        return self.anchors[index + 1], following

    def _target(self, index: int) -> str:
        """The name of the bass that comes next."""
        _, following = self._after(index)
        if following is not None:
            return following.tones.bass_name
        ahead = self.brief.ahead
        return ahead.span.chord.lowest.name if ahead and ahead.span.chord else ""

    def _velocity(self, stretch: Stretch, at_q: Fraction, factor: float = 1.0) -> int:
        bar, plan = self.brief.bars[stretch.bar], self.brief.plans[stretch.bar]
        base = loudness(plan.level) * factor
        if at_q == bar.start_q:
            base *= 1.03
        if at_q in self.marked:
            base *= 1.12
        return velocity(base)

    def _struck(self, index: int, stretch: Stretch) -> list[Note]:
        zones = self.brief.zones
        zone = zones[max(0, bisect_right(zones, stretch.start_q, key=_zone_start) - 1)]
        pitch, t = self.anchors[index], stretch.tones
        return [
            Note(
                s.start_q, s.end_q, pitch, self._velocity(stretch, s.start_q, 1.12),
                f"with the band: {s.why}", t.name(pitch), stretch.change.index, strict=True,
            )
            for s in zone.strokes
            if stretch.start_q <= s.start_q < stretch.end_q
        ]  # fmt: skip

    # -- lines -------------------------------------------------------------------------------------

    def _walked(self, index: int, stretch: Stretch) -> list[Note]:
        start = self.anchors[index]
        target, _ = self._after(index)
        leads = target >= 0
        end = target if leads else start
        free = len(stretch.slots) - 1
        pitches = [start]
        if free > 0:
            route = self._route(index, stretch, start, end)
            pitches += [start + o for o in route.offsets] if route else [start] * free
        ends = [*stretch.slots[1:], stretch.end_q]
        made = []
        for n, (at, until, pitch) in enumerate(zip(stretch.slots, ends, pitches, strict=True)):
            if n == 0:
                why = self._anchor_why(stretch, pitch)
            elif n == free and leads:
                why = self._approach_why(stretch, pitch, end, self._target(index))
            else:
                why = _free_why(stretch, pitch, pitches[n - 1])
            back = n > 0 and not stretch.strong[n - 1] and stretch.way == "walking"
            vel = self._velocity(stretch, at, 1.05 if back else 1.0)
            made.append(
                Note(at, until, pitch, vel, why, stretch.tones.name(pitch), stretch.change.index)
            )
        if stretch.begun:  # struck before the border
            return made[1:]
        if index + 1 == len(self.line):
            made[-1] = self._over_border(index, made[-1])
        return self._skipped(index, stretch, made)

    def _over_border(self, index: int, note: Note) -> Note:
        """A chord that comes early at the end of a section sounds on through its first beat in the next one."""
        ahead, change = self.brief.ahead, self.line[index].change
        if ahead is None or ahead.index != change.index or change.span.push_q == 0:
            return note
        beat = self.brief.bars[-1].meter.pulses_q[0]
        return replace(note, end_q=min(ahead.end_q, change.span.start_q + beat))

    def _route(self, index: int, stretch: Stretch, start: int, end: int) -> Route | None:
        """One of the best routes: chance decides between near-ties, and no bar comes three times running."""
        _, following = self._after(index)
        leads = self.anchors[index + 1] >= 0 and (following is None or following.fresh)
        found = routes(*route_key(stretch, start, end, self.low, self.high, leads))
        if not found:
            return None
        place = self.brief.place.at(stretch.bar, str(stretch.start_q))
        route = place.pick(found, [r.weight for r in found], "route")
        shape = (start, *route.offsets)
        if self.recent[-2:] == [shape, shape] and len(found) > 1:
            others = [r for r in found if r is not route]
            route = place.pick(others, [r.weight for r in others], "another route")
            shape = (start, *route.offsets)
        self.recent.append(shape)
        return route

    def _anchor_why(self, stretch: Stretch, pitch: int) -> str:
        t, symbol = stretch.tones, stretch.change.span.symbol
        if pitch % 12 == t.bass:
            if t.slash:
                return f"written bass {t.bass_name} of {symbol}"
            return f"root of {symbol}"
        return f"{_step(t.name(pitch))} of {symbol}, which goes on"

    def _approach_why(self, stretch: Stretch, pitch: int, end: int, target: str) -> str:
        distance = pitch - end
        side = "above" if distance > 0 else "below"
        if abs(distance) == 1:
            kind = "half step" if stretch.tones.is_scale_tone(pitch) else "chromatic approach"
            return f"{kind} from {side} to {target}"
        if abs(distance) == 2:
            return f"step from {side} to {target}"
        if distance in (7, -5):
            return f"dominant of {target}, {'falls a fifth' if distance > 0 else 'rises a fourth'}"
        return (
            f"{_step(stretch.tones.name(pitch))} of {stretch.change.span.symbol}, leads to {target}"
        )

    def _skipped(self, index: int, stretch: Stretch, notes: list[Note]) -> list[Note]:
        """Now and then an eighth between two beats: the note again, or dropped an octave."""
        if stretch.way != "walking" or len(notes) < 3 or self.brief.qpm > 240:
            return notes
        bar, plan = self.brief.bars[stretch.bar], self.brief.plans[stretch.bar]
        place = self.brief.place.at(stretch.bar)
        skips = number(self.brief.part, "walking", "skips") * (0.5 + plan.busy)
        if bar.time_feel is TimeFeel.DOUBLE or not place.chance(skips, "skip"):
            return notes
        at = int(place.roll("skip place") * (len(notes) - 1))
        note = notes[at]
        places = [shift_q(bar) + p for p in off_beats(bar.meter)]
        middle = next((p for p in places if note.start_q < p < note.end_q), None)
        if middle is None or note.pitch == notes[at + 1].pitch:
            return notes
        pitch, why = note.pitch, "skip: the note again before the beat"
        if place.chance(0.35, "drop") and self.low <= note.pitch - 12 >= notes[at + 1].pitch - 12:
            pitch, why = note.pitch - 12, "drop: an octave down before the beat"
        vel = velocity(note.velocity * 0.72)
        skip = Note(middle, note.end_q, pitch, vel, why, note.degree, note.chord)
        first = Note(note.start_q, middle, note.pitch, note.velocity, note.why, note.degree, note.chord)  # fmt: skip
        return [*notes[:at], first, skip, *notes[at + 1 :]]

    # -- figures -----------------------------------------------------------------------------------

    def _events(self, index: int, stretch: Stretch) -> Sequence[Beat]:
        """What the bar holds, in quarters from the start of its full length."""
        brief = self.brief
        bar, plan = brief.bars[stretch.bar], brief.plans[stretch.bar]
        meter = bar.meter
        if stretch.way == "root-fifth":
            second = plan.phrase_bar % 2 == 1 and not stretch.fresh
            return figures.root_fifth(meter, second)
        if stretch.way == "octaves":
            return figures.octaves(meter)
        if stretch.way == "pedal":
            return figures.pedal(meter, word(brief.part, "pedal", "rhythm"))
        if stretch.way == "tumbao":
            inside = [s for s in self.line[index : index + 8] if s.bar == stretch.bar]
            return figures.tumbao(meter, shift_q(bar), inside)
        chosen = self.chosen[stretch.bar]
        if chosen is None:
            return figures.pedal(meter, "bar")
        return in_feel(chosen.lines, bar).get("bass", ())

    def _figured(self, index: int, stretch: Stretch) -> list[Note]:
        shift = shift_q(self.brief.bars[stretch.bar])
        begins = max(stretch.start_q, stretch.change.span.start_q)
        held = [(shift + e.at_q, shift + e.at_q + e.length_q, e.mark) for e in self._events(index, stretch)]  # fmt: skip
        inside = [e for e in held if begins <= e[0] < stretch.end_q]
        early, self.early = self.early and stretch.fresh, False
        if begins > stretch.start_q:  # a chord that comes early takes the note of its beat along
            first = inside[0] if inside and inside[0][0] == begins else None
            rest = inside[1:] if first else inside
            end = first[1] if first else (rest[0][0] if rest else stretch.end_q)
            inside = [(stretch.start_q, end, first[2] if first else "1"), *rest]
        elif stretch.fresh and not early and not (inside and inside[0][0] == begins):
            mid_bar = begins != self.brief.bars[stretch.bar].start_q
            opens = index == 0 and stretch.way == "tumbao"
            if mid_bar or opens or not inside:
                end = inside[0][0] if inside else stretch.end_q
                inside = [(begins, end, "1"), *inside]
        inside = self._with_kicks(inside, stretch)
        made: list[Note] = []
        told = not stretch.fresh or early  # whether the chord's bass has been heard
        for at, until, mark in inside:
            note = self._event_note(index, stretch, at, until, mark, told)
            told = told or "x" not in mark
            made.append(note)
        if stretch.begun and made and made[0].start_q == stretch.start_q:
            return made[1:]
        if made and index + 1 == len(self.line):
            made[-1] = self._over_border(index, made[-1])
        return made

    def _with_kicks(
        self, inside: list[tuple[Fraction, Fraction, str]], stretch: Stretch
    ) -> list[tuple[Fraction, Fraction, str]]:
        places = [e[0] for e in inside]
        first = bisect_left(self.kicks, stretch.start_q)
        for kick in self.kicks[first : bisect_left(self.kicks, stretch.end_q)]:
            if kick not in places:
                after = bisect_right(places, kick)
                end = places[after] if after < len(places) else stretch.end_q
                if after:
                    at, until, mark = inside[after - 1]
                    inside[after - 1] = (at, min(until, kick), mark)
                inside.insert(after, (kick, end, "1"))
                places.insert(after, kick)
        return inside

    def _event_note(
        self, index: int, stretch: Stretch, at: Fraction, until: Fraction, mark: str, told: bool
    ) -> Note:
        accent = mark.endswith("!")
        degree = mark.rstrip("!")
        anchor, t, chord = self.anchors[index], stretch.tones, stretch.change.index
        target, following = self._after(index)
        joined = following is not None and following.start_q == stretch.end_q and following.way != "struck"  # fmt: skip
        limit = stretch.end_q
        why = self._pattern_name(stretch)
        if degree == "x":
            vel = self._velocity(stretch, at, 0.45)
            return Note(at, min(until, at + _SHORT, limit), anchor, vel, f"dead note, {why}", "", chord)  # fmt: skip
        if degree == "a":
            pitch = self._approach(index, stretch, anchor, target)
            why = self._approach_why(stretch, pitch, target, self._target(index)) if target >= 0 else why  # fmt: skip
        elif degree.startswith("n"):
            degree = degree[1:]
            if joined and following is not None:
                anchor, t, limit = target, following.tones, following.end_q
                if following.fresh:
                    chord = following.change.index
                    self.early = True
                why = (
                    f"{why}: already {_step(degree.lstrip('-'))} of {following.change.span.symbol}"
                )
            pitch = self._degree(anchor, t, degree)
        else:
            if not told:
                degree = degree if degree.lstrip("-") in ("1", "8") else "1"
                why = f"{self._anchor_why(stretch, anchor)}, {why}"
            pitch = self._degree(anchor, t, degree)
        vel = self._velocity(stretch, at, 1.12 if accent else 1.0)
        return Note(at, max(min(until, limit), at + _SHORT / 2), pitch, vel, why, t.name(pitch), chord)  # fmt: skip

    def _pattern_name(self, stretch: Stretch) -> str:
        if stretch.way != "pattern":
            return {"root-fifth": "root and fifth"}.get(stretch.way, stretch.way)
        chosen = self.chosen[stretch.bar]
        return f"pattern '{chosen.pattern.name}'" if chosen else "held"

    def _degree(self, anchor: int, t: Tones, degree: str) -> int:
        """The note for a degree of a riff, counted from the anchor's register and folded into the range."""
        below = degree.startswith("-")
        name = degree.lstrip("-")
        if name in ("1", "8"):
            pitch = anchor + (12 if name == "8" else 0)
        else:
            rel = t.semitones(name)
            root = anchor - (anchor - t.root) % 12 if not t.slash else anchor
            pitch = root + rel if not t.slash else anchor + (t.root + rel - anchor) % 12 + 12 * (rel // 12)  # fmt: skip
        if below:
            pitch -= 12
        while pitch > self.high:
            pitch -= 12
        while pitch < self.low:
            pitch += 12
        return pitch

    def _approach(self, index: int, stretch: Stretch, anchor: int, target: int) -> int:
        """A step into the next root from a side that chance takes; the fifth where the root stays."""
        t = stretch.tones
        if target < 0 or target == anchor:
            return self._degree(anchor, t, "-5" if anchor - 5 >= self.low else "5")
        options = [d for d in (-1, 1, -2, 2) if self.low <= target + d <= self.high and target + d != anchor]  # fmt: skip
        weights = []
        for d in options:
            inside = t.is_scale_tone(target + d)
            weights.append((3.0 if inside else 1.2) if abs(d) == 1 else (2.5 if inside else 0.2))
        place = self.brief.place.at(stretch.bar)
        return target + place.pick(options, weights, "approach")


def _zone_start(zone: Zone) -> Fraction:
    return zone.start_q


def _step(degree: str) -> str:
    """A degree in words: `b3` third, `9` second."""
    digits = degree.lstrip("b#")
    number = (int(digits) - 1) % 7 + 1 if digits.isdigit() else 1
    return _STEP_NAMES[number]


def _free_why(stretch: Stretch, pitch: int, before: int) -> str:
    t, symbol = stretch.tones, stretch.change.span.symbol
    if t.is_chord_tone(pitch):
        if pitch % 12 == t.bass:
            return f"{'written bass' if t.slash else 'root'} of {symbol}"
        return f"{_step(t.name(pitch))} of {symbol}"
    if t.is_scale_tone(pitch):
        return f"scale step {t.name(pitch)} of {symbol}"
    return f"chromatic passing note {'up' if pitch > before else 'down'}"
