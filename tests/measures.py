"""What a listener with a pencil would count: harmony, voice leading, hands, lines, variety.

Everything is measured on notes alone; nothing here asks the code under test for its opinion. Sources stand beside the
numbers; "common practice" is trade knowledge.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import groupby, pairwise

from backing.band.model import Arrangement, Kind, Note, Player
from backing.ground.instruments import DRUM_KEYS
from backing.ground.roles import role_of
from backing.styles.model import Where
from backing.timeline.model import ChordSpan, Strike

CHORDAL = ("keys", "guitar", "strings", "horns")
# Semitones above the root that comping may add unwritten, by the chord's family: the textbooks' available tensions
# (9, 11, #11, 13; on dominants b9, #9 and b13 too). Common practice.
TENSIONS = {
    "major": {2, 6, 9}, "minor": {2, 5, 9}, "dominant": {1, 2, 3, 6, 8, 9}, "half-diminished": {2, 5, 8},
    "diminished": set(), "augmented": {2}, "suspended": {2, 9}, "power": set(),
}  # fmt: skip
# Lowest place of the lower note of a pair by interval in semitones: low-interval limits as arranging handbooks give
# them (minor second E3 … major tenth Bb1); octaves anywhere.
LOWEST = {
    1: 52, 2: 51, 3: 48, 4: 47, 5: 45, 6: 46, 7: 36, 8: 43, 9: 41, 10: 41, 11: 41, 13: 40, 14: 39, 15: 36, 16: 34,
}  # fmt: skip


def roles(music: Arrangement, among: Sequence[str] = CHORDAL) -> list[Player]:
    return [p for p in music.players if p.role in among]


def by_chord(player: Player) -> dict[int, list[Note]]:
    """A player's notes by the chord that they belong to."""
    found: dict[int, list[Note]] = defaultdict(list)
    for note in player.notes:
        if note.chord >= 0:
            found[note.chord].append(note)
    return found


def beat_q(music: Arrangement, span: ChordSpan) -> Fraction:
    return music.timeline.bars[span.bar - 1].meter.beat_q


def resting(music: Arrangement, role: str, span: ChordSpan) -> bool:
    bar = music.timeline.bars[span.bar - 1]
    return role in bar.tacet or (bar.players is not None and role not in bar.players) or bar.breaks


@dataclass
class Harmony:
    """Chords that were judged, and what was wrong with them."""

    chords: int = 0
    missing: list[str] = field(default_factory=list)
    foreign: list[str] = field(default_factory=list)
    astray: list[str] = field(default_factory=list)  # notes that name a chord they do not stand in


