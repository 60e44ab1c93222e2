"""What may be asked of the reading of a file in another format."""

from __future__ import annotations

from typing import NamedTuple

NOTATIONS = ("letters", "numbers", "numerals")  # of the chords of a chart
READ_AS = (*NOTATIONS, "words", "abc", "musicxml")


class Reading(NamedTuple):
    """`tune_number` is the `X:` of a tune in a file of several, None the first.

    `read_as` names the format, or how the chords of a chart are written, where the file does not show it; `bars_per_line` is how many bars a line of words with chords
    has, None for one a chord. `track` is the track of a MIDI file, from 1, None the one that is most like a melody.
    """

    tune_number: int | None = None
    read_as: str | None = None
    bars_per_line: int | None = None
    track: int | None = None


PLAIN = Reading()
