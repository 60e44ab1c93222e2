"""What a band does together: who strikes with whom, what is doubled, what rubs, who rests.

Conventions: a *stroke* is what a player strikes at one place; shares are of 1. Figures are common practice of the trade.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from fractions import Fraction
from itertools import combinations, groupby

from backing.band.model import Arrangement, Note, Player
from backing.ground.roles import COMPING, role_of


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
                    low = bass and beside.degree == "5" and note.degree in ALTERED
                    if low or (not bass and unwritten(music, beside)):
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
