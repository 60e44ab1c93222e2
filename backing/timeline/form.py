"""What may be asked of the order of play beside the chart. It is loaded with the command line, so it imports little."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from backing.chart.ast import Ending
    from backing.ground.pitch import Key


class Form(NamedTuple):
    """What is asked of the form; the defaults ask for the chart as it stands.

    `tempo_bpm` counts as the chart's own tempo does, `tempo_percent` is a share of it (3/4); `transpose` is in
    semitones; `bars` are the first and the last number of the sheet; `length_s` is in seconds; `count_in` is in bars, 0
    for none. `plain` leaves out every colour that is not written.
    `intro` and `plan` are one of `manners.INTROS` and `manners.PLANS`. `capo` (a fret), `tuned` (semitones) and
    `chord_melody` (a manner of the solo guitar) take the place of the chart's.
    """

    tempo_bpm: Fraction | None = None
    tempo_percent: Fraction | None = None
    key: Key | None = None
    transpose: int | None = None
    style: str | None = None
    choruses: int | None = None
    length_s: float | None = None
    sections: tuple[str, ...] = ()
    bars: tuple[int, int] | None = None
    ending: Ending | None = None
    count_in: int | None = None
    plain: bool = False
    capo: int | None = None
    tuned: int | None = None
    intro: str | None = None
    plan: str | None = None
    chord_melody: str | None = None
