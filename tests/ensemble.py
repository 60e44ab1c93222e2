"""What a band does together: who strikes with whom, what is doubled, what rubs, who rests.

Conventions: a *stroke* is what a player strikes at one place; shares are of 1. Figures are common practice of the trade.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import combinations, groupby, pairwise

from backing.band.model import Arrangement, Kind, Note, Player
from backing.ground.roles import COMPING, role_of
from backing.timeline.model import PlayedBar


def comping(music: Arrangement) -> list[Player]:
    """The players who comp."""
    return [p for p in music.players if role_of(p.role).name in COMPING]


def strokes(player: Player) -> dict[Fraction, list[Note]]:
    """A player's strokes by their place."""
    return {at: list(row) for at, row in groupby(player.notes, key=lambda n: n.start_q)}


def doubled(music: Arrangement) -> list[str]:
    """Strokes of two who comp at one place that share three pitches or more, but for those of the whole band."""
    found = []
    for a, b in combinations(comping(music), 2):
        mine, theirs = strokes(a), strokes(b)
        for at in mine.keys() & theirs.keys():
            if any(n.strict for n in mine[at]):
                continue
            same = {n.pitch for n in mine[at]} & {n.pitch for n in theirs[at]}
            if len(same) >= 3:
                bar = music.timeline.bar_at(at).number
                found.append(f"bar {bar}, {at}: {a.role} and {b.role} {sorted(same)}")
    return found


ALTERED = ("b9", "#9", "#11", "b13")


def rubs(music: Arrangement) -> list[str]:
    """Unwritten altered tones a half step from the bass's natural fifth, and colours of two players a half step apart.

    A pair of half steps is counted in any octave, where both notes sound at once and belong to one chord.
    """
    players = [p for p in music.players if role_of(p.role).pitched and not role_of(p.role).tune]
    found = []
    for player in players:
        for note in player.notes:
            if not unwritten(music, note) or note.degree not in (*ALTERED, "9", "11", "13"):
                continue
            if note.why.kind is Kind.LINE:
                continue  # it passes
            for other in players:
                if other is player:
                    continue
                bass = other.role == "bass"  # whose line passes through other notes
                for beside in sounding(other, note):
                    if beside.chord != note.chord or (beside.pitch - note.pitch) % 12 not in (
                        1,
                        11,
                    ):
                        continue
                    leads = beside.why.kind in (
                        Kind.STEP,
                        Kind.PASSING,
                    )  # by half step into what follows
                    low = bass and not leads and beside.degree == "5" and note.degree in ALTERED
                    held = not bass and beside.why.kind is not Kind.LINE
                    if low or (held and unwritten(music, beside)):
                        bar = music.timeline.bar_at(note.start_q).number
                        found.append(
                            f"bar {bar}: {player.role} {note.degree} against {other.role} {beside.degree}"
                        )
    return found


def unwritten(music: Arrangement, note: Note) -> bool:
    """Whether a note's degree is none of its chord's."""
    if note.chord < 0 or not note.degree:
        return False
    chord = music.timeline.chords[note.chord].chord
    return chord is not None and note.degree not in {d.name for d in chord.degrees}


def sounding(player: Player, note: Note) -> Iterator[Note]:
    """The notes of a player that sound with a note."""
    last = bisect_left(player.notes, note.end_q, key=lambda n: n.start_q)
    first = max(0, bisect_right(player.notes, note.start_q, key=lambda n: n.start_q) - 24)
    return (n for n in player.notes[first:last] if n.end_q > note.start_q)


# A chord on every beat


def beat_chords(music: Arrangement) -> list[int]:
    """The indices of chords that last a beat or less."""
    bars = music.timeline.bars
    return [
        i
        for i, span in enumerate(music.timeline.chords)
        if span.chord is not None
        and not span.again
        and span.length_q <= bars[span.bar - 1].meter.beat_q
    ]