def harmony(music: Arrangement, colours: bool = True) -> Harmony:
    """For every chord of a beat or more: what must sound does, and nothing sounds that may not.

    Shapes that slide into their chord and notes of a line that are shorter than a beat may pass. Passing notes of the bass are left out by counting only its chord tones; strings of a power-chord part owe root and
    fifth alone where no keys play.
    """
    found = Harmony()
    spans = music.timeline.chords
    chordal = [p for p in music.players if role_of(p.role).name in CHORDAL]
    comping = [(p.role, by_chord(p), _powered(p)) for p in chordal]
    bass = [by_chord(p) for p in roles(music, ("bass",))]
    for index, span in enumerate(spans):
        chord = span.chord
        if chord is None or span.length_q < beat_q(music, span) or span.again:
            continue
        run = [index]  # the same chord again, bar after bar, is one chord
        while run[-1] + 1 < len(spans) and spans[run[-1] + 1].again:
            run.append(run[-1] + 1)
        playing = [(r, n, p) for r, n, p in comping if not resting(music, r, span)]
        if not playing:
            continue
        found.chords += 1
        root = chord.root.pc
        degrees = {d.semitones % 12 for d in chord.degrees}
        extra = TENSIONS[chord.family] if colours else set()
        allowed = {(root + d) % 12 for d in degrees | extra} | {chord.lowest.pc}
        upper = [n for _, notes, _ in playing for i in run for n in notes.get(i, ())]
        sounded = {n.pitch % 12 for n in upper}
        low = {n.pitch % 12 for notes in bass for i in run for n in notes.get(i, ())}
        sounded |= {pc for pc in low if (pc - root) % 12 in degrees}
        place = f"{music.style.name}, bar {span.bar}: {span.symbol}"
        owed = {(root + d.semitones) % 12 for d in chord.must_sound}
        powered = all(power for _, _, power in playing)
        if powered:
            owed &= {root, *((root + d.semitones) % 12 for d in chord.degrees if d.number == 5)}
        if not owed <= sounded:
            found.missing.append(
                f"{place} lacks {sorted((pc - root) % 12 for pc in owed - sounded)}"
            )
        for group in chord.any_of:
            if not powered and not sounded & {(root + d.semitones) % 12 for d in group}:
                found.missing.append(f"{place} lacks one of {' '.join(d.name for d in group)}")
        stays = {n.pitch % 12 for n in upper if not passes(n, beat_q(music, span))}
        strange = stays - allowed
        if strange:
            found.foreign.append(f"{place} has {sorted((pc - root) % 12 for pc in strange)}")
        for note in upper:
            if not span.sounds_q - 1 <= note.start_q < spans[run[-1]].end_q:
                found.astray.append(f"{place}: {note}")
    return found


def passes(note: Note, beat_q: Fraction) -> bool:
    """Whether a note only leads on: of a shape beside its chord, which names no degree, or a short one of a line."""
    runs = note.why.kind in (Kind.LINE, Kind.HAMMERED, Kind.PULLED, Kind.SLID)
    return not note.degree or (runs and note.end_q - note.start_q < max(beat_q, Fraction(3, 4)))


def _powered(player: Player) -> bool:
    return all(p.part.settings.get("voicing") == "power" for p in player.parts)


@dataclass
class FirstNotes:
    """First bass notes of new chords: how many, how many on root or written bass, and the exceptions."""

    walking: int = 0
    walking_right: int = 0
    others: int = 0
    wrong: list[str] = field(
        default_factory=list
    )  # not walking, or a slash chord, or at a section's start


def first_notes(music: Arrangement) -> FirstNotes:
    found = FirstNotes()
    starts = {music.timeline.bars[s.first - 1].start_q for s in music.timeline.sections}
    for player in roles(music, ("bass",)):
        notes = by_chord(player)
        for index, span in enumerate(music.timeline.chords):
            if span.chord is None or span.again or not notes.get(index):
                continue
            if resting(music, "bass", span):
                continue
            first = notes[index][0]
            right = first.pitch % 12 == span.chord.lowest.pc
            walks = _algorithm(player, first) == "walking" and span.strike is Strike.NORMAL
            if walks and span.chord.bass is None and span.start_q not in starts:
                found.walking += 1
                found.walking_right += right
                continue
            found.others += 1
            if not right:
                found.wrong.append(f"{music.style.name}, bar {span.bar}: {span.symbol} {first}")
    return found


def _algorithm(player: Player, note: Note) -> str:
    """What the part plays where a note stands; a part that walks anywhere counts as walking."""
    part = [p for p in player.parts if p.at_q <= note.start_q][-1].part
    return "walking" if "walking" in part.plays.values() else part.plays["mf"]


def strokes(notes: Iterable[Note]) -> Iterator[list[Note]]:
    """Notes struck together, low to high."""
    for _, group in groupby(notes, key=lambda n: n.start_q):
        yield sorted(group, key=lambda n: n.pitch)


def changes(player: Player) -> list[tuple[list[Note], list[Note]]]:
    """Pairs of neighbouring chords as a player strikes them: the last stroke of one and the first of the next."""
    found = [s for s in strokes(player.notes) if len(s) > 1]
    return [(a, b) for a, b in pairwise(found) if a[0].chord != b[0].chord]


