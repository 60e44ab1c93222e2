"""A guitar's part as the hand sees it: with a capo or other strings the shapes that are held down (the rule of `hand`).

Conventions: notes and keys are moved to where they would sound on a plain guitar; strings and frets are those of the hand.
"""

from __future__ import annotations

from collections.abc import Sequence

from backing.band.model import Arrangement, Player
from backing.ground.roles import role_of
from backing.output.hand import differs, hand_chord, hand_key, higher, symbol


def as_fingered(music: Arrangement, players: Sequence[str]) -> Arrangement:
    """The arrangement as the hand sees it where only guitars read it, otherwise as it is."""
    line = music.timeline
    if not differs(line) or not players or not all(role_of(p).strings for p in players):
        return music
    bars = tuple(bar._replace(key=hand_key(line, bar.key)) for bar in line.bars)
    chords = tuple(
        s._replace(chord=hand_chord(line, s, line.bars[s.bar - 1].key), symbol=symbol(line, s))
        for s in line.chords
    )
    moved = tuple(_moved(p, -higher(line)) for p in music.players)
    return music._replace(
        timeline=line._replace(bars=bars, chords=chords, capo=0, tuned=0), players=moved
    )


def _moved(player: Player, by: int) -> Player:
    notes = tuple(note._replace(pitch=note.pitch + by) for note in player.notes)
    return player._replace(notes=notes)
