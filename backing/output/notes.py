"""What a channel can sound: notes of one pitch follow each other, they do not overlap."""

from __future__ import annotations

from collections.abc import Iterable

Sounding = tuple[int, int, int, int]  # start, end (ticks or frames), pitch, velocity


def apart(notes: Iterable[Sounding], shortest: int = 1) -> list[Sounding]:
    """The notes in order of start, each ending at the latest where the next of its pitch begins.

    Two of one pitch that start together become one, the louder and the longer: a channel cannot tell them apart, and
    the end of one would silence both. No note is shorter than `shortest`.

    >>> apart([(0, 10, 60, 80), (5, 20, 60, 90), (5, 8, 64, 70)])
    [(0, 5, 60, 80), (5, 8, 64, 70), (5, 20, 60, 90)]
    """
    played: list[Sounding] = []
    latest: dict[int, int] = {}  # pitch -> its last place in `played`
    for start, written_end, pitch, velocity in sorted(notes):
        end = max(written_end, start + shortest)
        place = latest.get(pitch, -1)
        if place >= 0:
            before = played[place]
            if before[0] == start:
                played[place] = (start, max(end, before[1]), pitch, max(velocity, before[3]))
                continue
            if before[1] > start:
                played[place] = (before[0], start, pitch, before[3])
        latest[pitch] = len(played)
        played.append((start, end, pitch, velocity))
    return played