def move(a: Sequence[Note], b: Sequence[Note]) -> int:
    """Semitones in all that voices move, voices paired in order; a doubled voice pairs with the nearest.

    For equal numbers pairing in order is the least total (taxicab distance, Tymoczko 2006).
    """
    if len(a) == len(b):
        return sum(abs(x.pitch - y.pitch) for x, y in zip(a, b, strict=True))
    few, many = sorted((a, b), key=len)
    return sum(min(abs(x.pitch - y.pitch) for x in few) for y in many)


def top_kept(pairs: Sequence[tuple[list[Note], list[Note]]]) -> float:
    """Share of changes at which the top note stays or moves by step."""
    return sum(abs(a[-1].pitch - b[-1].pitch) <= 2 for a, b in pairs) / len(pairs)


def too_low(player: Player) -> list[str]:
    """Neighbouring voices below their low-interval limit."""
    found = []
    for stroke in strokes(player.notes):
        for x, y in pairwise(stroke):
            limit = LOWEST.get(y.pitch - x.pitch)
            if limit is not None and x.pitch < limit:
                found.append(f"{x.pitch} {y.pitch} at {x.start_q}: {x.why.words}")
    return found


def below_bass(music: Arrangement, role: str) -> list[str]:
    """Strokes whose lowest note does not stand above (for guitars and left hands: at or above) the bass note that sounds with it."""
    bass = next((p for p in music.players if p.role == "bass"), None)
    player = next((p for p in music.players if p.role == role), None)
    if bass is None or player is None:
        return []
    starts = [n.start_q for n in bass.notes]
    found = []
    for stroke in strokes(player.notes):
        at = stroke[0].start_q
        i = bisect_left(starts, at + Fraction(1, 64)) - 1
        if i < 0 or bass.notes[i].end_q <= at:
            continue
        low, under = stroke[0].pitch, bass.notes[i].pitch
        doubles = role == "guitar" or stroke[0].why.kind is Kind.THUMB  # strings and left hands do
        if low < under or (low == under and not doubles):
            found.append(f"{low} under {under} at {at}")
    return found


def holdable(frets: Sequence[int]) -> bool:
    """A hand holds it: span of at most four frets, five above the seventh; four fingers, a barre counted once."""
    held = [f for f in frets if f > 0]
    if not held:
        return True
    if max(held) - min(held) + 1 > (5 if min(held) > 7 else 4):
        return False
    lowest = min(held)
    at = [i for i, f in enumerate(frets) if f == lowest]
    open_between = 0 in frets[at[0] : at[-1] + 1]
    fingers = len(held) if open_between else 1 + sum(f > lowest for f in held)
    return fingers <= 4


def grips(player: Player) -> list[tuple[list[Note], list[int]]]:
    """Every stroke of a guitar with its frets from the lowest string up, -1 where a string is silent."""
    found = []
    for stroke in strokes(player.notes):
        frets = [-1] * 6
        for note in stroke:
            frets[6 - note.string] = note.fret
        found.append((stroke, frets))
    return found


def hand_moves(player: Player) -> list[int]:
    """Frets that the hand moves from grip to grip: between the lowest stopped frets."""
    hands = []
    for stroke, frets in grips(player):
        held = [f for f in frets if f > 0]
        if held and len(stroke) > 1:
            hands.append((stroke[0].chord, min(held)))
    return [abs(a[1] - b[1]) for a, b in pairwise(hands) if a[0] != b[0]]