def struck_by_all(music: Arrangement, roles: Sequence[str] = ("keys", "guitar", "bass")) -> float:
    """Share of beat-chords on whose beginning all of some players strike."""
    places = [set(strokes(p)) for p in music.players if p.role in roles]
    chords = beat_chords(music)
    starts = [music.timeline.chords[i].start_q for i in chords]
    return sum(all(at in row for row in places) for at in starts) / len(starts)


def tops(player: Player, chords: Iterable[int]) -> list[int]:
    """The highest note that a player strikes of each chord of which it strikes any."""
    notes: dict[int, int] = {}
    for note in player.notes:
        notes[note.chord] = max(note.pitch, notes.get(note.chord, 0))
    return [notes[i] for i in chords if i in notes]


def leaps(player: Player, chords: Iterable[int]) -> float:
    """Share of moves of the top line that are wider than a major third."""
    line = tops(player, chords)
    return sum(abs(b - a) > 4 for a, b in pairwise(line)) / max(1, len(line) - 1)


def alike(a: Player, b: Player, music: Arrangement) -> float:
    """Share of bars in which a player plays the same notes in two takes, among those in which it plays in any."""
    here, there = ([_in_bar(p, bar) for bar in music.timeline.bars] for p in (a, b))
    pairs = [(x, y) for x, y in zip(here, there, strict=True) if x or y]
    return sum(x == y for x, y in pairs) / len(pairs)


def _in_bar(player: Player, bar: PlayedBar) -> list[tuple[Fraction, int]]:
    first = bisect_left(player.notes, bar.start_q, key=lambda n: n.start_q)
    last = bisect_left(player.notes, bar.end_q, key=lambda n: n.start_q)
    return [(n.start_q, n.pitch) for n in player.notes[first:last]]


def shapes_kept(player: Player, music: Arrangement) -> tuple[int, int]:
    """Moves by half step between neighbouring beat-chords of one quality, and in how many the shape is the same."""
    spans = music.timeline.chords
    whole: dict[int, list[int]] = {}
    for note in player.notes:
        whole.setdefault(note.chord, []).append(note.pitch)
    moves = kept = 0
    for i, j in pairwise(beat_chords(music)):
        a, b = spans[i].chord, spans[j].chord
        if j != i + 1 or not (a and b and i in whole and j in whole):
            continue
        way = (b.root.pc - a.root.pc + 6) % 12 - 6
        if a.quality == b.quality and abs(way) == 1 and not (a.bass or b.bass):
            moves += 1
            kept += sorted({p + way for p in whole[i]}) == sorted(set(whole[j]))
    return moves, kept


# Horns


def parts_of(player: Player) -> list[int]:
    """How many notes each stroke of a player has."""
    return [len({n.pitch for n in row}) for row in strokes(player).values()]


def resting(player: Player, music: Arrangement) -> float:
    """Share of bars in which a player sounds no note."""
    bars = music.timeline.bars
    silent = 0
    for bar in bars:
        first = bisect_left(player.notes, bar.end_q, key=lambda n: n.start_q)
        silent += not any(n.end_q > bar.start_q for n in player.notes[max(0, first - 24) : first])
    return silent / len(bars)


def apart(music: Arrangement) -> list[str]:
    """Chords of two who comp at one place that are not the same chord; thumbs and single notes aside."""
    spans = music.timeline.chords
    found = []
    for a, b in combinations(comping(music), 2):
        mine, theirs = strokes(a), strokes(b)
        for at in sorted(mine.keys() & theirs.keys()):
            rows = [
                [n for n in row if n.why.kind is not Kind.THUMB] for row in (mine[at], theirs[at])
            ]
            here, there = ({spans[n.chord].chord for n in row} for row in rows)
            if min(map(len, rows)) > 1 and here.isdisjoint(there):
                found.append(f"bar {music.timeline.bar_at(at).number}, {at}: {a.role} and {b.role}")
    return found