@dataclass
class Walk:
    """Figures of a walking line."""

    changes: int = 0
    approached: int = 0
    by_half_step: int = 0
    moves: int = 0
    steps: int = 0
    widest: int = 0
    low: int = 127
    high: int = 0
    repeated: int = 0  # a pitch three times running

    def add(self, other: Walk) -> None:
        for name in ("changes", "approached", "by_half_step", "moves", "steps", "repeated"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.widest = max(self.widest, other.widest)
        self.low, self.high = min(self.low, other.low), max(self.high, other.high)


def walk(music: Arrangement, least_q: Fraction | None = None) -> Walk:
    """A line on chords of `least_q` quarters or more, or of a bar: how changes are approached, and how it moves."""
    player = next(p for p in music.players if p.role == "bass")
    found = Walk()
    notes = player.notes
    spans = music.timeline.chords
    for a, b in pairwise(notes):
        distance = abs(a.pitch - b.pitch)
        if b.start_q - a.start_q <= 1:
            found.moves += distance > 0
            found.steps += 0 < distance <= 2
        found.widest = max(found.widest, distance)
        if a.chord != b.chord and b.chord >= 0 and not spans[b.chord].again:
            bar = music.timeline.bars[spans[b.chord].bar - 1]
            if spans[b.chord].length_q >= (least_q or bar.length_q):
                found.changes += 1
                found.approached += distance <= 2
                found.by_half_step += distance == 1
    found.low = min(n.pitch for n in notes)
    found.high = max(n.pitch for n in notes)
    pitches = [n.pitch for n in notes]
    found.repeated = sum(
        a == b == c for a, b, c in zip(pitches, pitches[1:], pitches[2:], strict=False)
    )
    return found


def rhythm_of_bars(
    music: Arrangement, among: Sequence[str], soft: bool = True
) -> list[tuple[object, ...]]:
    """What is struck where in each bar, without velocity, timing and the pitch of chords; or without `soft` drums."""
    found = []
    players = [
        (p.role, p.notes, [n.start_q for n in p.notes]) for p in music.players if p.role in among
    ]
    for bar in music.timeline.bars:
        row: set[tuple[object, ...]] = set()
        for role, notes, starts in players:
            here = notes[bisect_left(starts, bar.start_q) : bisect_left(starts, bar.end_q)]
            loudest = max((n.velocity for n in here), default=0)
            for note in here:
                drum = note.pitch if role in ("drums", "percussion") else 0
                if drum and not soft and 2 * note.velocity < loudest:
                    continue
                row.add((role, note.start_q - bar.start_q, drum))
        found.append(tuple(sorted(row, key=str)))
    return found


def commonest_pair(music: Arrangement, among: Sequence[str]) -> float:
    """Share of places at which the commonest two-bar pair of some players stands."""
    pairs = Counter(pairwise(rhythm_of_bars(music, among)))
    return max(pairs.values()) / sum(pairs.values())


def triples(music: Arrangement, among: Sequence[str]) -> int:
    """How often a bar stands three times running."""
    bars = rhythm_of_bars(music, among)
    return sum(a == b == c for a, b, c in zip(bars, bars[1:], bars[2:], strict=False))


KIT = {
    "kick": {"kick", "acoustic kick"},
    "snare": {"snare", "rim", "electric snare", "clap"},
    "cymbals": {"hat", "open hat", "ride", "ride 2", "bell", "crash", "crash 2", "splash", "china"},
}


def struck(music: Arrangement) -> tuple[Counter[tuple[str, Fraction]], int]:
    """How often each part of the kit is struck on each sixteenth of the bar, and the number of bars."""
    drums = next(p for p in music.players if p.role == "drums")
    keys = {name: {DRUM_KEYS[d] for d in members} for name, members in KIT.items()}
    counts: Counter[tuple[str, Fraction]] = Counter()
    bars = music.timeline.bars
    starts = [n.start_q for n in drums.notes]
    for bar in bars:
        seen = set()
        for note in drums.notes[bisect_left(starts, bar.start_q) : bisect_left(starts, bar.end_q)]:
            for name, members in keys.items():
                if note.pitch in members:
                    seen.add((name, note.start_q - bar.start_q))
        counts.update(seen)
    return counts, len(bars)


def figure_changes(music: Arrangement, role: str, alike: bool = False) -> Counter[int]:
    """By bar of the phrase, from 0, how often a player takes up another figure there.

    Another figure is a bar that differs in more than one stroke from the bar before and from the one before that (a
    groove of two bars goes on); soft strokes of drums come and go. Bars that begin a section count as the first of a phrase;
    what is written for a turnaround, a build or a break, which have their own places, does not count. With `alike` only
    bars count whose chords come where those of the two bars before come: what the chart asks for is no habit.
    """
    ground = grounds(music) if alike else []
    bars = rhythm_of_bars(music, (role,), soft=False)
    first = {section.first for section in music.timeline.sections}
    turns = _turnarounds(music, role)
    found: Counter[int] = Counter()
    phrase_bar = 1
    for number in range(2, len(bars)):
        phrase_bar = 0 if number + 1 in first else (phrase_bar + 1) % 4
        here = set(bars[number])
        other = all(len(here ^ set(bars[number - back])) > 1 for back in (1, 2))
        same = not ground or ground[number] == ground[number - 1] == ground[number - 2]
        if other and same and number not in turns:
            found[phrase_bar] += 1
    return found


def grounds(music: Arrangement) -> list[tuple[object, ...]]:
    """For each bar where its chords are heard to begin, and what is written about them."""
    rows: list[list[object]] = [[bar.meter, bar.time_feel] for bar in music.timeline.bars]
    for span in music.timeline.chords:
        heard = music.timeline.bar_at(max(Fraction(0), span.sounds_q))
        after = span.sounds_q - heard.start_q, span.strike, span.chord is None, span.held
        rows[heard.index - 1].append(after)
    return [tuple(row) for row in rows]


def _turnarounds(music: Arrangement, role: str) -> set[int]:
    """The bars, from 0, in which a player has a pattern for what leads out of a section."""
    player = next(p for p in music.players if p.role == role)
    own = {
        pattern.name
        for start in player.parts
        for pattern in start.part.patterns
        if pattern.where in (Where.TURNAROUND, Where.BUILD, Where.BREAK)
    }
    told = [n.start_q for n in player.notes if any(name in n.why.words for name in own)]
    return {music.timeline.bar_at(at).index - 1 for at in told}


HANDS_OFF = frozenset((35, 36, 44))  # what feet strike


def fills(music: Arrangement) -> list[tuple[int, frozenset[tuple[Fraction, int, bool]]]]:
    """Every bar in which the drums fill, counted as played, with what hands strike in it: place, key, whether loud."""
    drums = next(p for p in music.players if p.role == "drums")
    ends = {
        f"pattern '{pattern.name}{rest}"
        for rest in ("'", ", a stroke")
        for start in drums.parts for pattern in start.part.patterns if pattern.where is Where.PHRASE_END
    }  # fmt: skip
    found = []
    for bar in music.timeline.bars:
        here = [n for n in drums.notes if bar.start_q <= n.start_q < bar.end_q]
        filled = any(n.why.kind is Kind.FILL or n.why.words.startswith(tuple(ends)) for n in here)
        loud = 0.75 * max((n.velocity for n in here), default=0)
        hands = frozenset(
            (n.start_q - bar.start_q, n.pitch, n.velocity > loud)
            for n in here
            if n.pitch not in HANDS_OFF
        )
        if filled and hands:
            found.append((bar.index, hands))
    return found


def fills_again(music: Arrangement, within: int = 16) -> list[str]:
    """Fills that repeat one of the sixteen bars before, or one of the last two, stroke for stroke."""
    row = fills(music)
    return [
        f"{music.style.name}, bars {then} and {bar}"
        for i, (bar, strokes) in enumerate(row)
        for j, (then, before) in enumerate(row[:i])
        if strokes == before and (bar - then <= within or j >= i - 2)
    ]
